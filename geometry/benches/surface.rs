//! What questions about the skin cost: nearest points, rays, paint, distances.
//!
//! The parts are spheres with a rippled skin, 100 mm across, of 82 thousand and of 1.3
//! million facets, and a block of 12.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{BenchmarkGroup, Criterion, Throughput, criterion_group, criterion_main};
use geometry::field::{PreparedField, visible_area};
use geometry::mask::{PreparedMask, PreparedStroke, Stroke};
use geometry::surface::{refine, refine_some};
use geometry::{DVec3, Field, Mask, Mesh, Progress, Ray, Surface, SurfacePoint, solids};

type Group<'a> = BenchmarkGroup<'a, criterion::measurement::WallTime>;

fn made<T, E: std::fmt::Display>(result: Result<T, E>) -> T {
    match result {
        Ok(value) => value,
        Err(error) => panic!("{error}"),
    }
}

fn rippled_ball(subdivisions: u32) -> Arc<Mesh> {
    let ball = made(solids::icosphere(1.0, subdivisions));
    let rippled = ball.map(|p| {
        let ripple = (40.0 * p.x).sin() * (40.0 * p.y).sin() * (40.0 * p.z).sin();
        p * (50.0 + 0.3 * ripple)
    });
    Arc::new(made(rippled))
}

/// Directions spread evenly over a ball, by the golden angle.
fn directions(count: usize) -> Vec<DVec3> {
    let spread = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
        let (angle, r) = (2.399_963 * i as f64, (1.0 - z * z).sqrt());
        DVec3::new(r * angle.cos(), r * angle.sin(), z)
    };
    (0..count).map(spread).collect()
}

fn stroke(dabs_mm: Vec<DVec3>) -> Stroke {
    Stroke {
        dabs_mm,
        radius_mm: 3.0,
        reach_mm: None,
    }
}

fn line(surface: &Surface, count: usize, step_mm: f64) -> Vec<DVec3> {
    let dab = |i: usize| {
        let angle = step_mm * i as f64 / 50.0;
        let p = DVec3::new(angle.cos(), angle.sin(), 0.2 * angle) * 50.0;
        surface.nearest(p).point_mm
    };
    (0..count).map(dab).collect()
}

fn queries(group: &mut Group, surface: &Surface) {
    let points: Vec<DVec3> = directions(10_000).iter().map(|d| *d * 51.0).collect();
    group.throughput(Throughput::Elements(10_000));
    group.bench_function("nearest, 1 mm off the skin", |b| {
        b.iter(|| {
            points
                .iter()
                .map(|&p| surface.nearest(p).facet as u64)
                .sum::<u64>()
        });
    });
    let rays = picture();
    group.throughput(Throughput::Elements(rays.len() as u64));
    group.bench_function("rays of a picture, one by one", |b| {
        b.iter(|| {
            let hits = rays.iter();
            hits.filter_map(|ray| surface.first_hit(ray.from_mm, ray.direction))
                .count()
        });
    });
    group.bench_function("rays of a picture, together", |b| {
        b.iter(|| surface.first_hits(&rays).iter().flatten().count());
    });
}

/// Rays of a picture in perspective.
fn picture() -> Vec<Ray> {
    let side = 200;
    let from_mm = DVec3::new(200.0, 90.0, 60.0);
    let pixels = (0..side).flat_map(|x| (0..side).map(move |y| (x, y)));
    let ray = |(x, y): (u64, u64)| {
        let target = DVec3::new(0.0, x as f64 - 100.0, y as f64 - 100.0) * (60.0 / 100.0);
        let direction = target - from_mm;
        Ray { from_mm, direction }
    };
    pixels.map(ray).collect()
}

/// The same rays in the eight-wide compressed tree of `obvhs`, in single precision and with
/// facets in the tree's order, as its own examples use it. It finds no nearest points.
fn other_tree(group: &mut Group, mesh: &Mesh) {
    let vec3a = |v: DVec3| glam::Vec3A::new(v.x as f32, v.y as f32, v.z as f32);
    let corners = |facet: &[u32; 3]| facet.map(|i| vec3a(mesh.vertices()[i as usize]));
    let facets = mesh.triangles().iter().map(corners);
    let facets: Vec<_> = facets
        .map(|[v0, v1, v2]| obvhs::triangle::Triangle { v0, v1, v2 })
        .collect();
    let build = || {
        let params = obvhs::BvhBuildParams::medium_build();
        obvhs::cwbvh::builder::build_cwbvh_from_tris(&facets, params, &mut Default::default())
    };
    group.bench_function("build the tree of obvhs", |b| b.iter(build));
    let tree = build();
    let ordered = tree.primitive_indices.iter();
    let ordered: Vec<_> = ordered.map(|i| facets[*i as usize]).collect();
    let rays = picture();
    group.throughput(Throughput::Elements(rays.len() as u64));
    group.bench_function("rays of a picture, by obvhs", |b| {
        b.iter(|| {
            let hits = rays.iter().filter(|ray| {
                let ray = obvhs::ray::Ray::new_inf(vec3a(ray.from_mm), vec3a(ray.direction));
                let mut hit = obvhs::ray::RayHit::none();
                tree.ray_traverse(ray, &mut hit, |ray, i| ordered[i].intersect(ray))
            });
            hits.count()
        });
    });
}

fn paint(group: &mut Group, surface: &Surface) {
    group.throughput(Throughput::Elements(1));
    let _ = surface.adjacency();
    let dab = line(surface, 1, 1.0);
    group.bench_function("one dab of 3 mm", |b| {
        b.iter(|| PreparedStroke::new(&stroke(dab.clone()), surface, &Progress::new()).is_ok());
    });
    let dabs = line(surface, 100, 1.5);
    group.bench_function("stroke of 100 dabs", |b| {
        b.iter(|| PreparedStroke::new(&stroke(dabs.clone()), surface, &Progress::new()).is_ok());
    });
    let mask = made(PreparedMask::new(
        &Mask::Stroke(stroke(dabs)),
        surface,
        &Progress::new(),
    ));
    let triangles = surface.mesh().triangles().len();
    let points: Vec<SurfacePoint> = directions(10_000)
        .iter()
        .map(|d| surface.nearest(*d * 50.0))
        .collect();
    group.throughput(Throughput::Elements(10_000));
    group.bench_function("is a point in that stroke", |b| {
        b.iter(|| points.iter().filter(|p| mask.contains(**p)).count());
    });
    if triangles < 200_000 {
        group.throughput(Throughput::Elements(triangles as u64));
        group.bench_function("refine the skin along that stroke", |b| {
            b.iter(|| {
                let class = |p: SurfacePoint| u32::from(mask.contains(p));
                refine(surface, class, 0.25, &Progress::new()).map(|r| r.triangles.len())
            });
        });
    }
    let one = made(PreparedStroke::new(&stroke(dab), surface, &Progress::new()));
    group.throughput(Throughput::Elements(1));
    group.bench_function("refine the skin along one dab", |b| {
        b.iter(|| {
            let class = |p: SurfacePoint| u32::from(one.contains(p));
            let found = refine_some(surface, one.facets(), class, 0.25, &Progress::new());
            found.map(|r| r.triangles.len())
        });
    });
}

fn fields(group: &mut Group, surface: &Surface) {
    group.throughput(Throughput::Elements(surface.mesh().triangles().len() as u64));
    let field = Field::FromStroke(stroke(line(surface, 20, 1.5)));
    group.bench_function("distance from a stroke of 20 dabs", |b| {
        b.iter(|| PreparedField::new(&field, surface, &Progress::new()).is_ok());
    });
    let field = made(PreparedField::new(&field, surface, &Progress::new()));
    group.bench_function("visible area of that", |b| {
        b.iter(|| visible_area(&field, surface, (0.0, f64::INFINITY), 0.2, |_| true));
    });
}

fn skin(bench: &mut Criterion) {
    for (name, subdivisions) in [("82 k facets", 6), ("1.3 M facets", 8)] {
        let mesh = rippled_ball(subdivisions);
        let mut group = bench.benchmark_group(name);
        group.sample_size(10);
        group.bench_function("build the tree", |b| b.iter(|| Surface::new(mesh.clone())));
        group.bench_function("find neighbours, tree included", |b| {
            b.iter(|| black_box(Surface::new(mesh.clone()).adjacency().neighbours(0).count()));
        });
        let surface = Surface::new(mesh.clone());
        queries(&mut group, &surface);
        other_tree(&mut group, &mesh);
        paint(&mut group, &surface);
        fields(&mut group, &surface);
    }
    let block = made(solids::cuboid(DVec3::splat(100.0)));
    let surface = Surface::new(Arc::new(block));
    let mut group = bench.benchmark_group("12 facets");
    group.sample_size(10);
    paint(&mut group, &surface);
    fields(&mut group, &surface);
}

criterion_group!(benches, skin);
criterion_main!(benches);
