//! Bytes per second through the weaving, where few moves change region and where many do, and
//! through the reading back.

use std::hint::black_box;
use std::io::{Cursor, Read};
use std::sync::Arc;

use blend::Shares;
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use demo_models::slicer::{Recipe, Slice, generate};
use geometry::{DVec3, LayerPlan, Mask, Mesh, Progress, Surface, layers, solids};
use plan::{FirstPlan, MeshSource, Paint, Painted, Plan, Region};
use toolpath::Settings;
use weave::dialect::Dialect;
use weave::verify::{Verify, find_stands};
use weave::{Source, Weave};

const LAYER_MM: f64 = 0.2;

fn part() -> Mesh {
    solids::cylinder(30.0, 24.0, 240).expect("a cylinder")
}

fn region(name: &str, mask: Mask, first: f64) -> Region {
    let shares = Shares::new(&[first, 1.0 - first]).expect("shares");
    Region::new(name, mask, Paint::Fixed(shares))
}

fn painted(mesh: &Mesh, over: Region) -> Painted {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("part.stl"),
        title: "Part".into(),
        height_mm: mesh.bounds().1.z,
    });
    plan.layers = LayerPlan::plain(LAYER_MM, LAYER_MM);
    plan.regions = vec![region("All", Mask::Whole, 1.0), over];
    let model = plan.model();
    let surface = Surface::new(Arc::new(mesh.clone()));
    Painted::new(plan, surface, model, &Progress::new()).expect("a plan")
}

/// A toolpath of the part.
fn sliced(mesh: &Mesh) -> Vec<u8> {
    let spans = LayerPlan::plain(LAYER_MM, LAYER_MM);
    let spans = spans.spans(mesh.bounds().1.z).expect("layers");
    let rings: Vec<Vec<Vec<[f64; 2]>>> = spans
        .iter()
        .map(|span| {
            let section = layers::slice(mesh, span.middle_mm());
            let contours = section.contours.iter();
            contours
                .map(|c| c.points_mm.iter().map(|p| [p.x, p.y]).collect())
                .collect()
        })
        .collect();
    let slices: Vec<Slice<'_>> = spans
        .iter()
        .zip(&rings)
        .map(|(span, contours)| Slice {
            top_mm: span.top_mm,
            height_mm: span.height_mm(),
            contours,
        })
        .collect();
    let mut file = Vec::new();
    generate(&slices, &Recipe::default(), &mut file).expect("memory takes it");
    file
}

fn weaving(c: &mut Criterion) {
    let mesh = part();
    let file: Arc<[u8]> = sliced(&mesh).into();
    let open =
        || -> std::io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(Arc::clone(&file)))) };
    let source = Source::new(&open, file.len() as u64);
    let dialect = Dialect::ratio_word("MIX RATIO={shares}").expect("a line");
    let progress = Progress::new();
    let band = Mask::Band {
        from_mm: 8.0,
        to_mm: 16.0,
    };
    let side = Mask::Sphere {
        centre_mm: DVec3::new(30.0, 0.0, 12.0),
        radius_mm: 40.0,
    };
    let mut group = c.benchmark_group("weave");
    group.throughput(Throughput::Bytes(file.len() as u64));
    group.sample_size(10);
    for (name, mask) in [("a band", band), ("a painted side", side)] {
        let painted = painted(&mesh, region("Over", mask, 0.2));
        let job = Weave {
            painted: &painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: Vec::new(),
            arrange: weave::arrange::Arrange::default(),
            review: project::signoff::Standing::not_reviewed(),
        };
        let mut out = Vec::with_capacity(2 * file.len());
        group.bench_function(name, |b| {
            b.iter(|| {
                out.clear();
                black_box(job.run(&source, &mut out, &progress).expect("woven"))
            });
        });
        let woven: Arc<[u8]> = out.clone().into();
        let open =
            || -> std::io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(Arc::clone(&woven)))) };
        let woven_source = Source::new(&open, woven.len() as u64);
        let verify = Verify {
            painted: &painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: find_stands(&painted, &woven_source, Settings::default(), &progress)
                .expect("the part"),
            chamber: painted.plan().machine.chamber,
        };
        group.bench_function(format!("{name}, read back"), |b| {
            b.iter(|| black_box(verify.run(&woven_source, None, &progress).expect("read")));
        });
    }
    group.finish();
}

criterion_group!(benches, weaving);
criterion_main!(benches);
