//! How copies of the part stand on the plate.

use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};

use super::error::RegisterError;

/// How a copy of the part stands on the plate: turned about z, then shifted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// Turn, degrees, counter-clockwise seen from above.
    pub turn_deg: f64,
    /// Shift in x and y, mm.
    pub shift_mm: [f64; 2],
    /// Height of the part's bed above the plate, mm: the height of a raft.
    pub lift_mm: f64,
}

impl Placement {
    /// From the part to the plate.
    pub(crate) fn to_plate(self, part_mm: DVec3) -> DVec3 {
        let turned = self.rotation().rotate(part_mm.truncate());
        (turned + DVec2::from(self.shift_mm)).extend(part_mm.z + self.lift_mm)
    }

    /// From the plate to the part.
    pub fn to_part(&self, plate_mm: DVec3) -> DVec3 {
        let shifted = plate_mm.truncate() - DVec2::from(self.shift_mm);
        self.back()
            .rotate(shifted)
            .extend(plate_mm.z - self.lift_mm)
    }

    /// The turn back.
    pub(super) fn back(&self) -> DVec2 {
        let rotation = self.rotation();
        DVec2::new(rotation.x, -rotation.y)
    }

    pub(super) fn rotation(&self) -> DVec2 {
        DVec2::from_angle(self.turn_deg.to_radians())
    }
}

/// One copy of the part and how well the toolpath follows it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stand {
    /// Where it stands.
    pub placement: Placement,
    /// Root mean square distance of the outer lines from the inset contours, mm.
    pub residual_mm: f64,
    /// The distance that 95 of 100 contour points stay within, mm.
    pub residual_95_mm: f64,
    /// How far the outer lines lie within the contour, mm: about half a line's width.
    pub inset_mm: f64,
    /// Share of the contour that is followed by a line.
    pub followed: f64,
    /// How much larger the toolpath is than the mesh; 1 within rounding, or it is refused.
    pub scale: f64,
}

/// All copies found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Registered {
    /// The copies, by x and then y.
    pub stands: Vec<Stand>,
    /// Further turns of the first copy, degrees, at which the part looks the same: the toolpath
    /// can't tell them apart, and the least turn was taken.
    pub alike_turns_deg: Vec<f64>,
    /// Further turns of the first copy, degrees, at which the part looks different, but nothing
    /// that was compared tells which one it is.
    #[serde(default)]
    pub unsure_turns_deg: Vec<f64>,
}

impl Registered {
    /// It, unless the turn was a guess.
    ///
    /// # Errors
    /// [`RegisterError::Unsure`] if another turn fits as well and the part looks different
    /// there.
    pub fn sure(self) -> Result<Self, RegisterError> {
        match self.unsure_turns_deg.first() {
            Some(turn_deg) => Err(RegisterError::Unsure {
                turn_deg: *turn_deg,
            }),
            None => Ok(self),
        }
    }
}
