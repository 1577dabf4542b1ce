//! What a picture on a part costs: finding its edge, and asking for a point.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use geometry::imprint::{Covers, Laid, Loaded, Picture, Raster, Stencil};
use geometry::mask::PreparedMask;
use geometry::{DVec3, Mask, Progress, Surface, SurfacePoint, solids};

/// Rings of dark and light, one in 16 pixels.
fn rings(side: usize) -> Raster {
    let grey = |i: usize| {
        let (x, y) = ((i % side) as f64, (i / side) as f64);
        let off = x.hypot(y) % 16.0;
        (255.0 * ((off - 8.0).abs() - 3.5).clamp(0.0, 1.0)) as u8
    };
    match Raster::new((side, side), (0..side * side).map(grey).collect(), None) {
        Ok(raster) => raster,
        Err(error) => panic!("{error}"),
    }
}

fn picture(bench: &mut Criterion) {
    let raster = Arc::new(rings(1024));
    let mut group = bench.benchmark_group("a picture of 1024 × 1024");
    group.sample_size(10);
    group.throughput(Throughput::Elements(1 << 20));
    group.bench_function("find its edge", |b| {
        b.iter(|| black_box(Stencil::new(&raster, &Covers::Dark, 0.5)));
    });
    let Ok(block) = solids::cuboid(DVec3::splat(100.0)) else {
        return;
    };
    let surface = Surface::new(Arc::new(block));
    let mask = Mask::Picture(Box::new(Picture {
        file: "rings.png".into(),
        sha256: None,
        laid: Laid::Wrapped {
            at_mm: DVec3::new(0.0, -50.0, 50.0),
            through_mm: DVec3::ZERO,
            axis: DVec3::Z,
            depth_mm: 30.0,
        },
        width_mm: 90.0,
        turn_deg: 10.0,
        mirror: false,
        covers: Covers::Dark,
        threshold: 0.5,
        content: Loaded::from(raster),
    }));
    let Ok(mask) = PreparedMask::new(&mask, &surface, &Progress::new()) else {
        return;
    };
    let points: Vec<SurfacePoint> = (0..10_000)
        .map(|i| SurfacePoint {
            point_mm: DVec3::new(f64::from(i % 100) - 50.0, -50.0, f64::from(i / 100)),
            facet: 0,
        })
        .collect();
    group.throughput(Throughput::Elements(10_000));
    group.bench_function("is a point in it, wrapped", |b| {
        b.iter(|| points.iter().filter(|p| mask.contains(**p)).count());
    });
    group.finish();
}

criterion_group!(benches, picture);
criterion_main!(benches);
