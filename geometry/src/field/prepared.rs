//! Fields laid on a part.

use std::sync::Arc;

use glam::DVec3;

use super::{Field, FieldError, from_stroke, picture};
use crate::imprint::Placed;
use crate::surface::geodesic::Distances;
use crate::{Progress, Surface, SurfacePoint};

impl Field {
    /// Whether every value makes sense by itself, without a part.
    ///
    /// # Errors
    /// [`FieldError`] for the first value that does not.
    pub fn check(&self) -> Result<(), FieldError> {
        match self {
            Field::Height => Ok(()),
            Field::Direction(direction) => unit(*direction).map(|_| ()),
            Field::FromPoint(point) if point.is_finite() => Ok(()),
            Field::FromPoint(point) => Err(FieldError::NotFinite { point: *point }),
            Field::FromStroke(stroke) => Ok(stroke.check()?),
            Field::Picture(picture) => picture.check().map_err(FieldError::Picture),
        }
    }

    /// Whether the field is the same all over a level cut.
    pub fn depends_on_height_only(&self) -> bool {
        match self {
            Field::Height => true,
            Field::Direction(d) => d.x == 0.0 && d.y == 0.0,
            Field::FromPoint(_) | Field::FromStroke(_) | Field::Picture(_) => false,
        }
    }
}

/// A field laid on a part.
///
/// ```
/// use std::sync::Arc;
/// use geometry::{DVec3, Field, Mesh, Progress, Surface, SurfacePoint};
/// use geometry::field::PreparedField;
///
/// let vertices = vec![DVec3::ZERO, DVec3::X * 9.0, DVec3::Z * 9.0];
/// let surface = Surface::new(Arc::new(Mesh::new(vertices, vec![[0, 1, 2]])?));
/// let field = Field::Direction(DVec3::new(0.0, 0.0, 2.0));
/// let field = PreparedField::new(&field, &surface, &Progress::new())?;
/// let at = SurfacePoint { point_mm: DVec3::new(1.0, 0.0, 5.0), facet: 0 };
/// assert_eq!(field.at(at), 5.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone)]
pub struct PreparedField(Ready);

#[derive(Clone)]
enum Ready {
    Height,
    Direction(DVec3),
    FromPoint(DVec3),
    FromStroke(Arc<Distances>),
    Picture(Placed),
}

impl PreparedField {
    /// Checks the field and lays it on the part. Only distance from a stroke, and a
    /// picture on the skin, take time.
    ///
    /// # Errors
    /// [`FieldError`] from [`Field::check`], or because the work was cancelled.
    pub fn new(field: &Field, surface: &Surface, progress: &Progress) -> Result<Self, FieldError> {
        field.check()?;
        Ok(Self(match field {
            Field::Height => Ready::Height,
            Field::Direction(direction) => Ready::Direction(unit(*direction)?),
            Field::FromPoint(point) => Ready::FromPoint(*point),
            Field::FromStroke(stroke) => {
                Ready::FromStroke(Arc::new(from_stroke::prepare(stroke, surface, progress)?))
            }
            Field::Picture(picture) => {
                Ready::Picture(picture::prepare(picture, surface, progress)?)
            }
        }))
    }

    /// The field at a point of the skin, mm. Infinite only for distance from a stroke, on
    /// shells that the stroke does not touch.
    pub fn at(&self, at: SurfacePoint) -> f64 {
        let point = at.point_mm;
        match &self.0 {
            Ready::Height => point.z,
            Ready::Direction(direction) => direction.dot(point),
            Ready::FromPoint(from) => from.distance(point),
            Ready::FromStroke(distances) => distances.at(at.facet, point),
            Ready::Picture(placed) => picture::at(placed, at),
        }
    }
}

fn unit(direction: DVec3) -> Result<DVec3, FieldError> {
    let largest = direction.abs().max_element();
    (direction / largest)
        .try_normalize()
        .ok_or(FieldError::NoDirection { direction })
}
