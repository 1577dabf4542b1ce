//! Whether a point of the skin is in sight of an eye: decided for each point by a ray.

use glam::DVec3;

use crate::surface::facet::nearest_on;
use crate::{Plane, Surface, SurfacePoint};

/// Skin that is seen flatter than this, as the sine of the angle, is not in sight: 0.06°.
const GRAZING: f64 = 1e-3;

/// A ray starts this far off the skin, mm, so that it does not meet the facet that it starts from.
/// Points are asked about 1e-3 mm beneath level faces, and must come above them.
const OFF_MM: f64 = 3e-3;

/// And this far into the facet, mm: along a wall's foot the wall itself must not decide.
const INWARDS_MM: f64 = 2e-3;

/// A point this near to its facet lies on it, mm.
const ON_FACET_MM: f64 = 5e-3;

/// Where one looks from.
#[derive(Clone, Copy, Debug)]
pub(super) enum Eye {
    /// A point, mm.
    At(DVec3),
    /// Far off, in this unit direction.
    Towards(DVec3),
}

/// Whether nothing of the skin that a cut leaves is between the eye and a point of it.
pub(super) fn in_sight(surface: &Surface, at: SurfacePoint, eye: Eye, cut: Option<Plane>) -> bool {
    let Some((point, normal)) = on_skin(surface, at) else {
        return false;
    };
    let (direction, far_mm) = match eye {
        Eye::Towards(direction) => (direction, f64::INFINITY),
        Eye::At(eye) => ((eye - point).normalize_or_zero(), eye.distance(point)),
    };
    let facing = normal.dot(direction);
    // From behind, the ray starts in the part and meets its skin.
    if facing.abs() < GRAZING {
        return false;
    }
    let from = point + normal * OFF_MM.copysign(facing);
    match surface.first_hit(from, direction) {
        // Once a ray has come to what is cut away, it meets no more of what is left.
        Some(hit) => {
            let is_gone = cut.is_some_and(|cut| cut.beyond_mm(hit.point_mm) > 0.0);
            is_gone || hit.point_mm.distance(from) >= far_mm
        }
        None => true,
    }
}

/// The point of the skin, a little into its facet, and the facet's normal; none for a facet
/// without area.
fn on_skin(surface: &Surface, at: SurfacePoint) -> Option<(DVec3, DVec3)> {
    let mesh = surface.mesh();
    let known = ((at.facet as usize) < mesh.triangles().len()).then(|| {
        let corners = mesh.corners(at.facet as usize);
        (nearest_on(corners, at.point_mm), at.facet)
    });
    let (point, facet) = match known {
        Some((point, facet)) if point.distance(at.point_mm) <= ON_FACET_MM => (point, facet),
        _ => {
            let near = surface.nearest(at.point_mm);
            (near.point_mm, near.facet)
        }
    };
    let normal = surface.normal(facet);
    let middle = mesh.corners(facet as usize).iter().sum::<DVec3>() / 3.0;
    let point = point + (middle - point).clamp_length_max(INWARDS_MM);
    (normal != DVec3::ZERO).then_some((point, normal))
}
