//! Toolpaths of the parts, to weave blends into: for tests and demos only.

use std::io::{self, Write};

use geometry::layers::slice;
use geometry::{LayerPlan, Mesh};

use crate::slicer::{Made, Recipe, Slice, Stand, generate};

/// Where the part stands: about the middle of a usual bed.
const MIDDLE_MM: [f64; 2] = [110.0, 110.0];

/// Points that lie within this of a straight line are left out, mm, so that files stay small.
const FLAT_MM: f64 = 0.04;

/// How a part is laid: one wall or two, little inside, with arcs.
pub fn recipe(walls: usize) -> Recipe {
    Recipe {
        walls,
        solid_layers: 3,
        sparse_mm: Some(6.0),
        arcs_within_mm: Some(0.06),
        stands: vec![Stand {
            turn_deg: 0.0,
            shift_mm: MIDDLE_MM,
        }],
        ..Recipe::default()
    }
}

/// Slices a part and writes its toolpath: walls, solid bottoms and tops, and a sparse inside.
///
/// It is no toolpath for a printer: it heats nothing, homes nothing and knows no machine.
///
/// # Errors
/// When the layer plan can't cut the part, or the stream's.
///
/// ```
/// use demo_models::{all, recipe, toolpath};
/// use geometry::LayerPlan;
/// let plate = &all()?[2];
/// let mut file = Vec::new();
/// let made = toolpath(&plate.mesh, &LayerPlan::plain(0.2, 0.2), &recipe(plate.walls), &mut file)?;
/// assert!(made.moves > 1000 && file.len() < 2_000_000);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn toolpath(
    mesh: &Mesh,
    layers: &LayerPlan,
    recipe: &Recipe,
    out: impl Write,
) -> io::Result<Made> {
    let (_, high) = mesh.bounds();
    let spans = layers.spans(high.z).map_err(io::Error::other)?;
    let contours: Vec<Vec<Vec<[f64; 2]>>> = spans
        .iter()
        .map(|span| {
            let section = slice(mesh, span.middle_mm());
            let rings = section.contours.iter();
            rings
                .map(|ring| flat(ring.points_mm.iter().map(|p| [p.x, p.y]).collect()))
                .collect()
        })
        .collect();
    let slices: Vec<Slice<'_>> = spans
        .iter()
        .zip(&contours)
        .map(|(span, contours)| Slice {
            top_mm: span.top_mm,
            height_mm: span.height_mm(),
            contours,
        })
        .collect();
    generate(&slices, recipe, out)
}

/// Leaves out points that lie as good as on the line between those that are kept.
fn flat(ring: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    let mut kept: Vec<[f64; 2]> = Vec::with_capacity(ring.len());
    let mut skipped: Vec<[f64; 2]> = Vec::new();
    for (i, point) in ring.iter().enumerate() {
        skipped.push(*point);
        let next = ring.get(i + 1).or(ring.first());
        let straight = match (kept.last(), next) {
            (Some(from), Some(to)) => skipped.iter().all(|p| off_line(*from, *to, *p) < FLAT_MM),
            _ => false,
        };
        if !straight {
            kept.push(*point);
            skipped.clear();
        }
    }
    match kept.len() {
        0..3 => ring,
        _ => kept,
    }
}

/// Distance of a point from the line between two others, mm.
fn off_line(a: [f64; 2], b: [f64; 2], point: [f64; 2]) -> f64 {
    let (u, v) = (
        [b[0] - a[0], b[1] - a[1]],
        [point[0] - a[0], point[1] - a[1]],
    );
    let length = u[0].hypot(u[1]);
    match length > 1e-9 {
        true => (u[0] * v[1] - u[1] * v[0]).abs() / length,
        false => v[0].hypot(v[1]),
    }
}
