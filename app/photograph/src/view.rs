//! Where the camera stood: a pinhole camera with one coefficient of radial distortion, fitted to
//! all corners of the card's marks at once.
//!
//! The picture's middle is taken for the lens's axis and pixels for square. From straight above
//! the focal length can't be told from the distance; then the usual lens of a phone decides, and
//! what depends on it (how much nearer things are that stand up from the card) hangs on their
//! ratio, which is told.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn, Matrix3, Rotation3, Vector3};

use crate::homography::{Homography, Point};

/// The focal length that is expected, in the picture's longer side: a phone's main lens (about
/// 26 mm where the longer side is 36 mm; common practice, no source).
const USUAL_FOCAL: f64 = 0.72;
/// How far it may well be from that, as a logarithm.
const FOCAL_SPREAD: f64 = 0.3;
/// How far the distortion may well be from none.
const K1_SPREAD: f64 = 0.1;
/// How well a corner is found, px: what the expectations above are weighed against.
const CORNER_PX: f64 = 0.3;

/// A point of the card's space: mm to the right, mm down, mm up from the card.
pub type Place = [f64; 3];

/// A camera before the card.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The focal length, px.
    pub focal_px: f64,
    /// Radial distortion: a point at r focal lengths from the middle is seen at r (1 + k1 r²).
    pub k1: f64,
    middle_px: Point,
    rotation: Matrix3<f64>,
    /// Where the card's corner is before the camera, mm.
    translation: Vector3<f64>,
}

impl View {
    /// The camera that sees points of the card's plane where they are seen: (mm, px). `None` for
    /// fewer than four, or where none fits.
    pub fn fit(pairs: &[(Point, Point)], width_px: usize, height_px: usize) -> Option<Self> {
        let middle_px = (width_px as f64 / 2.0, height_px as f64 / 2.0);
        let usual_px = USUAL_FOCAL * width_px.max(height_px) as f64;
        let map = Homography::fit(pairs)?;
        let start = decomposed(&map, usual_px, middle_px)?;
        let problem = Problem {
            pairs,
            middle_px,
            usual_px,
            values: start,
        };
        let (problem, report) = LevenbergMarquardt::new()
            .with_patience(50)
            .minimize(problem);
        let view = problem.view(&problem.values);
        let sound = report.objective_function.is_finite() && view.translation.z > 0.0;
        sound.then_some(view)
    }

    /// Where a place is seen, px from the picture's upper left corner; `None` behind the camera.
    pub fn project(&self, [x, y, up]: Place) -> Option<Point> {
        let seen = self.rotation * Vector3::new(x, y, -up) + self.translation;
        if seen.z <= 1e-6 {
            return None;
        }
        let (u, v) = (seen.x / seen.z, seen.y / seen.z);
        let bent = 1.0 + self.k1 * (u * u + v * v);
        Some((
            self.middle_px.0 + self.focal_px * u * bent,
            self.middle_px.1 + self.focal_px * v * bent,
        ))
    }

    /// Where the camera stands.
    pub fn eye(&self) -> Place {
        let at = -(self.rotation.transpose() * self.translation);
        [at.x, at.y, -at.z]
    }

    /// Which way the camera looks through a point of the picture, from where it stands: to the
    /// right, down and up on the card, of unit length.
    pub fn sight(&self, (x, y): Point) -> Place {
        let bent = (
            (x - self.middle_px.0) / self.focal_px,
            (y - self.middle_px.1) / self.focal_px,
        );
        let (mut u, mut v) = bent;
        // The distortion is small, so this settles at once; a dozen rounds for lenses that bend.
        for _ in 0..12 {
            let by = (1.0 + self.k1 * (u * u + v * v)).max(0.2);
            (u, v) = (bent.0 / by, bent.1 / by);
        }
        let way = self.rotation.transpose() * Vector3::new(u, v, 1.0);
        let way = way / way.norm();
        [way.x, way.y, -way.z]
    }

    /// Where the ray from the camera through a place meets the card; `None` for a place as high
    /// as the camera.
    pub fn on_card(&self, [x, y, up]: Place) -> Option<Point> {
        let eye = self.eye();
        let t = eye[2] / (eye[2] - up);
        (t.is_finite() && t > 0.0).then(|| (eye[0] + t * (x - eye[0]), eye[1] + t * (y - eye[1])))
    }

    /// The point above the card that is seen at a point of the picture, so many mm up from the
    /// card; `None` for one that is not before the camera.
    pub fn at_height(&self, seen: Point, up: f64) -> Option<Point> {
        let (eye, way) = (self.eye(), self.sight(seen));
        let t = (up - eye[2]) / way[2];
        (t.is_finite() && t > 0.0).then(|| (eye[0] + t * way[0], eye[1] + t * way[1]))
    }

    /// How many pixels a millimetre of the card has about a point.
    pub fn px_per_mm(&self, (x, y): Point) -> Option<f64> {
        let (at, right) = (self.project([x, y, 0.0])?, self.project([x + 1.0, y, 0.0])?);
        let down = self.project([x, y + 1.0, 0.0])?;
        let across = (right.0 - at.0) * (down.1 - at.1) - (right.1 - at.1) * (down.0 - at.0);
        Some(across.abs().sqrt())
    }
}

/// Focal length, turn and place from a homography, as [`Problem`] has them.
fn decomposed(map: &Homography, focal_px: f64, middle_px: Point) -> Option<DVector<f64>> {
    let camera = Matrix3::new(
        focal_px,
        0.0,
        middle_px.0,
        0.0,
        focal_px,
        middle_px.1,
        0.0,
        0.0,
        1.0,
    );
    let seen = camera.try_inverse()? * map.0;
    let (a, b) = (seen.column(0).into_owned(), seen.column(1).into_owned());
    let mut scale = 2.0 / (a.norm() + b.norm());
    // The card is before the camera.
    if seen.m33 < 0.0 {
        scale = -scale;
    }
    let (a, b) = (a * scale, b * scale);
    let rough = Matrix3::from_columns(&[a, b, a.cross(&b)]);
    let svd = rough.svd(true, true);
    let turn = svd.u? * svd.v_t?;
    let axis = Rotation3::from_matrix_unchecked(turn).scaled_axis();
    let place = seen.column(2) * scale;
    let values = [0.0, 0.0, axis.x, axis.y, axis.z, place.x, place.y, place.z];
    let sound = values.iter().all(|v| v.is_finite()) && place.z > 0.0;
    sound.then(|| DVector::from_row_slice(&values))
}

struct Problem<'a> {
    pairs: &'a [(Point, Point)],
    middle_px: Point,
    usual_px: f64,
    /// The focal length's logarithm over the usual one, the distortion, the turn's axis, the place.
    values: DVector<f64>,
}

impl Problem<'_> {
    fn view(&self, values: &DVector<f64>) -> View {
        let value = |i: usize| values.get(i).copied().unwrap_or(0.0);
        let axis = Vector3::new(value(2), value(3), value(4));
        View {
            focal_px: self.usual_px * value(0).exp(),
            k1: value(1),
            middle_px: self.middle_px,
            rotation: Rotation3::from_scaled_axis(axis).into_inner(),
            translation: Vector3::new(value(5), value(6), value(7)),
        }
    }

    fn off(&self, values: &DVector<f64>) -> DVector<f64> {
        let view = self.view(values);
        let mut off = Vec::with_capacity(2 * self.pairs.len() + 2);
        for ((x, y), seen) in self.pairs {
            // A place behind the camera is as wrong as a place can be.
            let (u, v) = view.project([*x, *y, 0.0]).unwrap_or((1e6, 1e6));
            off.extend([u - seen.0, v - seen.1]);
        }
        let value = |i: usize| values.get(i).copied().unwrap_or(0.0);
        off.push(CORNER_PX * value(0) / FOCAL_SPREAD);
        off.push(CORNER_PX * value(1) / K1_SPREAD);
        DVector::from_vec(off)
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, values: &DVector<f64>) {
        self.values.copy_from(values);
    }

    fn params(&self) -> DVector<f64> {
        self.values.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.off(&self.values))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let columns = self.values.len();
        let rows = 2 * self.pairs.len() + 2;
        let mut slopes = DMatrix::zeros(rows, columns);
        for column in 0..columns {
            let step = 1e-6 * self.values.get(column)?.abs().max(1.0);
            let moved = |by: f64| {
                let mut values = self.values.clone();
                if let Some(value) = values.get_mut(column) {
                    *value += by;
                }
                self.off(&values)
            };
            let slope = (moved(step) - moved(-step)) / (2.0 * step);
            slopes.set_column(column, &slope);
        }
        Some(slopes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card;

    fn camera(k1: f64, tilt: f64) -> View {
        let rotation = Rotation3::from_euler_angles(tilt, 0.7 * tilt, 0.1).into_inner();
        let middle = Vector3::new(90.0, 125.0, 0.0);
        View {
            focal_px: 1500.0,
            k1,
            middle_px: (750.0, 1000.0),
            rotation,
            translation: Vector3::new(4.0, -3.0, 380.0) - rotation * middle,
        }
    }

    fn pairs(view: &View) -> Vec<(Point, Point)> {
        let places = (0..8).flat_map(card::mark_corners);
        places
            .map(|(x, y)| ((x, y), view.project([x, y, 0.0]).unwrap()))
            .collect()
    }

    #[test]
    fn a_tilted_camera_is_found_again_with_its_lens() {
        let truth = camera(-0.08, 0.3);
        let found = View::fit(&pairs(&truth), 1500, 2000).unwrap();
        assert!(
            (found.focal_px / truth.focal_px - 1.0).abs() < 0.01,
            "{found:?}"
        );
        assert!((found.k1 - truth.k1).abs() < 0.005, "{found:?}");
        for place in [[0.0, 0.0, 0.0], [90.0, 125.0, 14.0], [180.0, 250.0, 10.0]] {
            let (a, b) = (truth.project(place).unwrap(), found.project(place).unwrap());
            assert!((a.0 - b.0).hypot(a.1 - b.1) < 0.3, "{place:?} {a:?} {b:?}");
        }
    }

    #[test]
    fn from_straight_above_the_card_is_met_all_the_same() {
        let truth = camera(0.0, 0.0);
        let found = View::fit(&pairs(&truth), 1500, 2000).unwrap();
        for (place, seen) in pairs(&truth) {
            let at = found.project([place.0, place.1, 0.0]).unwrap();
            assert!((at.0 - seen.0).hypot(at.1 - seen.1) < 0.05);
        }
    }

    #[test]
    fn a_ray_meets_the_card_behind_what_stands_on_it() {
        let view = camera(0.0, 0.2);
        let place = [100.0, 50.0, 12.0];
        let (x, y) = view.on_card(place).unwrap();
        let (a, b) = (
            view.project(place).unwrap(),
            view.project([x, y, 0.0]).unwrap(),
        );
        assert!((a.0 - b.0).hypot(a.1 - b.1) < 1e-6);
    }

    #[test]
    fn what_is_seen_at_a_height_is_seen_there() {
        let view = camera(-0.05, 0.25);
        let seen = view.project([80.0, 60.0, 14.0]).unwrap();
        let (x, y) = view.at_height(seen, 14.0).unwrap();
        assert!((x - 80.0).hypot(y - 60.0) < 1e-3, "{x} {y}");
    }
}
