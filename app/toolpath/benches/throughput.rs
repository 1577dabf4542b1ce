//! Bytes per second through the reader, the machine and the writer.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use demo_models::slicer::{Recipe, Slice, generate};
use toolpath::{Reader, Replay, Settings, Step, Writer};

/// A toolpath of some megabytes: a vase-like part with round walls.
fn file() -> Vec<u8> {
    let rings: Vec<Vec<Vec<[f64; 2]>>> = (0..150)
        .map(|layer| {
            let radius = 30.0 + 5.0 * (f64::from(layer) * 0.05).sin();
            let points = (0..240)
                .map(|i| f64::from(i) / 240.0 * std::f64::consts::TAU)
                .map(|a| [100.0 + radius * a.cos(), 100.0 + radius * a.sin()]);
            vec![points.collect()]
        })
        .collect();
    let slices: Vec<Slice<'_>> = rings
        .iter()
        .enumerate()
        .map(|(i, contours)| Slice {
            top_mm: 0.2 * (i + 1) as f64,
            height_mm: 0.2,
            contours,
        })
        .collect();
    let mut file = Vec::new();
    generate(&slices, &Recipe::default(), &mut file).expect("memory takes it");
    file
}

fn throughput(c: &mut Criterion) {
    let file = file();
    let mut group = c.benchmark_group("toolpath");
    group.throughput(Throughput::Bytes(file.len() as u64));
    group.sample_size(20);
    group.bench_function("read words", |b| {
        b.iter(|| {
            let mut reader = Reader::new(&file[..]);
            let mut words = 0;
            while let Ok(Some(line)) = reader.next_line() {
                words += line.words().len();
            }
            black_box(words)
        });
    });
    group.bench_function("replay moves", |b| {
        b.iter(|| {
            let mut replay = Replay::new(&file[..], Settings::default());
            let mut filament_mm = 0.0;
            while let Ok(Some(seen)) = replay.advance() {
                if let Step::Move(step) = seen.step {
                    filament_mm += step.extruded_mm;
                }
            }
            black_box(filament_mm)
        });
    });
    group.bench_function("skim moves", |b| {
        b.iter(|| {
            let mut replay = Replay::new(&file[..], Settings::default());
            let mut filament_mm = 0.0;
            while let Ok(Some(seen)) = replay.skim() {
                if let Step::Move(step) = seen.step {
                    filament_mm += step.extruded_mm;
                }
            }
            black_box(filament_mm)
        });
    });
    group.bench_function("replay and write", |b| {
        let mut out = Vec::with_capacity(file.len());
        b.iter(|| {
            out.clear();
            let mut replay = Replay::new(&file[..], Settings::default());
            let mut writer = Writer::new(&mut out);
            while let Ok(Some(seen)) = replay.advance() {
                if writer.pass(&seen.line).is_err() {
                    break;
                }
            }
            black_box(writer.finish().is_ok())
        });
    });
    group.finish();
}

criterion_group!(benches, throughput);
criterion_main!(benches);
