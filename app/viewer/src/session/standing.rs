//! The unit of the mesh, and how the part stands on the bed.

use geometry::place::{Placement, Unit};
use geometry::read::{LIKELY_MM, longest_side_mm};

use super::Session;
use crate::jobs::load::Source;

/// A unit that the mesh may be in, and how long the part would be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LikelyUnit {
    /// The unit.
    pub unit: Unit,
    /// The longest side of the part, mm.
    pub longest_mm: f64,
}

impl Session {
    /// The longest side of the part, mm.
    pub fn longest_side_mm(&self) -> Option<f64> {
        self.doc.as_ref().map(|doc| longest_side_mm(doc.mesh()))
    }

    /// Whether the part's file does not say its unit, its size is unlikely, and nobody has said yet
    /// which unit it is.
    pub fn asks_unit(&self) -> bool {
        self.size_is_odd && self.doc.is_some()
    }

    /// The units in which the part would have a likely size.
    pub fn likely_units(&self) -> Vec<LikelyUnit> {
        let Some(doc) = &self.doc else {
            return Vec::new();
        };
        let now = doc.plan().mesh.place.unit.unwrap_or(Unit::Millimetre);
        let longest_mm = longest_side_mm(doc.mesh());
        let likely = Unit::ALL.into_iter().map(|unit| LikelyUnit {
            unit,
            longest_mm: longest_mm * unit.mm() / now.mm(),
        });
        likely
            .filter(|likely| LIKELY_MM.contains(&likely.longest_mm))
            .collect()
    }

    /// Whether the mesh comes from a file, which can be read again.
    pub(super) fn can_stand_otherwise(&self) -> bool {
        let file = |doc: &crate::model::Document| doc.origin.mesh_file.is_some();
        self.loading.is_none() && self.doc.as_ref().is_some_and(file)
    }

    /// Reads the mesh again, in another unit or with another axis up, under the plan that is open.
    pub(super) fn stand_otherwise(&mut self, place: Placement) {
        let Some(doc) = &self.doc else { return };
        self.size_is_odd = false;
        if doc.plan().mesh.place == place {
            return;
        }
        let (mut plan, origin) = (Box::new(doc.plan().clone()), doc.origin.clone());
        plan.mesh.place = place;
        self.load_beneath(
            Source::MeshAgain(plan, origin),
            "Setting the part on the bed",
        );
    }
}
