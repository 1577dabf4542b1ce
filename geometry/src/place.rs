//! Placing: which way up a part is, and where it stands on the build plate.

use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};

use crate::Mesh;
use crate::mesh::MeshError;
use crate::read::ReadOptions;
pub use crate::unit::Unit;

/// Skin no higher than this above a part's lowest place is the face that stands on the bed, mm:
/// nobody sees it, so it is no visible area.
pub const BED_FACE_MM: f64 = 0.01;

/// For each facet whether it is of the face that stands on the bed: none of its corners is higher
/// than [`BED_FACE_MM`] above the mesh's lowest place.
pub fn bed_face(mesh: &Mesh) -> Vec<bool> {
    let most_mm = mesh.bounds().0.z + BED_FACE_MM;
    let lies = |facet| mesh.corners(facet).iter().all(|corner| corner.z <= most_mm);
    (0..mesh.triangles().len()).map(lies).collect()
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

    /// Its name in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::X => "+x",
            Self::Y => "+y",
            Self::Z => "+z",
            Self::MinusX => "−x",
            Self::MinusY => "−y",
            Self::MinusZ => "−z",
        }
    }

    /// Turns a point so that this axis points up: a quarter turn about y for x, about x
    /// for y, a half turn about x for −z. Only signs and places change, so no digit does.
    pub(crate) fn stand_up(self, p: DVec3) -> DVec3 {
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

/// Where a part stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Stand {
    /// Its lowest point at z = 0, and the middle of its bounding box over the origin.
    #[default]
    Centred,
    /// Where the file's coordinates have it.
    AsDrawn,
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
    /// Whether it is moved to the middle of the bed. Masks and fades are in the coordinates of
    /// the part as it stands.
    #[serde(skip_serializing_if = "is_centred")]
    pub stand: Stand,
}

fn is_centred(stand: &Stand) -> bool {
    *stand == Stand::Centred
}

/// How far off the bed a part may be drawn and still be taken as standing on it, mm.
const OFF_BED_MM: f64 = 1e-3;

impl Default for Placement {
    fn default() -> Self {
        Self {
            unit: None,
            up: Axis::Z,
            turn_deg: 0.0,
            scale: 1.0,
            stand: Stand::Centred,
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
    /// The part is to stay as drawn, but does not stand on the bed.
    #[error(
        "as drawn, the part's lowest point is at z = {0} mm, not on the bed at 0; move it in the \
         program that made it, or let it be centred (`stand: Centred`)"
    )]
    OffBed(f64),
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

    /// Stands a mesh on the bed: its `up` axis upright, scaled, turned, and, unless it is to
    /// stay as drawn, its lowest point at z = 0 and the middle of its bounding box over the
    /// origin. The unit is not looked at here: a [`Mesh`] is in millimetres.
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
        let standing = self.turned(mesh)?;
        let lowest = standing.bounds().0.z;
        match self.stand {
            Stand::Centred => Ok(on_bed(standing)?),
            Stand::AsDrawn if lowest.abs() > OFF_BED_MM => Err(PlaceError::OffBed(lowest)),
            // To the last digit, so that layers begin at the part.
            Stand::AsDrawn => Ok(standing.map(|p| p.with_z(p.z - lowest))?),
        }
    }

    /// What is added to the file's coordinates, in mm and once they are turned upright, scaled
    /// and turned, to have those of the part as it stands.
    ///
    /// # Errors
    /// As [`Placement::apply`].
    pub fn shift_mm(&self, mesh: &Mesh) -> Result<DVec3, PlaceError> {
        match self.stand {
            Stand::Centred => Ok(-foot(&self.turned(mesh.clone())?)),
            Stand::AsDrawn => Ok(DVec3::ZERO),
        }
    }

    fn turned(&self, mesh: Mesh) -> Result<Mesh, PlaceError> {
        self.check()?;
        let turn = turn(self.turn_deg);
        Ok(mesh.map(|p| {
            let p = self.up.stand_up(p) * self.scale;
            turn.rotate(p.truncate()).extend(p.z)
        })?)
    }
}

/// Moves a mesh so that its lowest point is at z = 0 and the middle of its bounding box
/// over the origin.
///
/// # Errors
/// [`MeshError`] when a coordinate overflows.
pub fn on_bed(mesh: Mesh) -> Result<Mesh, MeshError> {
    let origin = foot(&mesh);
    mesh.map(|p| p - origin)
}

/// The middle of the lower side of the box around a mesh.
fn foot(mesh: &Mesh) -> DVec3 {
    let (least, greatest) = mesh.bounds();
    // Halved first: the sum of two large numbers may overflow.
    let middle = least * 0.5 + greatest * 0.5;
    middle.truncate().extend(least.z)
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
            let placement = Placement { unit: None, up: axis, turn_deg, scale, ..Placement::default() };
            let placed = placement.apply(wedge()).unwrap();
            let (least, greatest) = placed.bounds();
            prop_assert_eq!(least.z, 0.0);
            prop_assert!((least.x + greatest.x).abs() < 1e-12 * greatest.x.abs().max(1.0));
            let grown = placed.volume_mm3() / (wedge().volume_mm3() * scale.powi(3));
            prop_assert!((grown - 1.0).abs() < 1e-12);
        }
    }
}
