//! A part of a million triangles with eight blends and ten strokes: how long each step takes, and
//! the most memory that was held.

use std::sync::Arc;
use std::time::Instant;

use blend::{Shares, Spool, SpoolColour, Srgb};
use bodies::{Bodies, Options};
use geometry::mask::Stroke;
use geometry::{DVec3, Mask, Progress, Surface, solids};
use plan::{FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let progress = Progress::new();
    // 1000 × 500 quadrilaterals.
    let ring = solids::torus(40.0, 14.0, 1000, 500)?.map(|p| p + DVec3::Z * 14.0)?;
    let arrays = 24 * ring.vertices().len() + 12 * ring.triangles().len();
    println!(
        "{} triangles, {:.1} MB of arrays",
        ring.triangles().len(),
        mb(arrays)
    );
    let plan = plan()?;
    let model = plan.model();
    let surface = Surface::new(Arc::new(ring));
    let start = Instant::now();
    let painted = Painted::new(plan, surface, model, &progress)?;
    println!(
        "regions laid on the part: {:.2} s",
        start.elapsed().as_secs_f64()
    );
    let start = Instant::now();
    let schedule = Schedule::new(&painted, &progress)?;
    println!("schedule: {:.2} s", start.elapsed().as_secs_f64());
    let before = held("VmRSS");
    let start = Instant::now();
    let bodies = Bodies::new(&painted, &schedule, &Options::default(), &progress)?;
    println!("bodies: {:.2} s", start.elapsed().as_secs_f64());
    let triangles: usize = bodies.bodies.iter().map(|b| b.mesh.triangles().len()).sum();
    println!("{} bodies, {triangles} triangles", bodies.bodies.len());
    if let (Some(before), Some(most)) = (before, held("VmHWM")) {
        println!(
            "held before: {:.0} MB, at most: {:.0} MB, {:.1} times the arrays above that",
            mb(before),
            mb(most),
            (most.saturating_sub(before)) as f64 / arrays as f64
        );
    }
    for note in &bodies.notes {
        println!("note: {note}");
    }
    let sum: f64 = bodies.bodies.iter().map(|b| b.volume_mm3).sum();
    println!("volumes add up to 1 {:+.1e}", sum / bodies.part_mm3 - 1.0);
    Ok(())
}

fn mb(bytes: usize) -> f64 {
    bytes as f64 / 1e6
}

/// Bytes held by the process, as Linux tells.
fn held(what: &str) -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with(what))?;
    let kib: usize = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

/// Four bands and four blends of strokes.
fn plan() -> Result<Plan, Box<dyn std::error::Error>> {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("ring.stl"),
        title: "Ring".into(),
        height_mm: 28.0,
    });
    let spool = |name: &str, code| Spool::new(name, SpoolColour::Hex(Srgb(code)));
    plan.spools = vec![
        spool("Chalk", [244, 241, 234]),
        spool("Deep water", [18, 80, 123]),
    ]
    .into();
    let paint = |first: f64| -> Result<Paint, Box<dyn std::error::Error>> {
        Ok(Paint::Fixed(Shares::new(&[first, 1.0 - first])?))
    };
    plan.regions = vec![Region::new("Base", Mask::Whole, paint(1.0)?)];
    for (i, first) in [(1, 0.85), (2, 0.7), (3, 0.55)] {
        let from_mm = 7.0 * f64::from(i);
        let band = Mask::Band {
            from_mm,
            to_mm: from_mm + 7.0,
        };
        plan.regions
            .push(Region::new(format!("Band {i}"), band, paint(first)?));
    }
    for i in 0..10 {
        let around = f64::from(i) * 0.628;
        let dabs = (0..12).map(|j| {
            let (turn, up) = (
                around + 0.03 * f64::from(j),
                0.5 * f64::from(i) + 0.1 * f64::from(j),
            );
            let reach = 40.0 + 14.0 * up.cos();
            DVec3::new(
                reach * turn.cos(),
                reach * turn.sin(),
                14.0 + 14.0 * up.sin(),
            )
        });
        let stroke = Stroke {
            dabs_mm: dabs.collect(),
            radius_mm: 3.0,
            reach_mm: None,
        };
        let first = [0.4, 0.25, 0.1, 0.0][i as usize % 4];
        let region = Region::new(format!("Stroke {i}"), Mask::Stroke(stroke), paint(first)?);
        plan.regions.push(region);
    }
    Ok(plan)
}
