//! Distance along the surface from a painted stroke.

use glam::DVec3;

use super::FieldError;
use crate::mask::Stroke;
use crate::surface::bisection::Bisection;
use crate::surface::facet::nearest_on_segment;
use crate::surface::geodesic::{Distances, Fineness, Piece, trace};
use crate::{Progress, Surface, SurfacePoint};

/// Cuts no finer than this share of the part's size.
const FINEST_SHARE: f64 = 1.0 / 1000.0;

/// Marches from the stroke over the whole surface.
///
/// Right to 1 %, or a thousandth of the part's size where that is more, on coarse meshes
/// and fine ones alike; to 2 % close to where shortest ways from different sides meet, as
/// at the far point of a ball. A shell that the stroke does not touch is infinitely far.
pub(super) fn prepare(
    stroke: &Stroke,
    surface: &Surface,
    progress: &Progress,
) -> Result<Distances, FieldError> {
    stroke.check()?;
    progress.stage("Measuring along the surface");
    let pieces = draw(stroke, surface);
    progress.check()?;
    let (lo, hi) = surface.mesh().bounds();
    let fineness = Fineness {
        finest_mm: hi.distance(lo) * FINEST_SHARE,
        sides_per_distance: 16.0,
        most_nodes: 8_000_000 + 4 * surface.mesh().triangles().len(),
    };
    let mut mesh = Bisection::of_all(surface.mesh(), surface.adjacency());
    mesh.refine(fineness.most_nodes, |a, b| {
        fineness.too_long(a, b, |p| from_polyline(&stroke.dabs_mm, p))
    });
    progress.check()?;
    Ok(Distances::new(
        surface,
        mesh,
        &pieces,
        f64::INFINITY,
        progress,
    )?)
}

/// The line of the whole stroke. Dabs that are not on the surface are taken to it.
fn draw(stroke: &Stroke, surface: &Surface) -> Vec<Piece> {
    let dabs: Vec<SurfacePoint> = stroke.dabs_mm.iter().map(|&d| surface.nearest(d)).collect();
    match dabs.as_slice() {
        [dab] => vec![Piece::dot(*dab)],
        dabs => dabs
            .windows(2)
            .flat_map(|w| trace(surface, w[0], w[1], stroke.radius_mm))
            .collect(),
    }
}

fn from_polyline(points: &[DVec3], p: DVec3) -> f64 {
    let first = points
        .first()
        .map_or(f64::INFINITY, |a| a.distance_squared(p));
    points
        .windows(2)
        .map(|w| nearest_on_segment(w[0], w[1], p).distance_squared(p))
        .fold(first, f64::min)
        .sqrt()
}
