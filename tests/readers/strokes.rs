//! Strokes on meshes of slivers: bytes are places on a grid of thin cells, and dabs.

use std::sync::Arc;

use geometry::mask::{PreparedStroke, Stroke};
use geometry::{DVec3, Mesh, Progress, Surface, SurfacePoint};

use super::Answer;

/// Facets and dabs, so that a run stays quick.
const MOST_CORNERS: usize = 120;
const MOST_DABS: usize = 8;

/// A grid of places, mm, near and far from each other, so that facets are thin, without area,
/// doubled and crossing.
const PLACES_MM: [f64; 16] = [
    0.0, 1e-9, 1e-6, 1e-4, 1e-3, 0.01, 0.1, 0.5, 1.0, 1.000_001, 1.001, 2.0, 5.0, 9.999, 10.0, 40.0,
];

/// The first two bytes are the stroke's radius and reach, the third tells how many dabs follow;
/// three bytes each are then a dab, the last two of which may lie between places; what is left
/// are corners of facets. Points that a stroke paints lie within its reach, and a stroke that
/// grew dab by dab paints what one of all its dabs does.
pub fn draw_strokes(bytes: &[u8]) -> Answer {
    let [radius, reach, dabs, rest @ ..] = bytes else {
        return Answer::Refused;
    };
    let dabs = 1 + usize::from(*dabs) % MOST_DABS;
    let Some((dabs, corners)) = rest.split_at_checked(3 * dabs) else {
        return Answer::Refused;
    };
    let Some(surface) = surface(corners) else {
        return Answer::Refused;
    };
    let radius_mm = 0.05 + f64::from(*radius) / 16.0;
    let stroke = Stroke {
        dabs_mm: dabs.as_chunks::<3>().0.iter().map(place).collect(),
        radius_mm,
        reach_mm: (*reach > 0).then(|| radius_mm * (1.0 + f64::from(*reach) / 64.0)),
    };
    let Ok(whole) = PreparedStroke::new(&stroke, &surface, &Progress::new()) else {
        return Answer::Refused;
    };
    let first = Stroke {
        dabs_mm: stroke.dabs_mm.iter().take(1).copied().collect(),
        ..stroke.clone()
    };
    let mut grown = PreparedStroke::new(&first, &surface, &Progress::new());
    if let Ok(grown) = &mut grown {
        for dab in stroke.dabs_mm.iter().skip(1) {
            assert!(grown.push(*dab).is_ok());
        }
        assert!(grown.facets().eq(whole.facets()));
    }
    for facet in whole.facets() {
        let [a, b, c] = surface.mesh().corners(facet as usize);
        for point_mm in [(a + b + c) / 3.0, a.midpoint(b), c] {
            let at = SurfacePoint { point_mm, facet };
            if whole.contains(at) {
                assert!(near(&stroke, point_mm), "{point_mm} {stroke:?}");
            }
        }
    }
    Answer::Read
}

/// Whether a point is no farther from the stroke's line than its radius.
fn near(stroke: &Stroke, point: DVec3) -> bool {
    let pairs = stroke.dabs_mm.iter().zip(stroke.dabs_mm.iter().skip(1));
    let from_side = pairs.map(|(a, b)| {
        let along = *b - *a;
        let t = ((point - *a).dot(along) / along.length_squared()).clamp(0.0, 1.0);
        (*a + along * if t.is_nan() { 0.0 } else { t }).distance(point)
    });
    let from_dabs = stroke.dabs_mm.iter().map(|dab| dab.distance(point));
    let least = from_side.chain(from_dabs).fold(f64::INFINITY, f64::min);
    least <= stroke.radius_mm * (1.0 + 1e-6) + 1e-6
}

fn place([x, y, z]: &[u8; 3]) -> DVec3 {
    let at = |byte: u8| {
        let between = if byte & 0x80 > 0 { 0.37 } else { 0.0 };
        PLACES_MM[usize::from(byte & 0x0f)] + between * f64::from(byte >> 4 & 7)
    };
    DVec3::new(at(*x), at(*y), at(*z))
}

/// Corners that are at one place are one, so that facets hang together.
fn surface(bytes: &[u8]) -> Option<Surface> {
    let corners = bytes.as_chunks::<3>().0.iter().take(MOST_CORNERS);
    let mut vertices: Vec<DVec3> = Vec::new();
    let mut numbers = Vec::new();
    for corner in corners.map(place) {
        let known = vertices.iter().position(|v| *v == corner);
        numbers.push(known.unwrap_or(vertices.len()) as u32);
        if known.is_none() {
            vertices.push(corner);
        }
    }
    let facets = numbers.as_chunks::<3>().0.to_vec();
    Mesh::new(vertices, facets)
        .ok()
        .map(|mesh| Surface::new(Arc::new(mesh)))
}
