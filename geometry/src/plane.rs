//! A plane in any direction that cuts a part open: what is left of the part, what a line of sight
//! meets there, and the face that the cut opens.

use glam::{DVec2, DVec3};
use rustc_hash::FxHashMap;

use crate::layers::{Section, slice};
use crate::mesh::polygon::fill_outlines;
use crate::{Mesh, Ray, Surface, SurfacePoint};

/// A point no farther beyond the plane than this is left, mm.
const ON_MM: f64 = 1e-6;

/// Outlines that touch in a point can't always be filled. They are then taken this far within the
/// part instead, mm, which nobody sees.
const NUDGES_MM: [f64; 3] = [0.0, 2e-5, 3e-4];

/// A plane that cuts a part open. What its normal points to is cut away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    normal: DVec3,
    at_mm: f64,
}

/// What a line of sight meets on a part that is cut open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Met {
    /// The skin.
    Skin(SurfacePoint),
    /// The face of the cut, at a place, mm.
    Face(DVec3),
}

impl Met {
    /// Where, mm.
    pub fn point_mm(self) -> DVec3 {
        match self {
            Self::Skin(hit) => hit.point_mm,
            Self::Face(point_mm) => point_mm,
        }
    }
}

/// A line of an outline on a plane.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    /// Points in order, mm.
    pub points_mm: Vec<DVec3>,
    /// Whether its last point is joined to its first.
    pub closed: bool,
}

/// Where a plane cuts a part.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlaneCut {
    /// The outlines, in no order.
    pub outlines: Vec<Outline>,
    /// The face between them, its facets turned to what is cut away; none where the plane meets no
    /// plastic, or the outlines are open or can't be filled.
    pub face: Option<Mesh>,
}

impl Plane {
    /// The plane across a direction of any length, at a distance from the origin along it, mm.
    /// None if that is no direction.
    pub fn new(direction: DVec3, at_mm: f64) -> Option<Self> {
        let normal = direction.try_normalize()?;
        at_mm.is_finite().then_some(Self { normal, at_mm })
    }

    /// The direction of what is cut away, of unit length.
    pub fn normal(self) -> DVec3 {
        self.normal
    }

    /// Its distance from the origin along the normal, mm.
    pub fn at_mm(self) -> f64 {
        self.at_mm
    }

    /// Its height, mm, if it is level.
    pub fn height_mm(self) -> Option<f64> {
        (self.normal.truncate() == DVec2::ZERO).then_some(self.at_mm * self.normal.z)
    }

    /// The same plane with the other side cut away.
    pub fn flipped(self) -> Self {
        Self {
            normal: -self.normal,
            at_mm: -self.at_mm,
        }
    }

    /// How far a point lies in what is cut away, mm; less than 0 in what is left.
    pub fn beyond_mm(self, point_mm: DVec3) -> f64 {
        self.normal.dot(point_mm) - self.at_mm
    }

    /// Whether a point is cut away.
    pub fn cuts_away(self, point_mm: DVec3) -> bool {
        self.beyond_mm(point_mm) > ON_MM
    }

    /// What a ray meets first of what is left of a part: skin, or the face of the cut. Of an open
    /// mesh, which has no inside, skin seen from behind through the cut counts as face.
    ///
    /// ```
    /// use std::sync::Arc;
    /// use geometry::plane::{Met, Plane};
    /// use geometry::{DVec3, Ray, Surface, solids};
    /// let block = Surface::new(Arc::new(solids::cuboid(DVec3::new(20.0, 20.0, 10.0))?));
    /// let half = Plane::new(DVec3::X, 4.0).ok_or("no direction")?;
    /// let ray = Ray { from_mm: DVec3::new(50.0, 1.0, 5.0), direction: DVec3::NEG_X };
    /// assert_eq!(half.meets(&block, ray), Some(Met::Face(DVec3::new(4.0, 1.0, 5.0))));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn meets(self, surface: &Surface, ray: Ray) -> Option<Met> {
        let direction = ray.direction.try_normalize()?;
        let before_mm = self.beyond_mm(ray.from_mm);
        if before_mm <= ON_MM {
            // What is left holds no way around what is cut away: behind that there is nothing.
            let hit = surface.first_hit(ray.from_mm, direction)?;
            return (!self.cuts_away(hit.point_mm)).then_some(Met::Skin(hit));
        }
        let approach = -self.normal.dot(direction);
        let far_mm = before_mm / approach;
        if approach <= 0.0 || !far_mm.is_finite() {
            return None;
        }
        let entry_mm = ray.from_mm + direction * far_mm;
        let hit = surface.first_hit(entry_mm, direction)?;
        // Out of plastic a ray comes through the back of a facet.
        let leaves = surface.normal(hit.facet).dot(direction) > 0.0;
        Some(match leaves && hit.point_mm.distance(entry_mm) > ON_MM {
            true => Met::Face(entry_mm),
            false => Met::Skin(hit),
        })
    }

    /// Where it cuts a part, and the face that this opens. As for layers, a part of a flat facet in
    /// the plane counts to the plastic beneath it.
    ///
    /// ```
    /// use geometry::plane::Plane;
    /// use geometry::{DVec3, solids};
    /// let block = solids::cuboid(DVec3::new(20.0, 30.0, 10.0))?;
    /// let cut = Plane::new(DVec3::X, 4.0).ok_or("no direction")?.cut(&block);
    /// let face = cut.face.ok_or("no face")?;
    /// assert!((face.area_mm2() - 300.0).abs() < 1e-9);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn cut(self, mesh: &Mesh) -> PlaneCut {
        let frame = Frame::of(self);
        // Laid level, it is cut as every layer is.
        let level = match frame.is_level() {
            true => None,
            false => match mesh.clone().map(|p| frame.laid(p)) {
                Ok(level) => Some(level),
                Err(_) => return PlaneCut::default(),
            },
        };
        let level = level.as_ref().unwrap_or(mesh);
        let mut outlines = Vec::new();
        for nudge_mm in NUDGES_MM {
            let section = slice(level, self.at_mm - nudge_mm);
            if nudge_mm == 0.0 {
                outlines = frame.outlines(&section);
            }
            if section.contours.is_empty() || section.open_ends > 0 {
                break;
            }
            if let Some(face) = frame.face(&section) {
                return PlaneCut {
                    outlines,
                    face: Some(face),
                };
            }
        }
        PlaneCut {
            outlines,
            face: None,
        }
    }
}

/// Directions along a plane and across it.
struct Frame {
    plane: Plane,
    right: DVec3,
    up: DVec3,
}

impl Frame {
    fn of(plane: Plane) -> Self {
        let right = match plane.normal == DVec3::Z {
            true => DVec3::X,
            false => plane.normal.any_orthonormal_vector(),
        };
        Self {
            plane,
            right,
            up: plane.normal.cross(right),
        }
    }

    fn is_level(&self) -> bool {
        self.plane.normal == DVec3::Z
    }

    /// A point as it lies once the plane is level.
    fn laid(&self, p: DVec3) -> DVec3 {
        DVec3::new(p.dot(self.right), p.dot(self.up), p.dot(self.plane.normal))
    }

    /// A point of the level plane as it lies on the part.
    fn on_part(&self, q: DVec2) -> DVec3 {
        self.right * q.x + self.up * q.y + self.plane.normal * self.plane.at_mm
    }

    fn outlines(&self, section: &Section) -> Vec<Outline> {
        let outline = |contour: &crate::layers::Contour| Outline {
            points_mm: contour.points_mm.iter().map(|q| self.on_part(*q)).collect(),
            closed: contour.closed,
        };
        section.contours.iter().map(outline).collect()
    }

    fn face(&self, section: &Section) -> Option<Mesh> {
        let (corners, sides) = sides_of(section);
        let place = |corner: u32| corners.get(corner as usize).copied().unwrap_or_default();
        let triangles = fill_outlines(&sides?, place)?;
        let vertices = corners.iter().map(|q| self.on_part(*q)).collect();
        Mesh::new(vertices, triangles).ok()
    }
}

/// The corners of all outlines, each place once, and the sides between them; none if a side is run
/// along twice the same way. A side there and back again is left out.
fn sides_of(section: &Section) -> (Vec<DVec2>, Option<Vec<[u32; 2]>>) {
    let mut corners: Vec<DVec2> = Vec::new();
    let mut known = FxHashMap::default();
    let mut number = |q: DVec2| {
        // Adding 0 makes one zero of the two.
        let q = q + DVec2::ZERO;
        *known
            .entry(q.to_array().map(f64::to_bits))
            .or_insert_with(|| {
                corners.push(q);
                corners.len() as u32 - 1
            })
    };
    let mut balance: FxHashMap<[u32; 2], i32> = FxHashMap::default();
    for contour in &section.contours {
        let numbers: Vec<u32> = contour.points_mm.iter().map(|q| number(*q)).collect();
        for (&from, &to) in numbers.iter().zip(numbers.iter().cycle().skip(1)) {
            let way = if from < to { 1 } else { -1 };
            if from != to {
                *balance.entry([from.min(to), from.max(to)]).or_default() += way;
            }
        }
    }
    let mut sides = Vec::with_capacity(balance.len());
    for ([low, high], count) in balance {
        match count {
            0 => {}
            1 => sides.push([low, high]),
            -1 => sides.push([high, low]),
            _ => return (corners, None),
        }
    }
    sides.sort_unstable();
    (corners, Some(sides))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    fn directions() -> impl Strategy<Value = DVec3> {
        prop::array::uniform3(-1.0..1.0f64)
            .prop_map(DVec3::from)
            .prop_filter("a direction", |d| d.length() > 0.1)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Source: the part of a ball's great circle at a distance d has the area π(r² − d²).
        #[test]
        fn a_ball_is_cut_in_circles_in_any_direction(
            direction in directions(), share in -0.8..0.8f64,
        ) {
            let ball = solids::icosphere(10.0, 4).unwrap();
            let plane = Plane::new(direction, share * 10.0).unwrap();
            let cut = plane.cut(&ball);
            let face = cut.face.expect("a face");
            let wanted = std::f64::consts::PI * 100.0 * (1.0 - share * share);
            prop_assert!((face.area_mm2() / wanted - 1.0).abs() < 0.02, "{}", face.area_mm2());
            for facet in 0..face.triangles().len() {
                prop_assert!(face.area_vector(facet).dot(plane.normal()) > -1e-9);
            }
            let on_it = |p: &DVec3| plane.beyond_mm(*p).abs() < 1e-3;
            prop_assert!(face.vertices().iter().all(on_it));
        }

        /// A ray that meets something meets nothing that is cut away, and nothing that is hidden.
        #[test]
        fn nothing_that_is_cut_away_is_met(
            direction in directions(), at_mm in -9.0..9.0f64,
            from in directions(), towards in prop::array::uniform3(-6.0..6.0f64),
        ) {
            let block = Surface::new(Arc::new(solids::cuboid(DVec3::splat(16.0)).unwrap()));
            let plane = Plane::new(direction, at_mm).unwrap();
            let from_mm = from.normalize() * 60.0;
            let ray = Ray { from_mm, direction: DVec3::from(towards) - from_mm };
            let along = ray.direction.normalize();
            let place = |p: DVec3| (p - from_mm).dot(along);
            let met = plane.meets(&block, ray);
            // The same by steps: the first place that is in the block and left.
            let inside = |p: DVec3| {
                p.x.abs() < 8.0 && p.y.abs() < 8.0 && p.z > 0.0 && p.z < 16.0
                    && plane.beyond_mm(p) < 0.0
            };
            let first = (0..12_000).map(|i| f64::from(i) * 0.01).find(|t| inside(from_mm + along * *t));
            match (met, first) {
                (Some(met), Some(first)) => {
                    prop_assert!((place(met.point_mm()) - first).abs() < 0.03);
                    prop_assert!(plane.beyond_mm(met.point_mm()) < 1e-3);
                }
                // Along an edge, steps may miss what a ray grazes.
                (Some(met), None) => {
                    let p = met.point_mm() + along * 0.05;
                    prop_assert!(!inside(p));
                }
                (None, Some(_)) => prop_assert!(false, "the block was not met"),
                (None, None) => {}
            }
        }
    }

    #[test]
    fn a_cavity_is_a_hole_in_the_face() {
        let outer = solids::cuboid(DVec3::splat(20.0)).unwrap();
        let cavity = solids::cuboid(DVec3::splat(10.0)).unwrap();
        let cavity = cavity.map(|p| p + DVec3::Z * 5.0).unwrap();
        let part = Mesh::join([outer, cavity.turned_inside_out()]).unwrap();
        for direction in [DVec3::X, DVec3::Y, DVec3::NEG_Y] {
            let cut = Plane::new(direction, 0.0).unwrap().cut(&part);
            assert_eq!(cut.outlines.len(), 2);
            let area = cut.face.expect("a face").area_mm2();
            assert!((area - 300.0).abs() < 1e-6, "{area}");
        }
    }

    #[test]
    fn an_open_mesh_has_outlines_and_no_face_and_nonsense_is_no_plane() {
        let block = solids::cuboid(DVec3::splat(10.0)).unwrap();
        let some = block.triangles().iter().take(7).copied().collect();
        let open = Mesh::new(block.vertices().to_vec(), some).unwrap();
        let cut = Plane::new(DVec3::new(1.0, 0.3, 0.2), 0.4)
            .unwrap()
            .cut(&open);
        assert!(!cut.outlines.is_empty());
        assert_eq!(cut.face, None);
        assert_eq!(Plane::new(DVec3::ZERO, 1.0), None);
        assert_eq!(Plane::new(DVec3::X, f64::NAN), None);
        let beside = Plane::new(DVec3::X, 99.0).unwrap().cut(&block);
        assert_eq!(beside, PlaneCut::default());
    }
}
