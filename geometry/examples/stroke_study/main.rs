//! What single dabs cost on meshes of thin facets: thousands at seeded random places, each timed.
//!
//! ```sh
//! cargo run --release -p geometry --example stroke_study
//! ```
//!
//! The mean and the worst of each mesh are printed as a table. A dab is *within its aim* if it
//! takes no more than 50 ms and a microsecond for each facet within its reach. Where the system
//! tells it, the time is that of the thread alone, so that other work on the machine does not
//! count.

mod shapes;

use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use geometry::mask::{PreparedStroke, Stroke};
use geometry::{DVec3, Mesh, Progress, Surface};

/// Dabs on each mesh.
const DABS: usize = 150;

/// Radii of dabs in turn, mm.
const RADII_MM: [f64; 5] = [0.5, 1.0, 2.0, 5.0, 12.0];

fn main() -> ExitCode {
    let meshes = match shapes::all() {
        Ok(meshes) => meshes,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    println!("| Mesh | Facets | Dabs | Mean, ms | Worst, ms | Facets in reach then | Radius, mm |");
    println!("|---|---:|---:|---:|---:|---:|---:|");
    let (mut count, mut late) = (0, 0);
    let mut worst = 0.0f64;
    for (name, mesh) in meshes {
        let study = study(mesh);
        let facets = study.facets;
        println!(
            "| {name} | {facets} | {DABS} | {:.2} | {:.2} | {} | {} |",
            study.mean_ms, study.worst.ms, study.worst.in_reach, study.worst.radius_mm
        );
        count += DABS;
        late += study.late;
        worst = worst.max(study.worst.ms);
    }
    println!("\n{count} dabs, the worst {worst:.2} ms; {late} not within their aim.");
    ExitCode::from(u8::from(late > 0))
}

struct Study {
    facets: usize,
    mean_ms: f64,
    worst: Dab,
    late: usize,
}

#[derive(Clone, Copy)]
struct Dab {
    ms: f64,
    in_reach: usize,
    radius_mm: f64,
}

fn study(mesh: Mesh) -> Study {
    let surface = Surface::new(Arc::new(mesh));
    let _ = surface.adjacency();
    let facets = surface.mesh().triangles().len();
    let mut random = shapes::Random::new(facets as u64);
    let (mut sum, mut late) = (0.0, 0);
    let mut worst = Dab {
        ms: 0.0,
        in_reach: 0,
        radius_mm: 0.0,
    };
    for i in 0..DABS {
        let at = place(&surface, &mut random);
        let radius_mm = RADII_MM[i % RADII_MM.len()];
        let stroke = Stroke {
            dabs_mm: vec![at],
            radius_mm,
            reach_mm: None,
        };
        let start = Clock::now();
        let painted = PreparedStroke::new(&stroke, &surface, &Progress::new());
        let ms = start.elapsed_ms();
        assert!(painted.is_ok_and(|p| p.facets().next().is_some()));
        let mut in_reach = 0;
        let reach = DVec3::splat(1.5 * radius_mm);
        surface.facets_in_box(at - reach, at + reach, |_| in_reach += 1);
        sum += ms;
        late += usize::from(ms > 50.0 + 1e-3 * in_reach as f64);
        if ms > worst.ms {
            worst = Dab {
                ms,
                in_reach,
                radius_mm,
            };
        }
    }
    Study {
        facets,
        mean_ms: sum / DABS as f64,
        worst,
        late,
    }
}

/// A place on the skin; half of them evenly by facets, which seeks out where those are thin, half
/// of them wherever a ray comes from.
fn place(surface: &Surface, random: &mut shapes::Random) -> DVec3 {
    let mesh = surface.mesh();
    if random.share() < 0.5 {
        let facet = random.below(mesh.triangles().len());
        let [a, b, c] = mesh.corners(facet);
        let (u, v) = (random.share(), random.share());
        let (u, v) = if u + v > 1.0 {
            (1.0 - u, 1.0 - v)
        } else {
            (u, v)
        };
        return a + (b - a) * u + (c - a) * v;
    }
    let (lo, hi) = mesh.bounds();
    let anywhere = DVec3::new(random.share(), random.share(), random.share());
    surface.nearest(lo + (hi - lo) * anywhere).point_mm
}

/// The thread's own time, where Linux tells it; else that of the clock.
struct Clock {
    thread_ns: Option<u64>,
    clock: Instant,
}

impl Clock {
    fn now() -> Self {
        Self {
            thread_ns: thread_ns(),
            clock: Instant::now(),
        }
    }

    fn elapsed_ms(&self) -> f64 {
        match (self.thread_ns, thread_ns()) {
            (Some(from), Some(to)) => (to - from) as f64 * 1e-6,
            _ => 1e3 * self.clock.elapsed().as_secs_f64(),
        }
    }
}

fn thread_ns() -> Option<u64> {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    told.split_whitespace().next()?.parse().ok()
}
