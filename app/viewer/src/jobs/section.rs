//! Where the section plane cuts the part: the outlines, and the face in the plan's colours.

use std::sync::Arc;

use geometry::plane::{Outline, PlaneCut};
use geometry::surface::refine::{Classes, refine};
use geometry::{DVec3, Mesh, Plane, Progress, Surface, SurfacePoint};
use plan::{Paint, Painted};

use super::Stop;
use super::patch::{BENEATH_MM, Corner, least_radius_mm, put};
use crate::model::skin::{FREE, SkinMesh};

/// The class of plastic that no region asks anything of.
const NO_REGION: u32 = u32::MAX;

/// Edges on the face are followed in lengths of this share of the depth of colour, or of the least
/// radius that makes one,
const EDGE_OF_DEPTH: f64 = 0.2;

/// but at least of this share of the face's size, so that a large face does not take long,
const FINEST_SHARE: f64 = 1.0 / 1500.0;

/// and at most of this one.
const COARSEST_SHARE: f64 = 1.0 / 64.0;

/// What to cut.
pub struct Order {
    /// The plane.
    pub plane: Plane,
    /// The part.
    pub mesh: Arc<Mesh>,
    /// The plan laid on it, and its revision; none before that is worked out.
    pub painted: Option<(Arc<Painted>, u64)>,
}

/// The part where it is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// The plane.
    pub plane: Plane,
    /// The revision of the plan whose colours the face has; none if it has none.
    pub revision: Option<u64>,
    /// The outlines.
    pub outlines: Vec<Outline>,
    /// The face, with regions counted from 0; empty where it can't be filled.
    pub face: SkinMesh,
}

/// Cuts.
///
/// # Errors
/// [`Stop::Cancelled`].
pub fn run(order: Order, progress: &Progress) -> Result<Cut, Stop> {
    let Order {
        plane,
        mesh,
        painted,
    } = order;
    let PlaneCut { outlines, face } = plane.cut(&mesh);
    progress.check()?;
    let face = match (&painted, face) {
        (Some((painted, _)), Some(face)) => coloured(painted, face, plane.normal(), progress)?,
        _ => SkinMesh::default(),
    };
    Ok(Cut {
        plane,
        revision: painted.map(|(_, revision)| revision),
        outlines,
        face,
    })
}

/// The region of each point of a face: that of the skin nearest to it, as deep as colour reaches.
#[derive(Clone, Copy)]
struct Inside<'a> {
    painted: &'a Painted,
    depth_mm: f64,
}

impl Inside<'_> {
    /// The skin that a point has its colour from.
    fn skin(&self, point_mm: DVec3) -> Option<SurfacePoint> {
        let surface = self.painted.surface();
        surface.nearest_seen_within(point_mm, self.depth_mm)
    }
}

impl Classes for Inside<'_> {
    fn class(&self, at: SurfacePoint) -> u32 {
        let Some(near) = self.skin(at.point_mm) else {
            return NO_REGION;
        };
        // As everywhere: a face exactly where a band ends belongs to the plastic under it.
        let normal = self.painted.surface().normal(near.facet);
        let point_mm = near.point_mm - normal * BENEATH_MM;
        self.painted.region_at(SurfacePoint { point_mm, ..near }) as u32
    }

    fn is_even(&self, _facet: u32, corners_mm: [DVec3; 3]) -> bool {
        let middle = corners_mm.iter().sum::<DVec3>() / 3.0;
        let far = |least: f64, corner: &DVec3| least.max(corner.distance(middle));
        let reach_mm = self.depth_mm + corners_mm.iter().fold(0.0, far);
        let surface = self.painted.surface();
        surface.nearest_seen_within(middle, reach_mm).is_none()
    }
}

fn coloured(
    painted: &Painted,
    face: Mesh,
    normal: DVec3,
    progress: &Progress,
) -> Result<SkinMesh, Stop> {
    let plan = painted.plan();
    let inside = Inside {
        painted,
        depth_mm: plan.skin_mm,
    };
    let (lo, hi) = face.bounds();
    let size_mm = lo.distance(hi);
    let detail_mm = plan.skin_mm.min(least_radius_mm(plan, (lo, hi)));
    let finest_mm = (detail_mm * EDGE_OF_DEPTH)
        .min(size_mm * COARSEST_SHARE)
        .max(size_mm * FINEST_SHARE);
    let face = Surface::new(Arc::new(face));
    let refined = refine(&face, inside, finest_mm, progress)?;
    let fades = |region: u32| {
        let region = plan.regions.get(region as usize);
        region.is_some_and(|r| matches!(r.paint, Paint::Fade { .. }))
    };
    let mut out = SkinMesh::default();
    for (triangle, &region) in refined.triangles.iter().zip(&refined.class) {
        let vertex = |v: u32| refined.vertices.get(v as usize).copied();
        let corners = triangle.map(|v| Corner {
            at: vertex(v).unwrap_or_default(),
            normal,
        });
        if region == NO_REGION {
            put(&mut out, corners, FREE, &|_| 0.0, f64::INFINITY);
            continue;
        }
        let place = |point_mm: DVec3| {
            let along = |near| painted.along_mm(region as usize, near);
            inside.skin(point_mm).and_then(along).unwrap_or(point_mm.z)
        };
        let finest_mm = if fades(region) {
            finest_mm
        } else {
            f64::INFINITY
        };
        put(&mut out, corners, region, &place, finest_mm);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use geometry::solids;
    use plan::{FirstPlan, MeshSource, Plan, Region};

    use super::*;

    /// A block with a base and a band between 20 and 30 mm, cut across x.
    fn cut_block() -> (Plan, Cut) {
        let mesh = Arc::new(solids::cuboid(DVec3::new(30.0, 40.0, 50.0)).expect("a block"));
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("block.stl"),
            title: "Block".to_owned(),
            height_mm: 50.0,
        });
        plan.skin_mm = 2.0;
        let band = geometry::Mask::Band {
            from_mm: 20.0,
            to_mm: 30.0,
        };
        let mut region = Region::painted("Band".to_owned(), plan.regions[0].paint.clone());
        region.mask = band;
        plan.regions.push(region);
        let model = plan.model();
        let surface = Surface::new(mesh.clone());
        let painted = Painted::new(plan.clone(), surface, model, &Progress::new()).expect("laid");
        let order = Order {
            plane: Plane::new(DVec3::X, 3.0).expect("a plane"),
            mesh,
            painted: Some((Arc::new(painted), 7)),
        };
        (plan, run(order, &Progress::new()).expect("not cancelled"))
    }

    /// Area of the face's triangles of a region, mm².
    fn area_of(face: &SkinMesh, region: u32) -> f64 {
        let corner = |i: &u32| {
            let [x, y, z] = face.positions[*i as usize].map(f64::from);
            DVec3::new(x, y, z)
        };
        let triangles = face.indices.chunks_exact(3);
        let own = triangles.filter(|t| face.region[t[0] as usize] == region);
        own.map(|t| {
            let [a, b, c] = [corner(&t[0]), corner(&t[1]), corner(&t[2])];
            0.5 * (b - a).cross(c - a).length()
        })
        .sum()
    }

    #[test]
    fn the_face_has_each_region_as_deep_as_colour_reaches_and_is_free_beneath() {
        let (_, cut) = cut_block();
        assert_eq!(cut.revision, Some(7));
        assert_eq!(cut.outlines.len(), 1);
        let (base, band) = (area_of(&cut.face, 0), area_of(&cut.face, 1));
        let free = area_of(&cut.face, FREE);
        // The face is 40 mm by 50 mm; the band is two strips of 2 mm by 10 mm.
        assert!(
            (base + band + free - 2000.0).abs() < 1e-2,
            "{base} {band} {free}"
        );
        assert!((free - 36.0 * 46.0).abs() < 4.0, "{free}");
        assert!((band - 40.0).abs() < 1.0, "{band}");
        assert!(cut.face.positions.iter().all(|p| (p[0] - 3.0).abs() < 1e-4));
    }
}
