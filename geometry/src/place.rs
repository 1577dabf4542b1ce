//! Placing: which way up a part is, and where it stands on the build plate.

use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};

use crate::Mesh;
use crate::mesh::MeshError;
use crate::read::ReadOptions;

/// The length that a mesh file's numbers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// 0.001 mm.
    Micron,
    /// 1 mm.
    Millimetre,
    /// 10 mm.
    Centimetre,
    /// 1000 mm.
    Metre,
    /// 25.4 mm exactly (international yard and pound agreement, 1959).
    Inch,
    /// 304.8 mm exactly: 12 inches.
    Foot,
}

impl Unit {
    /// Every unit, the smallest first.
    pub const ALL: [Self; 6] = [
        Self::Micron,
        Self::Millimetre,
        Self::Centimetre,
        Self::Inch,
        Self::Foot,
        Self::Metre,
    ];

    /// Its length, mm.
    pub fn mm(self) -> f64 {
        match self {
            Self::Micron => 0.001,
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
            Self::Foot => 304.8,
        }
    }

    /// Its name in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::Micron => "microns",
            Self::Millimetre => "millimetres",
            Self::Centimetre => "centimetres",
            Self::Metre => "metres",
            Self::Inch => "inches",
            Self::Foot => "feet",
        }
    }
}

/// A direction along one of a mesh file's axes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Axis {
    /// Along x.
    X,
    /// Along y.
    Y,
    /// Along z.
    #[default]
    Z,
    /// Against x.
    MinusX,
    /// Against y.
    MinusY,
    /// Against z.
    MinusZ,
}

impl Axis {
    /// Every axis.
    pub const ALL: [Self; 6] = [
        Self::X,
        Self::Y,
        Self::Z,
        Self::MinusX,
        Self::MinusY,
        Self::MinusZ,
    ];

    /// Turns a point so that this axis points up: a quarter turn about y for x, about x
    /// for y, a half turn about x for −z. Only signs and places change, so no digit does.
    pub fn stand_up(self, p: DVec3) -> DVec3 {
        match self {
            Self::X => DVec3::new(-p.z, p.y, p.x),
            Self::MinusX => DVec3::new(p.z, p.y, -p.x),
            Self::Y => DVec3::new(p.x, -p.z, p.y),
            Self::MinusY => DVec3::new(p.x, p.z, -p.y),
            Self::Z => p,
            Self::MinusZ => DVec3::new(p.x, -p.y, -p.z),
        }
    }
}

/// How a part is set on the bed.
///
/// All fields may be left out: then the file's own unit counts (millimetres where it has
/// none) and its z axis points up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Placement {
    /// The unit of the file's numbers, if not the one it states or millimetres. Applied
    /// while reading; see [`Placement::read_options`].
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// The file's axis that points up on the printer.
    pub up: Axis,
    /// Turn about the upright axis, degrees, counter-clockwise seen from above.
    pub turn_deg: f64,
    /// Enlargement; 1 is as drawn.
    pub scale: f64,
}

impl Default for Placement {
    fn default() -> Self {
        Self {
            unit: None,
            up: Axis::Z,
            turn_deg: 0.0,
            scale: 1.0,
        }
    }
}

/// Why a part cannot be placed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlaceError {
    /// The scale is not a positive number.
    #[error("the scale is {0}; it must be more than 0 (1 is as drawn)")]
    Scale(f64),
    /// The turn is not a number.
    #[error("the turn is {0} degrees; it must be a finite number")]
    Turn(f64),
    /// The part grew beyond what numbers can hold.
    #[error("the placed part is too large: {0}")]
    TooLarge(#[from] MeshError),
}

impl Placement {
    /// Looks for numbers that make no sense.
    ///
    /// # Errors
    /// [`PlaceError`], never its `TooLarge`, which takes a mesh to know.
    pub fn check(&self) -> Result<(), PlaceError> {
        if !(self.scale > 0.0 && self.scale.is_finite()) {
            return Err(PlaceError::Scale(self.scale));
        }
        if !self.turn_deg.is_finite() {
            return Err(PlaceError::Turn(self.turn_deg));
        }
        Ok(())
    }

    /// How to read the file that this placement is for.
    pub fn read_options(&self) -> ReadOptions {
        ReadOptions {
            unit: self.unit,
            ..ReadOptions::default()
        }
    }

    /// Stands a mesh on the bed: its `up` axis upright, scaled, turned, its lowest point
    /// at z = 0, and the middle of its bounding box over the origin. The unit is not
    /// looked at here: a [`Mesh`] is in millimetres.
    ///
    /// ```
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// use geometry::{DVec3, place::{Axis, Placement}, solids};
    /// let lying = solids::cuboid(DVec3::new(4.0, 30.0, 2.0))?;
    /// let placement = Placement { up: Axis::Y, ..Placement::default() };
    /// let (least, greatest) = placement.apply(lying)?.bounds();
    /// assert_eq!(least, DVec3::new(-2.0, -1.0, 0.0));
    /// assert_eq!(greatest, DVec3::new(2.0, 1.0, 30.0));
    /// # Ok(())
    /// # }
    /// ```
    ///
    /// # Errors
    /// [`PlaceError`] when the scale or turn makes no sense, or a coordinate overflows.
    pub fn apply(&self, mesh: Mesh) -> Result<Mesh, PlaceError> {
        self.check()?;
        let turn = turn(self.turn_deg);
        let standing = mesh.map(|p| {
            let p = self.up.stand_up(p) * self.scale;
            turn.rotate(p.truncate()).extend(p.z)
        })?;
        Ok(on_bed(standing)?)
    }
}

/// Moves a mesh so that its lowest point is at z = 0 and the middle of its bounding box
/// over the origin.
///
/// # Errors
/// [`MeshError`] when a coordinate overflows.
pub fn on_bed(mesh: Mesh) -> Result<Mesh, MeshError> {
    let (least, greatest) = mesh.bounds();
    // Halved first: the sum of two large numbers may overflow.
    let middle = least * 0.5 + greatest * 0.5;
    let origin = middle.truncate().extend(least.z);
    mesh.map(|p| p - origin)
}

/// A turn as a unit complex number, exact for quarter turns.
fn turn(degrees: f64) -> DVec2 {
    match degrees.rem_euclid(360.0) {
        0.0 => DVec2::X,
        90.0 => DVec2::Y,
        180.0 => DVec2::NEG_X,
        270.0 => DVec2::NEG_Y,
        other => DVec2::from_angle(other.to_radians()),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    fn wedge() -> Mesh {
        solids::frustum(5.0, 1.0, 7.0, 5).unwrap()
    }

    #[test]
    fn the_axis_named_points_up_and_nothing_is_mirrored() {
        let directions = [
            (Axis::X, DVec3::X),
            (Axis::Y, DVec3::Y),
            (Axis::Z, DVec3::Z),
            (Axis::MinusX, DVec3::NEG_X),
            (Axis::MinusY, DVec3::NEG_Y),
            (Axis::MinusZ, DVec3::NEG_Z),
        ];
        for (axis, direction) in directions {
            assert_eq!(axis.stand_up(direction), DVec3::Z);
            let [x, y, z] = DVec3::AXES.map(|a| axis.stand_up(a));
            assert_eq!(x.cross(y), z, "{axis:?}");
        }
    }

    #[test]
    fn quarter_turns_are_exact() {
        let block = solids::cuboid(DVec3::new(4.0, 2.0, 1.0)).unwrap();
        let placement = Placement {
            turn_deg: -270.0,
            ..Placement::default()
        };
        let (least, greatest) = placement.apply(block).unwrap().bounds();
        assert_eq!((least.x, greatest.y, greatest.z), (-1.0, 2.0, 1.0));
    }

    #[test]
    fn nonsense_is_refused() {
        for scale in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let placement = Placement {
                scale,
                ..Placement::default()
            };
            assert!(matches!(
                placement.apply(wedge()),
                Err(PlaceError::Scale(_))
            ));
        }
        let placement = Placement {
            turn_deg: f64::NAN,
            ..Placement::default()
        };
        assert!(placement.apply(wedge()).is_err());
        let placement = Placement {
            scale: 1e308,
            ..Placement::default()
        };
        assert!(matches!(
            placement.apply(wedge()),
            Err(PlaceError::TooLarge(_))
        ));
    }

    #[test]
    fn a_placement_is_strict_and_may_be_left_out() {
        let empty: Placement = serde_json::from_str("{}").unwrap();
        assert_eq!(empty, Placement::default());
        let some: Placement = serde_json::from_str(r#"{"unit":"Inch","up":"MinusY"}"#).unwrap();
        assert_eq!(
            (some.unit, some.up, some.scale),
            (Some(Unit::Inch), Axis::MinusY, 1.0)
        );
        assert!(serde_json::from_str::<Placement>(r#"{"upp":"X"}"#).is_err());
    }

    proptest! {
        #[test]
        fn a_placed_part_stands_on_the_bed(
            axis in prop::sample::select(Axis::ALL.to_vec()),
            turn_deg in -720.0..720.0f64,
            scale in 0.01..100.0f64,
        ) {
            let placement = Placement { unit: None, up: axis, turn_deg, scale };
            let placed = placement.apply(wedge()).unwrap();
            let (least, greatest) = placed.bounds();
            prop_assert_eq!(least.z, 0.0);
            prop_assert!((least.x + greatest.x).abs() < 1e-12 * greatest.x.abs().max(1.0));
            let grown = placed.volume_mm3() / (wedge().volume_mm3() * scale.powi(3));
            prop_assert!((grown - 1.0).abs() < 1e-12);
        }
    }
}
