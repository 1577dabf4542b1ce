//! The part on which the window is measured.

use std::sync::Arc;

use geometry::Surface;
use plan::{FirstPlan, MeshSource, Plan};

/// A ring of about so many thousand triangles, standing on the bed, with its first plan.
///
/// # Errors
/// In words, where there can be no such ring.
pub fn of_thousands(thousand: u32) -> Result<(Plan, Surface), String> {
    let quads = f64::from(thousand.clamp(1, 20_000)) * 500.0;
    let round = (quads * 2.0).sqrt().round().max(8.0) as u32;
    let across = (quads / f64::from(round)).round().max(8.0) as u32;
    let mesh = geometry::solids::torus(40.0, 15.0, round, across).map_err(|e| e.to_string())?;
    let mesh = geometry::place::on_bed(mesh).map_err(|e| e.to_string())?;
    let surface = Surface::new(Arc::new(mesh));
    let (low, high) = surface.bounds_mm();
    let plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("ring.stl"),
        title: "Ring".to_owned(),
        height_mm: high.z - low.z,
    });
    Ok((plan, surface))
}
