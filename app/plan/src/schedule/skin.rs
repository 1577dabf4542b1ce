//! A layer's skin, shared out among region steps.

use geometry::{DVec3, LayerSpan, Surface, SurfacePoint};

use super::region_steps::{LayerRegions, Tally};

/// The area of each region step on the visible skin between a layer's bottom and top, mm². Facets are cut at
/// both heights and, unless they are of one region step, into pieces no longer than `piece_mm`, of
/// which the middle decides.
///
/// A flat facet exactly at a height belongs to the layer that its plastic is in, as in
/// [`geometry::layers::between`].
pub(super) fn areas_mm2(
    surface: &Surface,
    span: LayerSpan,
    piece_mm: f64,
    layer_regions: &LayerRegions,
) -> Tally {
    let mut areas = Tally::default();
    let (mut low, mut high) = surface.bounds_mm();
    (low.z, high.z) = (span.bottom_mm, span.top_mm);
    let mut facets = Vec::new();
    surface.facets_in_box(low, high, |facet| facets.push(facet));
    facets.retain(|&facet| !surface.is_unseen(facet));
    facets.sort_unstable();
    for facet in facets {
        let corners = surface.mesh().corners(facet as usize);
        let mut add = |corners: [DVec3; 3]| {
            let even = |corners| layer_regions.is_even(facet, corners);
            pieces(corners, piece_mm, &even, &mut |[a, b, c]| {
                let point_mm = (a + b + c) / 3.0;
                let area = 0.5 * (b - a).cross(c - a).length();
                if area > 0.0 {
                    areas.add(layer_regions.at(SurfacePoint { point_mm, facet }), area);
                }
            });
        };
        let [a, b, c] = corners;
        if a.z == b.z && b.z == c.z {
            if flat_belongs(surface.normal(facet).z, a.z, span) {
                add(corners);
            }
            continue;
        }
        let polygon = clipped(&corners, |p| p.z - span.bottom_mm);
        let polygon = clipped(&polygon, |p| span.top_mm - p.z);
        for i in 2..polygon.len() {
            add([polygon[0], polygon[i - 1], polygon[i]]);
        }
    }
    areas
}

fn flat_belongs(up: f64, z: f64, span: LayerSpan) -> bool {
    let plate = z == 0.0 && span.bottom_mm == 0.0;
    match up > 0.0 {
        true => (span.bottom_mm < z && z <= span.top_mm) || plate,
        false => span.bottom_mm <= z && z < span.top_mm,
    }
}

/// The part of a convex polygon on which a linear function is not negative (I. Sutherland,
/// G. Hodgman, "Reentrant Polygon Clipping", Communications of the ACM 17(1), 1974, from
/// memory).
fn clipped(polygon: &[DVec3], side: impl Fn(DVec3) -> f64) -> Vec<DVec3> {
    let mut kept = Vec::with_capacity(polygon.len() + 1);
    let next = polygon.iter().skip(1).chain(polygon.first());
    for (&here, &there) in polygon.iter().zip(next) {
        let (a, b) = (side(here), side(there));
        if a >= 0.0 {
            kept.push(here);
        }
        if (a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0) {
            kept.push(here.lerp(there, a / (a - b)));
        }
    }
    kept
}

/// Cuts a triangle at its longest side until that is no longer than `piece_mm`, or all of it is
/// even.
fn pieces(
    corners: [DVec3; 3],
    piece_mm: f64,
    even: &impl Fn([DVec3; 3]) -> bool,
    each: &mut impl FnMut([DVec3; 3]),
) {
    let [a, b, c] = corners;
    let [ab, bc, ca] = [a.distance(b), b.distance(c), c.distance(a)];
    let longest = ab.max(bc).max(ca);
    if longest.is_nan() || longest <= piece_mm || piece_mm <= 0.0 || even(corners) {
        return each(corners);
    }
    let [a, b, c] = if ab == longest {
        [a, b, c]
    } else if bc == longest {
        [b, c, a]
    } else {
        [c, a, b]
    };
    let middle = a.midpoint(b);
    pieces([a, middle, c], piece_mm, even, each);
    pieces([middle, b, c], piece_mm, even, each);
}
