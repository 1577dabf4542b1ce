//! One task on one mesh, for `run.py` to time beside other libraries:
//! `peer_tasks TASK MESH.stl [COUNT]`. Prints one JSON object: the seconds of the fastest of
//! several runs, the greatest memory of the process, and a result to compare.
//!
//! | task | does | result |
//! | --- | --- | --- |
//! | `make` | writes a ball of COUNT subdivisions to MESH | facets |
//! | `post` | writes a cylinder of COUNT sides, 50 mm in radius and 200 mm high, to MESH | facets |
//! | `load` | reads and welds | vertices |
//! | `tree` | builds the search tree over the mesh | facets |
//! | `slice` | outlines of COUNT layers, their areas and volumes | sum of the areas, mm² |
//! | `rays` | first hits of a COUNT × COUNT picture in parallel projection along +x, in blocks of 4 × 2 | hits |
//! | `picks` | the same, one ray at a time | hits |
//! | `nearest` | the nearest points of the skin for COUNT points off it | sum of distances, mm |
//! | `bands` | closed bodies of COUNT bands of equal height | sum of volumes times places, mm³ |
//! | `classify` | the region and the blend at COUNT points of the skin | sum of the regions' places |

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use geometry::bodies::{Core, Skin, cut};
use geometry::read::{ReadOptions, mesh_to_stl, read_mesh};
use geometry::surface::LevelCut;
use geometry::{
    DVec3, LayerPlan, Mesh, Progress, Ray, Surface, SurfacePoint, layers, place, solids,
};
use plan::{Painted, Plan};
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
        "post" => {
            let post = solids::cylinder(50.0, 200.0, u32::try_from(count)?)?;
            std::fs::write(path, mesh_to_stl(&post))?;
            (0.0, post.triangles().len() as f64)
        }
        "load" => fastest(|| Ok(load(path)?.vertices().len() as f64))?,
        "tree" => {
            let mesh = Arc::new(load(path)?);
            fastest(|| Ok(built(&mesh)))?
        }
        "slice" => {
            let mesh = place::on_bed(load(path)?)?;
            fastest(|| slice(&mesh, count))?
        }
        "rays" => {
            let surface = Surface::new(Arc::new(load(path)?));
            fastest(|| Ok(rays(&surface, count, together)))?
        }
        "picks" => {
            let surface = Surface::new(Arc::new(load(path)?));
            fastest(|| Ok(rays(&surface, count, one_by_one)))?
        }
        "nearest" => {
            let surface = Surface::new(Arc::new(load(path)?));
            fastest(|| Ok(nearest(&surface, count)))?
        }
        "bands" => {
            let surface = Surface::new(Arc::new(place::on_bed(load(path)?)?));
            fastest(|| bands(&surface, count))?
        }
        "classify" => {
            let painted = painted(Surface::new(Arc::new(place::on_bed(load(path)?)?)))?;
            let points = spread(painted.surface(), count);
            fastest(|| Ok(classify(&painted, &points)))?
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

/// The search tree, and what first asks for it.
fn built(mesh: &Arc<Mesh>) -> f64 {
    let surface = Surface::new(Arc::clone(mesh));
    surface.mesh().triangles().len() as f64
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

/// Closed bodies between level planes.
fn bands(surface: &Surface, count: usize) -> Result<f64, Failure> {
    let top = surface.mesh().bounds().1.z;
    let planes_mm: Vec<f64> = (1..count).map(|i| top * i as f64 / count as f64).collect();
    let core = Core {
        labels: (0..count as u32).collect(),
        planes_mm,
    };
    let band = |at: SurfacePoint| core.planes_mm.partition_point(|p| *p < at.point_mm.z) as u32;
    let progress = Progress::new();
    let refined = LevelCut::new(surface, &core.planes_mm).refine(band, 1e6, &progress)?;
    let skin = Skin::new(refined.vertices, refined.triangles, refined.class);
    let partition = cut(skin, &core, 1.0, surface, &progress)?;
    let mut sum = 0.0;
    for label in partition.labels() {
        let body = partition.body(label)?.ok_or("no body")?;
        sum += f64::from(label + 1) * body.volume_mm3();
    }
    Ok(sum)
}

fn rays(surface: &Surface, side: usize, hits: fn(&Surface, &[Ray]) -> usize) -> f64 {
    let (low, high) = surface.mesh().bounds();
    let at = |i: usize, axis: usize| {
        low[axis] + (high[axis] - low[axis]) * (i as f64 + 0.5) / side as f64
    };
    let ray = |i: usize, j: usize| Ray {
        from_mm: DVec3::new(low.x - 10.0, at(i, 1), at(j, 2)),
        direction: DVec3::X,
    };
    let rows = |pair: usize| {
        let blocks = (0..side.div_ceil(4)).flat_map(|block| {
            let pixels = (0..8).map(move |k| (4 * block + k % 4, 2 * pair + k / 4));
            pixels.filter(|&(i, j)| i < side && j < side)
        });
        let rays: Vec<Ray> = blocks.map(|(i, j)| ray(i, j)).collect();
        hits(surface, &rays)
    };
    (0..side.div_ceil(2))
        .into_par_iter()
        .map(rows)
        .sum::<usize>() as f64
}

fn together(surface: &Surface, rays: &[Ray]) -> usize {
    surface.first_hits(rays).iter().flatten().count()
}

fn one_by_one(surface: &Surface, rays: &[Ray]) -> usize {
    let hits = rays.iter();
    hits.filter_map(|ray| surface.first_hit(ray.from_mm, ray.direction))
        .count()
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

/// A region of every kind of edge over the whole: a fade, a band, a ball, a block, a stroke.
const REGIONS: &str = r##"(
    version: 1, title: "Ball", mesh: (file: "ball.stl"),
    spools: [(name: "White", colour: Hex("#f2efe6")), (name: "Blue", colour: Hex("#14507a"))],
    layers: (first_layer_mm: 0.2, layer_mm: 0.2),
    regions: [
        (name: "Fade", mask: Whole, paint: Fade(
            along: Height,
            fade: (stops: [(at_mm: 0, shares: [1, 0]), (at_mm: 100, shares: [0, 1])]),
        )),
        (name: "Band", mask: Band(from_mm: 30, to_mm: 40), paint: Fixed([0.5, 0.5])),
        (name: "Ball", mask: Sphere(centre_mm: (50, 0, 50), radius_mm: 20), paint: Fixed([0.2, 0.8])),
        (name: "Block", mask: Box(min_mm: (-60, -10, 60), max_mm: (0, 10, 80)), paint: Fixed([0.7, 0.3])),
        (name: "Stroke", mask: Stroke(
            dabs_mm: [(0, -50, 50), (10, -48.99, 50), (20, -45.83, 50)], radius_mm: 4,
        ), paint: Fixed([0, 1])),
    ],
)"##;

fn painted(surface: Surface) -> Result<Painted, Failure> {
    let plan = plan::ron_text::read::<Plan>(REGIONS)?;
    let model = plan.model();
    Ok(Painted::new(plan, surface, model, &Progress::new())?)
}

/// Middles of facets, from all over the mesh.
fn spread(surface: &Surface, count: usize) -> Vec<SurfacePoint> {
    let facets = surface.mesh().triangles().len();
    let point = |i: usize| {
        let facet = i * 7919 % facets;
        let [a, b, c] = surface.mesh().corners(facet);
        SurfacePoint {
            point_mm: (a + b + c) / 3.0,
            facet: facet as u32,
        }
    };
    (0..count).map(point).collect()
}

fn classify(painted: &Painted, points: &[SurfacePoint]) -> f64 {
    let region = |&point: &SurfacePoint| {
        std::hint::black_box(painted.shares_at(point));
        painted.region_at(point) as f64
    };
    points.par_iter().map(region).sum()
}
