//! What the plan says of what a photograph shows, for any pose that the part may have.

use blend::Xyz;

use super::colours::Expected;
use super::posed::{Pose, Posed};
use super::sights::{Sight, Sights};
use photograph::view::Place;

/// Sights that are looked at.
const SIGHTS: usize = 4000;
/// Heights that are taken together, mm.
const EVERY_MM: f64 = 2.0;

/// Some sights, and where in space they are: by the pose that they were taken in, whichever pose is
/// then asked about.
pub(super) struct Placed<'a> {
    taken: Posed<'a>,
    expected: &'a Expected<'a>,
    sights: Vec<(&'a Sight, Place)>,
}

/// What the plan has where a sight is, in one pose.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shown {
    pub region: usize,
    pub requested: Xyz,
    /// The number of its height.
    pub slot: usize,
}

/// The number of a height.
pub(super) fn slot(height_mm: f64) -> usize {
    (height_mm / EVERY_MM).max(0.0) as usize
}

impl<'a> Placed<'a> {
    /// Of sights that were taken in a pose.
    pub(super) fn new(taken: Posed<'a>, sights: &'a Sights, expected: &'a Expected<'a>) -> Self {
        let every = sights.good.len().div_ceil(SIGHTS).max(1);
        let few = sights.good.iter().step_by(every);
        Self {
            taken,
            expected,
            sights: few
                .map(|sight| (sight, taken.place(sight.point.point_mm)))
                .collect(),
        }
    }

    /// The logarithms of the sights' light.
    pub(super) fn logs(&self) -> impl Iterator<Item = [f64; 3]> {
        self.sights
            .iter()
            .map(|(sight, _)| sight.light.map(f64::ln))
    }

    /// What the sights show if the part has another pose, or the same, in their order.
    pub(super) fn in_pose(&self, pose: Pose) -> Vec<Shown> {
        let posed = Posed { pose, ..self.taken };
        let surface = self.expected.painted.surface();
        let shown = |(sight, place): &(&Sight, Place)| {
            let point = match pose == self.taken.pose {
                true => sight.point,
                false => surface.nearest(posed.point_at(*place)),
            };
            Shown {
                region: self.expected.region(point),
                requested: self.expected.requested(point),
                slot: slot(self.expected.height_mm(point)),
            }
        };
        self.sights.iter().map(shown).collect()
    }
}
