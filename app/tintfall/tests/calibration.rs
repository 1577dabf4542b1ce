//! The whole loop of measuring spools, by the command alone: test print, readings, fit, plan,
//! prepare; and the reading of a photograph.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use blend::{Lab, LinearLight, MeasuredSpools, MixModel};
use calibrate::Table;
use common::{run, tintfall};
use plan::{Plan, ron_text};
use render::Image;
use serde_json::Value;

fn refused(folder: &Path, args: &[&str], word: &str) {
    let output = run(folder, args);
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(error.contains(word), "{args:?}: {error}");
}

/// The invented spools and readings that ship with the demonstration.
fn shipped(file: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-models/calibration");
    fs::read_to_string(folder.join(file)).unwrap()
}

#[test]
fn from_spools_to_a_plan_of_measured_ones() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    fs::write(folder.join("spools.ron"), shipped("spools.ron")).unwrap();
    tintfall(folder, &["swatch", "spools.ron", "--out", "swatch"]);
    let swatch = folder.join("swatch");
    for file in [
        "swatch.stl",
        "swatch.plan.ron",
        "swatch/sheet.png",
        "swatch/schedule.ron",
        "how-to-measure.txt",
        "patches.ron",
    ] {
        assert!(swatch.join(file).is_file(), "{file}");
    }
    // The empty table asks for the steps that the shipped readings are of.
    let empty = Table::read(&fs::read_to_string(swatch.join("measured.csv")).unwrap()).unwrap();
    let filled = Table::read(&shipped("measured.csv")).unwrap();
    assert!(empty.rows.iter().all(|row| row.reading.is_none()));
    let blends = |t: &Table| {
        t.rows
            .iter()
            .map(|r| (r.step, r.shares))
            .collect::<Vec<_>>()
    };
    assert_eq!(blends(&empty), blends(&filled));
    refused(
        folder,
        &["fit", "swatch/measured.csv", "--out", "pair.ron"],
        "at least",
    );
    assert!(!folder.join("pair.ron").exists());

    fs::write(swatch.join("measured.csv"), shipped("measured.csv")).unwrap();
    refused(
        folder,
        &["swatch", "spools.ron", "--out", "swatch"],
        "readings in it",
    );
    let told = tintfall(folder, &["fit", "swatch/measured.csv", "--out", "pair.ron"]);
    assert!(
        told.contains("Tinting strength") && told.contains("ΔE00"),
        "{told}"
    );
    let pair = fs::read_to_string(folder.join("pair.ron")).unwrap();
    let pair: MeasuredSpools = ron_text::read(&pair).unwrap();
    assert!(pair.rms_delta_e00 < 1.5, "{}", pair.rms_delta_e00);
    assert!(pair.rms_delta_e00 < pair.linear_light_rms_delta_e00 / 2.0);
    assert_eq!(pair.provenance.file, "measured.csv");
    let json = ["fit", "swatch/measured.csv", "--out", "pair.ron", "--json"];
    let json: Value = serde_json::from_str(&tintfall(folder, &json)).unwrap();
    assert_eq!(json["steps"].as_array().unwrap().len(), 11);

    // A plan that names the pair gets its colours, and says how sure they are.
    let mut plan =
        Plan::from_ron(&fs::read_to_string(swatch.join("swatch.plan.ron")).unwrap()).unwrap();
    plan.mesh.file = "swatch/swatch.stl".to_owned();
    plan.spools = plan::External::named("pair.ron");
    fs::write(folder.join("bar.plan.ron"), plan.to_ron().unwrap()).unwrap();
    tintfall(folder, &["prepare", "bar.plan.ron", "--out", "bar"]);
    let csv = fs::read_to_string(folder.join("bar/schedule.csv")).unwrap();
    assert!(csv.contains("fitted to 11 measured steps"), "{csv}");
    let heads = csv.lines().find(|line| !line.starts_with('#')).unwrap();
    let column = heads.split(',').position(|head| head == "uncertainty_de00");
    let last = csv.lines().last().unwrap();
    let uncertainty = last.split(',').nth(column.unwrap()).unwrap();
    let uncertainty: f64 = uncertainty.parse().unwrap();
    assert!(uncertainty > 0.0 && uncertainty < 3.0, "{uncertainty}");

    // A colour that the spools reach is found, and one that they don't is explained.
    let of = |colour: &str| -> Value {
        let args = [
            "match",
            "bar.plan.ron",
            colour,
            "--chart",
            "reach.svg",
            "--json",
        ];
        serde_json::from_str(&tintfall(folder, &args)).unwrap()
    };
    let near = of("Lab(53, -3, -24)");
    assert!(near["uncertainty_de00"].as_f64().unwrap() > 0.0);
    assert!(
        fs::read_to_string(folder.join("reach.svg"))
            .unwrap()
            .contains("</svg>")
    );
    let far = of("#d02020");
    assert!(far["delta_e00"].as_f64().unwrap() > 10.0);
    assert!(far["why"].as_str().unwrap().contains("red"), "{far}");
    refused(folder, &["match", "bar.plan.ron", "blue"], "not a colour");

    // A sample by its reflectances. L* is 116 ∛Y − 16 (CIE 15), for a grey in every light.
    let grey: String = (36..=78).map(|i| format!("{}0,0.184\n", i)).collect();
    fs::write(folder.join("sample.csv"), &grey).unwrap();
    let sample = of("sample.csv");
    let lights = sample["lights"].as_array().unwrap();
    assert_eq!(lights.len(), 3, "{sample}");
    for seen in lights.iter().chain([&sample]) {
        let l = seen["wanted"]["l"].as_f64().unwrap();
        assert!((l - 49.97).abs() < 0.05, "{sample}");
    }
    assert!(lights.iter().all(|seen| seen["measured"] == true));
    fs::write(folder.join("percent.csv"), grey.replace("0.184", "18.4")).unwrap();
    refused(
        folder,
        &["match", "bar.plan.ron", "percent.csv"],
        "percent.csv: the reflectance at 360 nm is 18.4",
    );
}

/// A test print photographed in a warm light beside a grey card.
#[test]
fn a_photograph_fills_the_table() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    fs::write(folder.join("spools.ron"), shipped("spools.ron")).unwrap();
    tintfall(folder, &["swatch", "spools.ron", "--out", "."]);
    let spools = plan::SpoolSet::from_ron(&shipped("spools.ron")).unwrap();
    let model = LinearLight::new(&spools);
    let table = Table::read(&fs::read_to_string(folder.join("measured.csv")).unwrap()).unwrap();
    let colours: Vec<[f64; 3]> = table
        .rows
        .iter()
        .map(|row| model.mix(&row.shares).to_linear_srgb())
        .collect();
    // Steps in a column at the right, the first one at the foot; the card at the left.
    let (width, height) = (200u32, 440u32);
    let pixel = |i: u32| {
        let (x, y) = (i % width, i / width);
        let step = (height - 1 - y) as usize * colours.len() / height as usize;
        let surface = if x < width / 2 {
            [0.18; 3]
        } else {
            colours[step]
        };
        let seen = [0.95, 0.8, 0.6];
        let seen = [0, 1, 2].map(|c| surface[c] * seen[c]);
        let [r, g, b] = blend::Xyz::from_linear_srgb(seen).to_srgb().0;
        [r, g, b, 255]
    };
    let image = Image::from_rgba(width, height, (0..width * height).flat_map(pixel).collect());
    let mut bytes = Vec::new();
    image.unwrap().write_png(&mut bytes).unwrap();
    fs::write(folder.join("print.png"), bytes).unwrap();
    let last = 1.0 - 0.5 / 11.0;
    let patches = format!(
        "(version: 1, table: \"measured.csv\",
        cards: [(reflectance: 0.18, centre: (0.25, 0.5), size: (0.2, 0.2))],
        rows: [(first_step: 1, last_step: 11, first_centre: (0.75, {last}),
            last_centre: (0.75, {}), size: (0.2, 0.05))])",
        1.0 - last
    );
    fs::write(folder.join("patches.ron"), patches).unwrap();
    let args = [
        "read-photo",
        "print.png",
        "--patches",
        "patches.ron",
        "--out",
        "read.csv",
    ];
    tintfall(folder, &args);
    let read = Table::read(&fs::read_to_string(folder.join("read.csv")).unwrap()).unwrap();
    for (row, linear) in read.rows.iter().zip(&colours) {
        let truth = blend::Xyz::from_linear_srgb(*linear).to_lab();
        let Some(calibrate::Reading::Lab(Lab { l, a, b })) = row.reading else {
            panic!("step {} was not read", row.step);
        };
        let off = blend::ciede2000(truth, Lab { l, a, b });
        assert!(off < 1.0, "step {}: {off}", row.step);
    }
}
