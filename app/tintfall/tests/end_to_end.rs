//! From a mesh to everything that is handed over, by the command alone.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::process::{Command, Output};

use common::done;
use serde_json::Value;

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

/// A box of 20 × 20 × 10 mm as text STL, in a folder of its own.
fn with_box() -> tempfile::TempDir {
    let mesh = geometry::solids::cuboid(geometry::DVec3::new(20.0, 20.0, 10.0)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let bytes = geometry::read::mesh_to_stl(&mesh);
    fs::write(folder.path().join("box.stl"), bytes).unwrap();
    folder
}

#[test]
fn inspect_tells_the_size_in_words_and_json() {
    let folder = with_box();
    let words = done(folder.path(), &["inspect", "box.stl"]);
    let words = String::from_utf8(words.stdout).unwrap();
    assert!(words.contains("20.00 × 20.00 × 10.00 mm"), "{words}");
    assert!(words.contains("4 cm³"), "{words}");
    let report = json(&done(
        folder.path(),
        &["inspect", "box.stl", "--json", "--unit", "cm", "--up", "-x"],
    ));
    assert_eq!(report["sound"], true);
    assert_eq!(report["mesh"]["facets"], 12);
    assert_eq!(report["size_mm"], serde_json::json!([100.0, 200.0, 200.0]));
}

#[test]
fn layers_add_up_to_the_box() {
    let folder = with_box();
    let table = json(&done(
        folder.path(),
        &[
            "layers", "box.stl", "--first", "0.4", "--layer", "0.3", "--json",
        ],
    ));
    let layers = table["layers"].as_array().unwrap();
    assert_eq!(layers.len(), 33);
    let sum = |key: &str| -> f64 { layers.iter().map(|l| l[key].as_f64().unwrap()).sum() };
    assert!((sum("volume_mm3") - 4000.0).abs() < 1e-6);
    assert!((sum("skin_mm2") - 1600.0).abs() < 1e-6);
    assert_eq!(layers[5]["perimeter_mm"].as_f64().unwrap(), 80.0);
    let words = done(folder.path(), &["layers", "box.stl"]);
    assert_eq!(String::from_utf8(words.stdout).unwrap().lines().count(), 51);
}

#[test]
fn timings_are_told_beside_the_same_output() {
    let folder = with_box();
    done(folder.path(), &["new", "box.stl", "--out", "mine.ron"]);
    let plain = done(folder.path(), &["prepare", "mine.ron", "--out", "out"]);
    let page = fs::read(folder.path().join("out/review.html")).unwrap();
    let timed = done(
        folder.path(),
        &["prepare", "mine.ron", "--out", "out", "--timings"],
    );
    assert_eq!(plain.stdout, timed.stdout);
    assert_eq!(
        fs::read(folder.path().join("out/review.html")).unwrap(),
        page
    );
    let told = String::from_utf8(timed.stderr).unwrap();
    for stage in [
        "Reading the mesh",
        "Assigning blends to layers",
        "Setting the light",
        "In all",
    ] {
        assert!(told.contains(stage), "{told}");
    }
    assert!(!String::from_utf8(plain.stderr).unwrap().contains("In all"));
}

#[test]
fn a_new_plan_is_prepared_as_it_is() {
    let folder = with_box();
    done(folder.path(), &["new", "box.stl", "--out", "mine.ron"]);
    let summary = json(&done(
        folder.path(),
        &["prepare", "mine.ron", "--out", "out", "--json"],
    ));
    assert_eq!(summary["totals"]["layers"], 50);
    let solid = summary["totals"]["solid_mm3"].as_f64().unwrap();
    assert!((solid - 4000.0).abs() < 1e-3, "{solid}");
    // A first plan's filling: 15 % of what lies within 1.35 mm of walls, in all but 8 layers.
    let hollow = 0.85 * (20.0f64 - 2.0 * 1.35).powi(2) * 0.2 * 42.0;
    let laid = summary["totals"]["volume_mm3"].as_f64().unwrap();
    assert!((laid / (4000.0 - hollow) - 1.0).abs() < 1e-2, "{laid}");
    let route = summary["provenance"]["route"].as_str().unwrap();
    assert!(
        route.contains("3 walls of 0.45 mm") && route.contains("15 % infill"),
        "{route}"
    );
    let out = folder.path().join("out");
    let mut names: Vec<String> = fs::read_dir(&out)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(
        names,
        [
            "as-printed.ron",
            "commands.csv",
            "index.txt",
            "review.html",
            "schedule.csv",
            "schedule.ron",
            "sheet.png",
            "summary.json",
            "watch.csv",
            "watch.png"
        ]
    );
    let file: Value = serde_json::from_slice(&fs::read(out.join("summary.json")).unwrap()).unwrap();
    assert_eq!(file, summary);
    let text = fs::read_to_string(out.join("schedule.ron")).unwrap();
    let schedule = plan::Schedule::from_ron(&text).unwrap();
    assert_eq!(schedule.layers.len(), 50);
    let csv = fs::read_to_string(out.join("schedule.csv")).unwrap();
    assert!(csv.lines().filter(|line| !line.starts_with('#')).count() > 50);
    let index = fs::read_to_string(out.join("index.txt")).unwrap();
    assert!(index.contains("Burns"), "{index}");

    // The same inputs give the same files.
    let before: Vec<Vec<u8>> = names
        .iter()
        .map(|n| fs::read(out.join(n)).unwrap())
        .collect();
    done(folder.path(), &["prepare", "mine.ron", "--out", "out"]);
    let after: Vec<Vec<u8>> = names
        .iter()
        .map(|n| fs::read(out.join(n)).unwrap())
        .collect();
    assert!(before == after);
}

#[test]
fn cautions_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let text = done(folder.path(), &["cautions"]);
    let text = String::from_utf8(text.stdout).unwrap();
    for word in ["Fire", "Burns", "Mains", "Fumes", "manual"] {
        assert!(text.contains(word), "{word}");
    }
}

/// Ctrl-C in the middle of the work: the code that shells expect, and nothing left.
#[cfg(unix)]
#[test]
fn stopped_it_leaves_nothing() {
    use std::time::{Duration, Instant};

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let demos = demo_models::all().unwrap();
    let demo = demos.iter().find(|d| d.name == "lighthouse").unwrap();
    let bytes = geometry::read::mesh_to_stl(&demo.mesh);
    fs::write(path.join("lighthouse.stl"), bytes).unwrap();
    fs::write(path.join("lighthouse.plan.ron"), demo.plan_ron).unwrap();
    let child = Command::new(env!("CARGO_BIN_EXE_tintfall"))
        .args(["prepare", "lighthouse.plan.ron", "--out", "deep/out"])
        .current_dir(path)
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // The folder is made first and filled last, and between lie seconds of rendering.
    let begun = Instant::now();
    while !path.join("deep/out").exists() {
        assert!(begun.elapsed() < Duration::from_secs(60));
        std::thread::sleep(Duration::from_millis(5));
    }
    let id = child.id().to_string();
    let sent = Command::new("kill").args(["-INT", &id]).status().unwrap();
    assert!(sent.success());
    let output = child.wait_with_output().unwrap();
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(130), "{error}");
    assert!(error.contains("cancelled"), "{error}");
    assert!(!path.join("deep").exists());
}
