//! How long one colour takes: once for a pixel, a vertex, a point of a chart.

use std::hint::black_box;

use blend::calibrate::{
    Calibrated, MeasuredStep, Measurements, Provenance, Specular, fit, test_steps,
};
use blend::mix::{Component, Mixing, Saunderson, Strand};
use blend::spectrum::reconstruct;
use blend::{
    Behind, KubelkaMunk, LinearLight, MixModel, ShareLimits, Shares, Spool, SpoolColour, ciede2000,
    closest,
};
use criterion::{Criterion, criterion_group, criterion_main};

fn spools() -> Vec<Spool> {
    let spool = |code: &str| Spool::new(code, SpoolColour::Hex(code.parse().expect("a colour")));
    ["#f2efe6", "#c8321e", "#e0b020", "#12507b"]
        .map(spool)
        .to_vec()
}

fn mixing(c: &mut Criterion) {
    let spools = spools();
    let two = KubelkaMunk::new(&spools[..2]);
    let four = KubelkaMunk::new(&spools);
    let linear = LinearLight::new(&spools);
    let pair = Shares::new(&[0.3, 0.7]).expect("shares");
    let all = Shares::new(&[0.1, 0.2, 0.3, 0.4]).expect("shares");
    c.bench_function("Kubelka-Munk, 2 spools", |b| {
        b.iter(|| two.mix(black_box(&pair)))
    });
    c.bench_function("Kubelka-Munk, 4 spools", |b| {
        b.iter(|| four.mix(black_box(&all)))
    });
    c.bench_function("wall of 4 spools", |b| {
        b.iter(|| four.wall(black_box(&all), 0.8, Behind::Grey(0.5)))
    });
    let components: Vec<Component> = spools
        .iter()
        .map(|s| Component::of_spool(s, Saunderson::USUAL))
        .collect();
    for (name, mixing) in [
        ("stirred", Mixing::Stirred),
        ("partly stirred", Mixing::PartlyStirred { stirring: 0.4 }),
        ("side by side", Mixing::SideBySide { exponent: 1.0 }),
        (
            "side by side, n = 2.3",
            Mixing::SideBySide { exponent: 2.3 },
        ),
    ] {
        let strand = Strand::new(components.clone(), &[], Saunderson::USUAL, mixing);
        c.bench_function(&format!("{name}, 4 spools"), |b| {
            b.iter(|| strand.mix(black_box(&all)))
        });
    }
    c.bench_function("linear light, 4 spools", |b| {
        b.iter(|| linear.mix(black_box(&all)))
    });
}

fn colours(c: &mut Criterion) {
    let spools = spools();
    let model = KubelkaMunk::new(&spools);
    let [one, other] = [spools[0].xyz().to_lab(), spools[1].xyz().to_lab()];
    c.bench_function("CIEDE2000", |b| {
        b.iter(|| ciede2000(black_box(one), black_box(other)))
    });
    let wanted = spools[3].xyz();
    c.bench_function("reconstruct", |b| b.iter(|| reconstruct(black_box(wanted))));
    let limits = ShareLimits {
        share_step: 0.01,
        least_share: 0.05,
    };
    c.bench_function("closest, 4 spools", |b| {
        b.iter(|| closest(&model, black_box(wanted.to_lab()), limits))
    });
}

/// A test print of two spools, fitted, and a colour with its ± from it.
fn fitting(c: &mut Criterion) {
    let spools = spools()[..2].to_vec();
    let truth = KubelkaMunk::new(&spools);
    let step = |shares: Shares| MeasuredStep {
        shares,
        colour: SpoolColour::Lab(truth.mix(&shares).to_lab()),
    };
    let measurements = Measurements {
        steps: test_steps(2, 9).into_iter().map(step).collect(),
        spools: spools.clone(),
        specular: Specular::Excluded,
        provenance: Provenance::default(),
    };
    c.bench_function("fit of 11 steps", |b| {
        b.iter(|| fit(black_box(&measurements)))
    });
    let fitted = fit(&measurements).expect("a fit");
    let model = Calibrated::new(&spools, &fitted).expect("a model");
    let pair = Shares::new(&[0.3, 0.7]).expect("shares");
    c.bench_function("a fitted colour and its ±", |b| {
        b.iter(|| model.uncertainty(black_box(&pair)))
    });
}

criterion_group!(benches, mixing, colours, fitting);
criterion_main!(benches);
