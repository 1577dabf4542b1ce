//! A plan cut into bodies by the command.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{done, run};
use geometry::read::{ReadOptions, mesh_to_stl, read_mesh};
use geometry::{DVec3, solids};

const PLAN: &str = r##"(
    version: 1,
    title: "Block <of> two",
    mesh: (file: "block.stl"),
    spools: [
        (name: "Chalk", colour: Hex("#f4f2ec")),
        (name: "Sea", colour: Hex("#12507b")),
    ],
    layers: (first_layer_mm: 0.3, layer_mm: 0.2),
    regions: [
        (name: "Foot", mask: Whole, paint: Fixed([1, 0])),
        (name: "Top & tip", mask: Band(from_mm: 6, to_mm: 20), paint: Fixed([0, 1])),
        (
            name: "Dot",
            mask: Stroke(dabs_mm: [(0, -8, 4)], radius_mm: 2),
            paint: Fixed([0.25, 0.75]),
        ),
    ],
)"##;

fn write(folder: &Path) {
    let block = solids::cuboid(DVec3::new(20.0, 16.0, 10.0)).unwrap();
    fs::write(folder.join("block.stl"), mesh_to_stl(&block)).unwrap();
    fs::write(folder.join("block.plan.ron"), PLAN).unwrap();
}

fn text(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap()
}

#[test]
fn a_plan_becomes_bodies_with_a_page_and_lines() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    write(here);
    let output = done(
        here,
        &["bodies", "block.plan.ron", "--out", "out", "--json"],
    );
    let told: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let tools = told["tools"].as_array().unwrap();
    assert_eq!(tools.len(), 3);
    let mut sum = 0.0;
    for tool in tools {
        let file = here.join("out").join(tool["file"].as_str().unwrap());
        let mesh = read_mesh(&file, &ReadOptions::default()).unwrap().mesh;
        let volume = tool["volume_mm3"].as_f64().unwrap();
        assert!((mesh.volume_mm3() / volume - 1.0).abs() < 1e-5);
        sum += volume;
    }
    // 20 × 16 × 10 mm.
    assert!((sum - 3200.0).abs() < 1e-6);
    let out = here.join("out");
    let page = text(&out, "tools.html");
    assert!(page.contains("Tools for Block &lt;of&gt; two") && page.contains("Top &amp; tip"));
    assert!(page.contains("Check each line in your firmware's manual"));
    let lines = text(&out, "start-lines.txt");
    assert!(lines.contains("M163 S0 P0.250\nM163 S1 P0.750\nM164 S"));
    // The band goes through: its bodies meet the dot's and the foot's at 6 mm.
    let whole = read_mesh(&out.join("bodies.3mf"), &ReadOptions::default()).unwrap();
    assert!((whole.mesh.volume_mm3() - 3200.0).abs() < 1e-6);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    write(here);
    for (more, word) in [
        (["--depth", "-1"], "above 0"),
        (["--depth", "deep"], "through"),
        (["--dialect", "nothing"], "there is no dialect"),
        (["--tools", "0"], "1..="),
    ] {
        let args = [&["bodies", "block.plan.ron", "--out", "out"], &more[..]].concat();
        let output = run(here, &args);
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{error}");
        assert!(error.contains(word), "{more:?}: {error}");
        assert!(!here.join("out").exists());
    }
}
