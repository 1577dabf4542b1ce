//! One task on one mesh, for `run.py` to time beside other libraries:
//! `peer_tasks TASK MESH.stl [COUNT]`. Prints one JSON object: the seconds of the fastest of
//! several runs, the greatest memory of the process, and a result to compare.
//!
//! | task | does | result |
//! | --- | --- | --- |
//! | `make` | writes a ball of COUNT subdivisions to MESH | facets |
//! | `load` | reads and welds | vertices |
//! | `slice` | outlines of COUNT layers, their areas and volumes | sum of the areas, mm² |
//! | `rays` | first hits of a COUNT × COUNT picture in parallel projection along +x | hits |
//! | `nearest` | the nearest points of the skin for COUNT points off it | sum of distances, mm |

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use geometry::read::{ReadOptions, mesh_to_stl, read_mesh};
use geometry::{DVec3, LayerPlan, Mesh, Progress, Surface, layers, place, solids};
use rayon::prelude::*;

type Failure = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match run(&words) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(words: &[String]) -> Result<String, Failure> {
    let (task, path, count) = match words {
        [task, path] => (task, Path::new(path), 0),
        [task, path, count] => (task, Path::new(path), count.parse()?),
        _ => return Err("usage: peer_tasks TASK MESH [COUNT]".into()),
    };
    let (seconds, result) = match task.as_str() {
        "make" => make(path, count)?,
        "load" => fastest(|| Ok(load(path)?.vertices().len() as f64))?,
        "slice" => {
            let mesh = place::on_bed(load(path)?)?;
            fastest(|| slice(&mesh, count))?
        }
        "rays" => {
            let surface = Surface::new(Arc::new(load(path)?));
            fastest(|| Ok(rays(&surface, count)))?
        }
        "nearest" => {
            let surface = Surface::new(Arc::new(load(path)?));
            fastest(|| Ok(nearest(&surface, count)))?
        }
        other => return Err(format!("there is no task '{other}'").into()),
    };
    Ok(format!(
        r#"{{"seconds": {seconds}, "peak_mb": {}, "result": {result}}}"#,
        peak_mb()
    ))
}

/// The fastest of at least three runs and two seconds.
fn fastest(mut work: impl FnMut() -> Result<f64, Failure>) -> Result<(f64, f64), Failure> {
    let begun = Instant::now();
    let (mut least, mut result, mut runs) = (f64::INFINITY, 0.0, 0);
    while runs < 3 || begun.elapsed() < Duration::from_secs(2) {
        let start = Instant::now();
        result = work()?;
        least = least.min(start.elapsed().as_secs_f64());
        runs += 1;
    }
    Ok((least, result))
}

/// The most memory this process had at once, as Linux counts it; 0 elsewhere.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kib = line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok());
    kib.unwrap_or(0.0) / 1024.0
}

fn make(path: &Path, subdivisions: usize) -> Result<(f64, f64), Failure> {
    let ball = solids::icosphere(50.0, u32::try_from(subdivisions)?)?;
    std::fs::write(path, mesh_to_stl(&ball))?;
    Ok((0.0, ball.triangles().len() as f64))
}

fn load(path: &Path) -> Result<Mesh, Failure> {
    Ok(read_mesh(path, &ReadOptions::default())?.mesh)
}

/// The areas of the outlines half way up each layer. Volume, skin and outlines of the layers
/// come along, for there is no doing without them in a plan.
fn slice(mesh: &Mesh, count: usize) -> Result<f64, Failure> {
    let (low, high) = mesh.bounds();
    let layer_mm = (high.z - low.z) / count as f64;
    let plan = LayerPlan::plain(layer_mm, layer_mm);
    let layers = layers::cut(mesh, &plan, &Progress::new())?;
    Ok(layers.iter().map(|l| l.area_mm2).sum())
}

fn rays(surface: &Surface, side: usize) -> f64 {
    let (low, high) = surface.mesh().bounds();
    let at = |i: usize, axis: usize| {
        low[axis] + (high[axis] - low[axis]) * (i as f64 + 0.5) / side as f64
    };
    let row = |j: usize| {
        let hit = |i: &usize| {
            let from = DVec3::new(low.x - 10.0, at(*i, 1), at(j, 2));
            surface.first_hit(from, DVec3::X).is_some()
        };
        (0..side).filter(hit).count()
    };
    (0..side).into_par_iter().map(row).sum::<usize>() as f64
}

/// The same points as in `run.py`: on a spiral about the mesh, a tenth of its size off.
fn nearest(surface: &Surface, count: usize) -> f64 {
    let (low, high) = surface.mesh().bounds();
    let (middle, radius) = ((low + high) / 2.0, 0.55 * (high - low).max_element());
    let distance = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
        let (angle, r) = (2.399_963 * i as f64, (1.0 - z * z).sqrt());
        let point = middle + radius * DVec3::new(r * angle.cos(), r * angle.sin(), z);
        surface.nearest(point).point_mm.distance(point)
    };
    let distances: Vec<f64> = (0..count).into_par_iter().map(distance).collect();
    distances.iter().sum()
}
