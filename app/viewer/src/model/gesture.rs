//! A stroke while it is being drawn.

use emath::{Pos2, Rect};
use geometry::mask::Stroke;
use geometry::plane::Met;
use geometry::{DVec3, Plane, Ray, Surface, SurfacePoint};

use super::simpler::simplified;
use crate::model::camera::Camera;

/// Dabs are this share of the radius apart, so that the polyline follows curved skin.
const DAB_SPACING: f64 = 0.2;

/// The pointer's path is looked at in steps of at most this many points.
const PATH_STEP: f32 = 3.0;

/// A gap between neighbouring hits wider than this many steps across the stage is a jump to
/// other skin behind, and starts a new piece.
const JUMP: f64 = 6.0;

/// Dabs nearer to the line between their neighbours than this share of the radius are dropped.
const SIMPLER: f64 = 0.01;

/// A stroke in the making: one piece for each unbroken run over the skin.
#[derive(Clone, Debug)]
pub struct Gesture {
    radius_mm: f64,
    /// What cuts the part open: nothing is painted of what is cut away.
    section: Option<Plane>,
    pieces: Vec<Vec<DVec3>>,
    last: Option<(Pos2, Option<DVec3>)>,
}

impl Gesture {
    /// A stroke with a brush of a radius, on a part that may be cut open.
    pub fn new(radius_mm: f64, section: Option<Plane>) -> Self {
        Self {
            radius_mm,
            section,
            pieces: Vec::new(),
            last: None,
        }
    }

    /// Goes on to a position on the stage and gives the dabs that this added, each piece's
    /// first dab preceded by the last one before it.
    pub fn go_to(
        &mut self,
        camera: &Camera,
        stage: Rect,
        surface: &Surface,
        reach_mm: f64,
        to: Pos2,
    ) -> Vec<Stroke> {
        let before: Vec<usize> = self.pieces.iter().map(Vec::len).collect();
        let path_step = self.path_step(camera);
        let (from, steps) = match self.last {
            Some((from, _)) => {
                let steps = ((to - from).length() / path_step).ceil().clamp(1.0, 4000.0);
                (from, steps as usize)
            }
            None => (to, 1),
        };
        for step in 1..=steps {
            let at = from + (to - from) * (step as f32 / steps as f32);
            let ray = camera.ray(stage, at, reach_mm);
            let hit = self.hit(surface, ray);
            self.add(camera, at, hit);
        }
        self.added(&before)
    }

    fn hit(&self, surface: &Surface, ray: Ray) -> Option<SurfacePoint> {
        let Some(section) = self.section else {
            return surface.first_hit(ray.from_mm, ray.direction);
        };
        match section.meets(surface, ray)? {
            Met::Skin(hit) => Some(hit),
            Met::Face(_) => None,
        }
    }

    fn path_step(&self, camera: &Camera) -> f32 {
        let dab = (self.radius_mm * DAB_SPACING / camera.mm_per_point) as f32;
        dab.clamp(0.5, PATH_STEP)
    }

    fn add(&mut self, camera: &Camera, at: Pos2, hit: Option<SurfacePoint>) {
        let point = hit.map(|h| h.point_mm);
        let before = self.last.replace((at, point));
        let Some(point) = point else { return };
        let joined = match before {
            Some((from, Some(last))) => {
                let across = f64::from((at - from).length()).max(1.0) * camera.mm_per_point;
                point.distance(last) <= across * JUMP + self.radius_mm * DAB_SPACING
            }
            _ => false,
        };
        match self.pieces.last_mut() {
            Some(piece) if joined => {
                let spaced = self.radius_mm * DAB_SPACING;
                let far = piece.last().is_none_or(|p| p.distance(point) >= spaced);
                if far {
                    piece.push(point);
                }
            }
            _ => self.pieces.push(vec![point]),
        }
    }

    fn added(&self, before: &[usize]) -> Vec<Stroke> {
        let mut strokes = Vec::new();
        for (i, piece) in self.pieces.iter().enumerate() {
            let known = before.get(i).copied().unwrap_or(0);
            if piece.len() > known {
                let dabs_mm = piece[known.saturating_sub(1)..].to_vec();
                strokes.push(self.stroke(dabs_mm));
            }
        }
        strokes
    }

    fn stroke(&self, dabs_mm: Vec<DVec3>) -> Stroke {
        Stroke {
            dabs_mm,
            radius_mm: self.radius_mm,
            reach_mm: None,
        }
    }

    /// Where it ends, mm.
    pub fn end_mm(&self) -> Option<DVec3> {
        self.pieces.last()?.last().copied()
    }

    /// Whether nothing was painted.
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// The strokes, with dabs that say nothing left out.
    pub fn finish(self) -> Vec<Stroke> {
        let tolerance = self.radius_mm * SIMPLER;
        let simpler = |piece: &Vec<DVec3>| self.stroke(simplified(piece, tolerance));
        self.pieces.iter().map(simpler).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use emath::pos2;
    use geometry::Mesh;
    use std::sync::Arc;

    /// Two square plates facing the front, one 20 mm behind the other and to its right.
    fn plates() -> Surface {
        let plate = |x: f64, y: f64| {
            [(x, 0.0), (x + 20.0, 0.0), (x + 20.0, 40.0), (x, 40.0)]
                .map(|(x, z)| DVec3::new(x, y, z))
        };
        let mut vertices = plate(-20.0, 0.0).to_vec();
        vertices.extend(plate(0.0, 20.0));
        let triangles = vec![[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]];
        Surface::new(Arc::new(Mesh::new(vertices, triangles).expect("a mesh")))
    }

    fn stage() -> Rect {
        Rect::from_min_max(pos2(0.0, 0.0), pos2(400.0, 400.0))
    }

    fn camera() -> Camera {
        Camera {
            target_mm: DVec3::new(0.0, 0.0, 20.0),
            yaw_deg: 0.0,
            mm_per_point: 0.1,
            ..Camera::default()
        }
    }

    #[test]
    fn a_stroke_breaks_where_the_skin_jumps_back() {
        let surface = plates();
        let mut gesture = Gesture::new(2.0, None);
        let camera = camera();
        for x in [50.0, 150.0, 250.0, 350.0] {
            gesture.go_to(&camera, stage(), &surface, 500.0, pos2(x, 200.0));
        }
        let strokes = gesture.finish();
        assert_eq!(strokes.len(), 2, "{strokes:?}");
        assert!(strokes[0].dabs_mm.iter().all(|d| d.y.abs() < 1e-9));
        assert!(strokes[1].dabs_mm.iter().all(|d| (d.y - 20.0).abs() < 1e-9));
        // A straight run over flat skin needs its ends alone.
        assert_eq!(strokes[0].dabs_mm.len(), 2);
    }

    #[test]
    fn off_the_part_nothing_is_painted_and_the_stroke_goes_on_beyond() {
        let surface = plates();
        let mut gesture = Gesture::new(1.0, None);
        let camera = camera();
        gesture.go_to(&camera, stage(), &surface, 500.0, pos2(100.0, 390.0));
        gesture.go_to(&camera, stage(), &surface, 500.0, pos2(100.0, 500.0));
        assert_eq!(gesture.pieces.len(), 1);
        gesture.go_to(&camera, stage(), &surface, 500.0, pos2(120.0, 390.0));
        assert_eq!(gesture.pieces.len(), 2);
    }

    #[test]
    fn what_is_added_joins_what_was_there() {
        let surface = plates();
        let mut gesture = Gesture::new(2.0, None);
        let camera = camera();
        let one = gesture.go_to(&camera, stage(), &surface, 500.0, pos2(50.0, 200.0));
        assert_eq!(one[0].dabs_mm.len(), 1);
        let more = gesture.go_to(&camera, stage(), &surface, 500.0, pos2(80.0, 200.0));
        assert_eq!(more[0].dabs_mm[0], one[0].dabs_mm[0]);
        assert!(more[0].dabs_mm.len() > 3);
    }
}
