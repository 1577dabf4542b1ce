//! From a coloured mesh of a million facets with a texture of 4096 × 4096 pixels to a plan.

use std::io::Write;
use std::sync::Arc;

use colours::{Counted, Model, Sampled, choose};
use criterion::{Criterion, criterion_group, criterion_main};
use geometry::mask::Nearness;
use geometry::pieces::Finest;
use geometry::read::{ReadOptions, Reading, read_mesh};
use geometry::{Progress, Surface};
use plan::{FirstPlan, MeshSource, Plan};

/// A ball of a million facets with a texture round it, written as OBJ, MTL and PNG.
fn written(folder: &std::path::Path, side_px: usize) -> std::path::PathBuf {
    let (round, high) = (1000usize, 501usize);
    let mut text = String::from("mtllib ball.mtl\nusemtl skin\n");
    for row in 0..=high {
        for column in 0..=round {
            let up = std::f64::consts::PI * row as f64 / high as f64;
            let turn = std::f64::consts::TAU * column as f64 / round as f64;
            // The seam and the poles are each at one place.
            let turn = if column == round { 0.0 } else { turn };
            let ring = if row == 0 || row == high {
                0.0
            } else {
                up.sin()
            };
            let (x, y, z) = (ring * turn.cos(), ring * turn.sin(), -up.cos());
            text.push_str(&format!("v {} {} {}\n", 40.0 * x, 40.0 * y, 40.0 * z));
            let (u, v) = (column as f64 / round as f64, row as f64 / high as f64);
            text.push_str(&format!("vt {u} {v}\n"));
        }
    }
    let at = |row: usize, column: usize| row * (round + 1) + column + 1;
    for row in 0..high {
        for column in 0..round {
            let corners = [
                at(row, column),
                at(row, column + 1),
                at(row + 1, column + 1),
                at(row + 1, column),
            ];
            let [a, b, c, d] = corners.map(|corner| format!("{corner}/{corner}"));
            text.push_str(&format!("f {a} {b} {c}\nf {a} {c} {d}\n"));
        }
    }
    std::fs::write(folder.join("ball.obj"), text).expect("a mesh");
    std::fs::write(folder.join("ball.mtl"), "newmtl skin\nmap_Kd ball.png\n").expect("materials");
    let pixel = |i: usize| {
        let (x, y) = (
            (i % side_px) as f64 / side_px as f64,
            (i / side_px) as f64 / side_px as f64,
        );
        let wave = |k: f64| (127.5 + 127.5 * (40.0 * x * k + 25.0 * y / k).sin()) as u8;
        [wave(1.0), wave(0.7), wave(1.9), 255]
    };
    let rgba: Vec<u8> = (0..side_px * side_px).flat_map(pixel).collect();
    let image = render::Image::from_rgba(side_px as u32, side_px as u32, rgba).expect("a picture");
    let mut file = std::fs::File::create(folder.join("ball.png")).expect("a file");
    image.write_png(&mut file).expect("a texture");
    file.flush().expect("a texture");
    folder.join("ball.obj")
}

fn read(file: &std::path::Path) -> Reading {
    let options = ReadOptions {
        appearance: true,
        ..ReadOptions::default()
    };
    read_mesh(file, &options).expect("a mesh")
}

fn looked_at(reading: &Reading) -> (Sampled, Counted) {
    let progress = Progress::new();
    let surface = Surface::new(Arc::new(reading.mesh.clone()));
    let model = Model::new(surface, reading.appearance.clone().expect("colours"));
    let sampled = Sampled::new(&model, 0.225, &progress).expect("not cancelled");
    let counted = Counted::new(&sampled);
    (sampled, counted)
}

fn chosen(sampled: &Sampled, counted: &Counted) -> usize {
    let mesh = MeshSource::named("ball.obj");
    let part = FirstPlan {
        mesh,
        title: "Ball".into(),
        height_mm: 80.0,
    };
    let plan = Plan::first(part);
    let finest = Finest {
        width_mm: 0.45,
        height_mm: 0.2,
    };
    let how = (Nearness::Difference, finest);
    choose(sampled, counted, &plan, how, 8, &Progress::new())
        .expect("blends")
        .recommended
}

fn coloured(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = written(folder.path(), 4096);
    let mut group = c.benchmark_group("a million coloured facets");
    group.sample_size(10);
    group.bench_function("read", |b| b.iter(|| read(&file)));
    let reading = read(&file);
    group.bench_function("decode and look at", |b| b.iter(|| looked_at(&reading)));
    let (sampled, counted) = looked_at(&reading);
    group.bench_function("choose up to eight blends", |b| {
        b.iter(|| chosen(&sampled, &counted))
    });
    group.finish();
}

criterion_group!(benches, coloured);
criterion_main!(benches);
