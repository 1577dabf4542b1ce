//! What lies inside an outline as seen from somewhere: the skin in sight, or all behind it too.

use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};

use super::MaskError;
use super::polygon::Polygon;
use super::sight::{Eye, in_sight};
use super::values::{finite, finite_point, positive, unit};
use crate::{Plane, Surface, SurfacePoint};

/// The most corners of an outline.
pub const MOST_CORNERS: usize = 4096;

/// An eye sees nothing nearer than this part of its distance from the outline's origin.
const NEAREST: f64 = 1e-6;

/// A direction's part along an axis that is less than this is none.
const ACROSS: f64 = 1e-12;

/// Room left about bounds, mm.
const ROOM_MM: f64 = 1e-6;

/// What lies inside a closed outline as seen from somewhere.
///
/// Whether a point lies inside is exact, in parallel view and in perspective. Whether it is in
/// sight is told for each point, by a ray from it to the eye; skin that is seen flatter than
/// 0.06°, edge on, is not in sight.
///
/// ```
/// use std::sync::Arc;
/// use geometry::mask::{Outline, PreparedMask};
/// use geometry::{DVec2, DVec3, Mask, Progress, Surface, solids};
///
/// let corner = |x: f64, y: f64| DVec2::new(x, y);
/// let square = Outline {
///     corners_mm: vec![corner(-5.0, -5.0), corner(5.0, -5.0), corner(5.0, 5.0), corner(-5.0, 5.0)],
///     at_mm: DVec3::ZERO,
///     towards: DVec3::Y,
///     up: DVec3::Z,
///     eye_mm: None,
///     through: false,
///     cut: None,
/// };
/// let ball = Surface::new(Arc::new(solids::icosphere(20.0, 4)?));
/// let mask = PreparedMask::new(&Mask::Outline(Box::new(square)), &ball, &Progress::new())?;
/// assert!(mask.contains(ball.nearest(DVec3::NEG_Y * 20.0)));
/// assert!(!mask.contains(ball.nearest(DVec3::Y * 20.0)));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outline {
    /// Its corners, mm to the right of `at_mm` and up from there as one looks. The last is joined
    /// to the first. Where the outline crosses itself, all that it goes round is inside.
    pub corners_mm: Vec<DVec2>,
    /// What one looks at, mm: where the corners are measured from. In perspective they are
    /// measured in the plane through it, across the view.
    pub at_mm: DVec3,
    /// The direction in which one looks, of any length.
    pub towards: DVec3,
    /// What is up as one looks: any direction not along `towards`.
    pub up: DVec3,
    /// In perspective, how far the eye is from `at_mm`, mm; none in parallel view.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eye_mm: Option<f64>,
    /// Whether it goes through the part; if not, it has the skin in sight alone.
    #[serde(default)]
    pub through: bool,
    /// Where the part is cut open: skin beyond that is not there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut: Option<CutOpen>,
}

/// A plane at which a part is cut open.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutOpen {
    /// The direction of what is cut away, of any length.
    pub direction: DVec3,
    /// How far along that direction it begins, mm from the origin.
    pub at_mm: f64,
}

impl CutOpen {
    fn plane(self) -> Option<Plane> {
        Plane::new(self.direction, self.at_mm)
    }

    fn check(self) -> Result<(), MaskError> {
        unit(self.direction)?;
        finite("at_mm", self.at_mm)
    }

    /// Its height, mm, if it is level.
    pub(super) fn height_mm(self) -> Option<f64> {
        self.plane()?.height_mm()
    }
}

impl From<Plane> for CutOpen {
    fn from(plane: Plane) -> Self {
        Self {
            direction: plane.normal(),
            at_mm: plane.at_mm(),
        }
    }
}

impl Outline {
    /// Whether every value makes sense.
    ///
    /// # Errors
    /// [`MaskError`] for the first value that does not.
    pub fn check(&self) -> Result<(), MaskError> {
        let corners = &self.corners_mm;
        if !(3..=MOST_CORNERS).contains(&corners.len()) {
            return Err(MaskError::Corners {
                count: corners.len(),
                most: MOST_CORNERS,
            });
        }
        for corner in corners {
            finite("corners_mm", corner.x)?;
            finite("corners_mm", corner.y)?;
        }
        if !goes_round(corners) {
            return Err(MaskError::NoAreaWithin);
        }
        finite_point("at_mm", self.at_mm)?;
        finite_point("towards", self.towards)?;
        finite_point("up", self.up)?;
        View::of(self)?;
        if let Some(eye_mm) = self.eye_mm {
            positive("eye_mm", eye_mm)?;
        }
        self.cut.map_or(Ok(()), CutOpen::check)
    }

    /// Least and greatest corner, mm, of a box that holds all of it.
    pub(super) fn bounds_mm(&self) -> (DVec3, DVec3) {
        let (mut low, mut high) = (DVec3::NEG_INFINITY, DVec3::INFINITY);
        if let (Ok(view), None) = (View::of(self), self.eye_mm) {
            let corners = self.corners_mm.iter();
            let places: Vec<DVec3> = corners
                .map(|corner| self.at_mm + view.right * corner.x + view.up * corner.y)
                .collect();
            // Without bound along the view, and between its corners across it.
            for axis in (0..3).filter(|&axis| view.forward[axis].abs() < ACROSS) {
                let along = places.iter().map(|place| place[axis]);
                low[axis] = along.clone().fold(f64::INFINITY, f64::min) - ROOM_MM;
                high[axis] = along.fold(f64::NEG_INFINITY, f64::max) + ROOM_MM;
            }
        }
        if let Some((cut, height_mm)) = self.cut.and_then(|cut| Some((cut, cut.height_mm()?))) {
            match cut.direction.z > 0.0 {
                true => high.z = high.z.min(height_mm),
                false => low.z = low.z.max(height_mm),
            }
        }
        (low, high)
    }
}

/// Whether corners do not all lie on one line.
fn goes_round(corners: &[DVec2]) -> bool {
    let Some(&first) = corners.first() else {
        return false;
    };
    let off = |corner: &DVec2| *corner - first;
    let farthest = corners.iter().map(off);
    let farthest = farthest.max_by(|a, b| a.length().total_cmp(&b.length()));
    let Some(line) = farthest.and_then(DVec2::try_normalize) else {
        return false;
    };
    let least = 1e-9 * corners.iter().map(|c| off(c).length()).fold(0.0, f64::max);
    corners.iter().any(|c| line.perp_dot(off(c)).abs() > least)
}

/// Unit directions of a view.
#[derive(Clone, Copy, Debug)]
struct View {
    right: DVec3,
    up: DVec3,
    forward: DVec3,
}

impl View {
    fn of(outline: &Outline) -> Result<Self, MaskError> {
        let forward = unit(outline.towards)?;
        let up = unit(outline.up)?;
        let right = forward.cross(up);
        if right.length() < 1e-6 {
            return Err(MaskError::NoUp { up: outline.up });
        }
        let right = right.normalize();
        Ok(Self {
            right,
            up: right.cross(forward),
            forward,
        })
    }
}

/// An outline laid on a part.
#[derive(Clone, Debug)]
pub(super) struct PreparedOutline {
    surface: Surface,
    view: View,
    at_mm: DVec3,
    eye_mm: Option<f64>,
    polygon: Polygon,
    through: bool,
    cut: Option<Plane>,
}

impl PreparedOutline {
    pub(super) fn new(outline: &Outline, surface: &Surface) -> Result<Self, MaskError> {
        Ok(Self {
            surface: surface.clone(),
            view: View::of(outline)?,
            at_mm: outline.at_mm,
            eye_mm: outline.eye_mm,
            polygon: Polygon::new(&outline.corners_mm),
            through: outline.through,
            cut: outline.cut.and_then(CutOpen::plane),
        })
    }

    pub(super) fn contains(&self, at: SurfacePoint) -> bool {
        self.beyond_cut_mm(at.point_mm) <= 0.0
            && self.is_inside(at.point_mm)
            && (self.through || in_sight(&self.surface, at, self.eye(), self.cut))
    }

    /// How far a point lies in what is cut away, mm; less than 0 in what is left.
    fn beyond_cut_mm(&self, point: DVec3) -> f64 {
        self.cut
            .map_or(f64::NEG_INFINITY, |cut| cut.beyond_mm(point))
    }

    fn is_inside(&self, point: DVec3) -> bool {
        self.seen_at(point)
            .is_some_and(|place| self.polygon.contains(place))
    }

    fn eye(&self) -> Eye {
        match self.eye_mm {
            Some(eye_mm) => Eye::At(self.at_mm - self.view.forward * eye_mm),
            None => Eye::Towards(-self.view.forward),
        }
    }

    /// Where a point is seen, mm in the plane of the corners; none behind the eye.
    fn seen_at(&self, point: DVec3) -> Option<DVec2> {
        let off = point - self.at_mm;
        let place = DVec2::new(off.dot(self.view.right), off.dot(self.view.up));
        let Some(eye_mm) = self.eye_mm else {
            return Some(place);
        };
        let far_mm = eye_mm + off.dot(self.view.forward);
        (far_mm > NEAREST * eye_mm).then(|| place * (eye_mm / far_mm))
    }

    /// How far the answer is the same all about a point, mm. Where the skin in sight ends inside
    /// the outline is not known beforehand.
    pub(super) fn clearance_mm(&self, point: DVec3) -> f64 {
        let (inside, off_mm) = (self.is_inside(point), self.off_outline_mm(point));
        let beyond_mm = self.beyond_cut_mm(point);
        match (inside, beyond_mm > 0.0) {
            (false, false) => off_mm,
            (false, true) => off_mm.max(beyond_mm),
            (true, true) => beyond_mm,
            (true, false) if self.through => off_mm.min(-beyond_mm),
            (true, false) => 0.0,
        }
    }

    /// How far a point is from where the outline cuts space, mm.
    fn off_outline_mm(&self, point: DVec3) -> f64 {
        match (self.eye_mm, self.seen_at(point)) {
            (None, Some(place)) => self.polygon.distance(place),
            (None, None) => 0.0,
            (Some(eye_mm), _) => {
                let eye = self.at_mm - self.view.forward * eye_mm;
                let ray = |corner: DVec2| {
                    self.view.right * corner.x
                        + self.view.up * corner.y
                        + self.view.forward * eye_mm
                };
                let sides = self.polygon.sides().iter();
                let off = sides.map(|&[a, b]| off_wedge(point - eye, ray(a), ray(b)));
                off.fold(f64::INFINITY, f64::min)
            }
        }
    }
}

/// How far a point is from what lies between two rays that start at the origin.
fn off_wedge(point: DVec3, a: DVec3, b: DVec3) -> f64 {
    let off_ray = |ray: DVec3| {
        let share = point.dot(ray) / ray.length_squared().max(f64::MIN_POSITIVE);
        point.distance(ray * share.max(0.0))
    };
    let normal = a.cross(b);
    let between = normal.cross(a).dot(point) >= 0.0 && b.cross(normal).dot(point) >= 0.0;
    match normal.try_normalize() {
        Some(normal) if between => normal.dot(point).abs(),
        _ => off_ray(a).min(off_ray(b)),
    }
}
