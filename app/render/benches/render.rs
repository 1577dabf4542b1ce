//! How long one view of a curved part takes.
#![allow(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

use std::f64::consts::TAU;
use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use geometry::{DVec3, Mesh, Progress, Surface};
use render::{Camera, Frame, Render, Stage, View};

/// A ribbed vase without lids, about 38,000 facets.
fn vase() -> Mesh {
    let (around, up) = (240_u32, 80_u32);
    let mut vertices = Vec::new();
    for j in 0..=up {
        for i in 0..around {
            let (z, angle) = (
                120.0 * f64::from(j) / f64::from(up),
                TAU * f64::from(i) / f64::from(around),
            );
            let radius = 34.0 + 12.0 * (z / 40.0).sin() + 1.6 * (angle * 24.0).cos();
            vertices.push(DVec3::new(radius * angle.cos(), radius * angle.sin(), z));
        }
    }
    let at = |i: u32, j: u32| j * around + i % around;
    let mut triangles = Vec::new();
    for j in 0..up {
        for i in 0..around {
            triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    Mesh::new(vertices, triangles).unwrap()
}

fn render(criterion: &mut Criterion) {
    let surface = Surface::new(Arc::new(vase()));
    let progress = Progress::new();
    let mut group = criterion.benchmark_group("render");
    group.sample_size(10);
    group.bench_function("stage", |bench| {
        bench.iter(|| Stage::new(black_box(&surface), &progress).unwrap())
    });
    let stage = Stage::new(&surface, &progress).unwrap();
    let frame = Frame {
        width: 640.0,
        height: 480.0,
        margin: 20.0,
    };
    let render = Render {
        width_px: 640,
        height_px: 480,
        ..Render::of(Camera::fitted(View::FrontRight, surface.mesh(), frame))
    };
    let banded = |p: geometry::SurfacePoint| match (p.point_mm.z / 12.0) as i64 % 2 {
        0 => [0.6, 0.2, 0.1],
        _ => [0.8, 0.8, 0.7],
    };
    group.bench_function("view 640×480", |bench| {
        bench.iter(|| render.run(&stage, banded, &progress).unwrap())
    });
    group.finish();
}

criterion_group!(benches, render);
criterion_main!(benches);
