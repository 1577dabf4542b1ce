//! What a large part costs: reading and welding, looking over, cutting.
//!
//! The part is a sphere of 1.3 million facets with a rippled skin, 100 mm high.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use geometry::inspect::Inspection;
use geometry::layers::{self, AreaByHeight};
use geometry::mend::mend;
use geometry::read::{ReadOptions, mesh_to_stl, read_mesh};
use geometry::{DVec3, LayerPlan, Mesh, Progress, place, solids};

fn rippled_ball() -> Mesh {
    let ball = solids::icosphere(1.0, 8).and_then(|ball| {
        ball.map(|p| {
            let ripple = (40.0 * p.x).sin() * (40.0 * p.y).sin() * (40.0 * p.z).sin();
            p * (50.0 + ripple)
        })
    });
    let ball = ball.and_then(|ball| {
        let height = ball.bounds().1.z - ball.bounds().0.z;
        ball.map(|p| p * (100.0 / height))
    });
    match ball.and_then(place::on_bed) {
        Ok(ball) => ball,
        Err(error) => panic!("{error}"),
    }
}

fn large_part(bench: &mut Criterion) {
    let mesh = rippled_ball();
    let plan = LayerPlan::plain(0.2, 0.2);
    let file = std::env::temp_dir().join(format!("rippled-ball-{}.stl", std::process::id()));
    let mut group = bench.benchmark_group("1.3 M facets");
    group.sample_size(10);
    if std::fs::write(&file, mesh_to_stl(&mesh)).is_ok() {
        group.bench_function("read and weld binary STL", |b| {
            b.iter(|| black_box(read_mesh(&file, &ReadOptions::default()).is_ok()));
        });
    }
    let _ = std::fs::remove_file(&file);
    group.bench_function("inspect", |b| b.iter(|| black_box(Inspection::of(&mesh))));
    group.bench_function("cut into 500 layers", |b| {
        b.iter(|| black_box(layers::cut(&mesh, &plan, &Progress::new()).map(|l| l.len())));
    });
    group.bench_function("slice once", |b| {
        b.iter(|| black_box(layers::slice(&mesh, 50.1).contours.len()));
    });
    group.bench_function("area by height", |b| {
        b.iter(|| black_box(AreaByHeight::of(&mesh)));
    });
    let spread = AreaByHeight::of(&mesh);
    group.bench_function("area below 10,000 heights", |b| {
        b.iter(|| {
            (0..10_000)
                .map(|i| spread.below_mm2(f64::from(i) * 0.01))
                .sum::<f64>()
        });
    });
    group.bench_function("place", |b| {
        let placement = place::Placement {
            turn_deg: 30.0,
            ..place::Placement::default()
        };
        b.iter(|| black_box(placement.apply(mesh.clone()).is_ok()));
    });
    group.finish();
}

/// Two balls that cross: what is looked for, drawn anew and mended.
fn crossing(bench: &mut Criterion) {
    let both = solids::icosphere(10.0, 6).and_then(|ball| {
        let beside = ball.clone().map(|p| p + DVec3::new(7.0, 1.0, 0.5))?;
        Mesh::join([ball, beside])
    });
    let Ok(both) = both.and_then(place::on_bed) else {
        return;
    };
    let mut group = bench.benchmark_group("two crossing balls of 80,000 facets");
    group.sample_size(10);
    group.bench_function("inspect", |b| b.iter(|| black_box(Inspection::of(&both))));
    group.bench_function("cut into 100 layers", |b| {
        let plan = LayerPlan::plain(0.2, 0.2);
        b.iter(|| black_box(layers::cut(&both, &plan, &Progress::new()).map(|l| l.len())));
    });
    group.bench_function("mend", |b| {
        b.iter(|| black_box(mend(&both, &Progress::new()).is_ok()));
    });
    group.finish();
}

criterion_group!(benches, large_part, crossing);
criterion_main!(benches);
