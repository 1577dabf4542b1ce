//! From the hotend's conversion to a traced print, by the command alone.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{done, run};
use serde_json::Value;

fn works(folder: &Path, args: &[&str]) -> String {
    String::from_utf8(done(folder, args).stdout).unwrap()
}

fn json(folder: &Path, args: &[&str]) -> Value {
    serde_json::from_str(&works(folder, args)).unwrap()
}

/// It complains once, with exit code 2, saying the word.
fn complains(folder: &Path, args: &[&str], word: &str) {
    let output = run(folder, args);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(error.contains(word), "{args:?}: {error}");
    assert!(!error.contains("panicked"), "{args:?}: {error}");
    assert!(output.stdout.is_empty(), "{args:?}");
}

/// A thin tube with a fade, and two spools.
fn with_tube() -> tempfile::TempDir {
    let mesh = geometry::solids::tube(8.0, 6.8, 40.0, 40).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).unwrap();
    write("tube.stl", &geometry::read::mesh_to_stl(&mesh));
    write(
        "tube.plan.ron",
        br##"(version: 1, title: "Tube", mesh: (file: "tube.stl"),
            spools: [
                (name: "Sail white", colour: Hex("#f2efe6")),
                (name: "Deep water", colour: Hex("#14507a")),
            ],
            layers: (first_layer_mm: 0.25, layer_mm: 0.25),
            regions: [(name: "Tube", mask: Whole, paint: Fade(along: Height, fade: (
                stops: [(at_mm: 5, shares: [0.1, 0.9]), (at_mm: 35, shares: [0.9, 0.1])],
                spacing: Linear,
            )))],
        )"##,
    );
    write(
        "spools.ron",
        br##"(version: 1, spools: [
            (name: "Sail white", colour: Hex("#f2efe6")),
            (name: "Deep water", colour: Hex("#14507a")),
        ])"##,
    );
    folder
}

#[test]
fn prepare_tells_what_comes_out_and_what_it_costs() {
    let folder = with_tube();
    let text = works(folder.path(), &["prepare", "tube.plan.ron", "--out", "out"]);
    for word in [
        "As printed: off by ΔE00",
        "without compensation",
        "Flushed away: nothing",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
    let summary: Value =
        serde_json::from_slice(&fs::read(folder.path().join("out/summary.json")).unwrap()).unwrap();
    let figures = &summary["as_printed"];
    let number = |name: &str| figures[name].as_f64().unwrap();
    assert!(number("mean_de00") < 1.0);
    assert!(number("mean_de00") < number("at_their_place_de00"));
    assert!(number("mean_de00") <= number("worst_de00"));
    assert_eq!(figures["waste"]["mass_g"], 0.0);
    let ron = fs::read_to_string(folder.path().join("out/as-printed.ron")).unwrap();
    let printed = plan::AsPrinted::from_ron(&ron).unwrap();
    assert_eq!(printed.delivery.mean_de00, number("mean_de00"));
    let commands = fs::read_to_string(folder.path().join("out/commands.csv")).unwrap();
    let rows = commands.lines().filter(|l| !l.starts_with('#')).count();
    assert_eq!(rows, printed.compensation.commands.0.len() + 1);
}

#[test]
fn a_swap_seen_on_the_watch_table_is_traced() {
    let folder = with_tube();
    let at = folder.path();
    let table = works(at, &["watch", "tube.plan.ron", "--every", "10"]);
    assert!(
        table.contains("drive 2  Deep water") && table.contains("40.00"),
        "{table}"
    );
    works(at, &["watch", "tube.plan.ron", "--out", "watch"]);
    for name in ["watch.txt", "watch.csv", "watch.png", "seen.csv"] {
        assert!(at.join("watch").join(name).exists(), "{name}");
    }
    complains(
        at,
        &["trace", "tube.plan.ron", "watch/seen.csv"],
        "the table is empty",
    );

    // What is seen when the spools stand at each other's drives: colours from the other end.
    works(at, &["prepare", "tube.plan.ron", "--out", "out"]);
    let schedule = fs::read_to_string(at.join("out/schedule.ron")).unwrap();
    let schedule = plan::Schedule::from_ron(&schedule).unwrap();
    let mut seen = String::from("height_mm,l,a,b\n");
    for layer in schedule.layers.iter().step_by(12) {
        let mirrored = 40.0 - layer.span.top_mm;
        let like = schedule
            .layers
            .iter()
            .find(|l| l.span.top_mm > mirrored)
            .unwrap();
        let lab = like.doses[0].lab;
        seen.push_str(&format!(
            "{},{},{},{}\n",
            layer.span.top_mm, lab.l, lab.a, lab.b
        ));
    }
    fs::write(at.join("seen.csv"), seen).unwrap();
    let text = works(at, &["trace", "tube.plan.ron", "seen.csv"]);
    assert!(text.contains("1. two spools are swapped"), "{text}");
    assert!(text.contains("Try: Check which filament"), "{text}");
    let findings = json(at, &["trace", "tube.plan.ron", "seen.csv", "--json"]);
    let first = &findings["findings"][0]["cause"]["faults"][0];
    assert!(first["Swapped"].is_object(), "{findings}");

    // A table with readings is not written over.
    fs::copy(at.join("seen.csv"), at.join("watch/seen.csv")).unwrap();
    complains(
        at,
        &["watch", "tube.plan.ron", "--out", "watch"],
        "has readings",
    );
}

#[test]
fn a_lag_test_is_written_and_its_readings_become_a_machine_file() {
    let folder = with_tube();
    let at = folder.path();
    works(at, &["lag-test", "spools.ron", "--out", "lag"]);
    for name in [
        "lag-test.stl",
        "how-to-read.txt",
        "lag-test/sheet.png",
        "lag-test/watch.csv",
    ] {
        assert!(at.join("lag").join(name).exists(), "{name}");
    }
    let plan = ["lag-fit", "lag/lag-test.plan.ron"];
    let with = |rest: &[&'static str]| [&plan[..], rest].concat();
    complains(
        at,
        &with(&["lag/ends.csv", "--out", "m.ron"]),
        "the table is empty",
    );

    // What a chamber of twice the default lays, as colours by height.
    let machine = "(version: 1, chamber: (dead_mm3: 40.0, mixed_mm3: 60.0))";
    fs::write(at.join("twice.ron"), machine).unwrap();
    let text = fs::read_to_string(at.join("lag/lag-test.plan.ron")).unwrap();
    let mut other = plan::Plan::from_ron(&text).unwrap();
    other.machine.chamber.dead_mm3 = 40.0;
    other.machine.chamber.mixed_mm3 = 60.0;
    fs::write(at.join("lag/other.plan.ron"), other.to_ron().unwrap()).unwrap();
    works(at, &["prepare", "lag/other.plan.ron", "--out", "other"]);
    let csv = fs::read_to_string(at.join("other/schedule.csv")).unwrap();
    let lines: Vec<Vec<&str>> = csv
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| l.split(',').collect())
        .collect();
    let column = |name: &str| lines[0].iter().position(|h| *h == name).unwrap();
    let mut readings = String::from("height_mm,l,a,b\n");
    for row in lines.iter().skip(30).step_by(3) {
        let cells = ["bottom_mm", "top_mm"].map(|n| row[column(n)].parse::<f64>().unwrap());
        let height = 0.5 * (cells[0] + cells[1]);
        let lab = ["l", "a", "b"].map(|n| row[column(&format!("printed_lab_{n}"))]);
        readings.push_str(&format!("{height:.3},{},{},{}\n", lab[0], lab[1], lab[2]));
    }
    fs::write(at.join("colours.csv"), readings).unwrap();
    let fit = json(
        at,
        &with(&["colours.csv", "--out", "machine.ron", "--json"]),
    );
    let found = fs::read_to_string(at.join("machine.ron")).unwrap();
    let found = plan::Machine::from_ron(&found).unwrap().chamber;
    assert!((found.dead_mm3 - 40.0).abs() < 1.0, "{found:?} {fit}");
    assert!((found.mixed_mm3 - 60.0).abs() < 1.0, "{found:?} {fit}");
    let told = works(at, &with(&["colours.csv", "--out", "machine.ron"]));
    assert!(told.contains("Dead volume") && told.contains("±"), "{told}");

    // Readings are not written over.
    fs::copy(at.join("colours.csv"), at.join("lag/colours.csv")).unwrap();
    complains(
        at,
        &["lag-test", "spools.ron", "--out", "lag"],
        "has readings",
    );
}

#[test]
fn preflight_lists_what_to_check() {
    let folder = with_tube();
    let at = folder.path();
    let text = works(at, &["preflight", "tube.plan.ron"]);
    for word in [
        "licensed",
        "Direction of each drive",
        "[ ]",
        "First-layer height",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
    fs::write(
        at.join("machine.ron"),
        "(version: 1, board_drivers: 5, drives: [(steps_per_mm: 93), (steps_per_mm: 99), (steps_per_mm: 93)])",
    )
    .unwrap();
    let text = works(
        at,
        &["preflight", "--machine", "machine.ron", "--spools", "3"],
    );
    assert!(text.contains("Too few stepper drivers"), "{text}");
    assert!(text.contains("Unequal drives"), "{text}");
    let list = json(at, &["preflight", "--machine", "machine.ron", "--json"]);
    assert!(list.as_array().unwrap().len() >= 14);
}

#[test]
fn bad_input_ends_with_one_clear_error() {
    let folder = with_tube();
    let at = folder.path();
    let write = |name: &str, text: &str| fs::write(at.join(name), text).unwrap();
    complains(at, &["watch", "none.ron"], "none.ron");
    complains(at, &["watch", "tube.plan.ron", "--every", "-1"], "above 0");
    complains(at, &["watch", "tube.plan.ron", "--every", "nan"], "above 0");
    for (text, word) in [
        ("turns_1\n3\n", "height_mm is missing"),
        (
            "height_mm,turns_3\n5,3\n",
            "the column 'turns_3' is unknown",
        ),
        ("height_mm,turns_1\n5,many\n", "line 2: 'many'"),
        ("height_mm,turns_1\n5,-2\n", "below 0"),
        ("height_mm,turns_1\n500,3\n", "above the part"),
        ("height_mm,l,a,b\n5,300,0,0\n", "no plastic"),
        ("height_mm,l,a,b\n5,30,0,\n", "either l, a and b, or hex"),
        ("height_mm,hex\n5,#12\n", "line 2"),
        ("", "height_mm"),
    ] {
        write("seen.csv", text);
        complains(at, &["trace", "tube.plan.ron", "seen.csv"], word);
    }
    write("seen.csv", "height_mm,turns_1\n5,3\n");
    let zero = ["trace", "tube.plan.ron", "seen.csv", "--colour-error", "0"];
    complains(at, &zero, "above 0");
    let fit = |tanks: &'static str| {
        [
            "lag-fit",
            "tube.plan.ron",
            "lag.csv",
            "--out",
            "m.ron",
            "--tanks",
            tanks,
        ]
    };
    write("lag.csv", "change,begins_mm,ends_mm\n1,5,4\n");
    complains(at, &fit("1"), "swap");
    complains(at, &fit("0"), "1 to 20");
    write("lag.csv", "change,begins_mm,ends_mm\n1.5,5,6\n");
    complains(at, &fit("1"), "count from 1");
    write("lag.csv", "depth,colour\n1.5,5\n");
    complains(at, &fit("1"), "not a table of a lag test");
    assert!(!at.join("m.ron").exists());
    complains(at, &["preflight"], "PLAN");
    complains(
        at,
        &["preflight", "tube.plan.ron", "--machine", "m.ron"],
        "cannot be used",
    );
    complains(at, &["preflight", "--machine", "none.ron"], "none.ron");
    let many = ["preflight", "--machine", "seen.csv", "--spools", "90"];
    complains(at, &many, "2 to");
    write(
        "alike.ron",
        r##"(version: 1, spools: [(name: "A", colour: Hex("#808080")), (name: "B", colour: Hex("#828282"))])"##,
    );
    complains(
        at,
        &["lag-test", "alike.ron", "--out", "lag"],
        "a dark and a light spool",
    );
    assert!(!at.join("lag").exists());
}

/// Filament of all drives at the top of a watch table, mm.
fn fed_mm(table: &Value) -> f64 {
    let last = table["rows"].as_array().unwrap().last().unwrap().clone();
    let drives = last["drives"].as_array().unwrap();
    let lengths = drives.iter().map(|d| d["filament_mm"].as_f64().unwrap());
    lengths.sum()
}

/// A drive that is held against the table must not seem to slip because the part is hollow.
#[test]
fn the_watch_table_counts_the_toolpath_that_is_printed() {
    let shade = demo_models::all().unwrap().swap_remove(0);
    let plan = plan::Plan::from_ron(shade.plan_ron).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).unwrap();
    write("lamp-shade.stl", &geometry::read::mesh_to_stl(&shade.mesh));
    write("shade.ron", shade.plan_ron.as_bytes());
    let mut sliced = Vec::new();
    let recipe = demo_models::recipe(shade.walls);
    let made = demo_models::toolpath(&shade.mesh, &plan.layers, &recipe, &mut sliced).unwrap();
    write("shade.gcode", &sliced);
    let args = ["watch", "shade.ron", "--json", "--toolpath", "shade.gcode"];
    let off = fed_mm(&json(folder.path(), &args)) / made.filament_mm - 1.0;
    assert!(off.abs() < 0.01, "{off}");
    // Reckoned from the plan's filling, before there is a toolpath.
    let off = fed_mm(&json(folder.path(), &args[..3])) / made.filament_mm - 1.0;
    assert!(off.abs() < 0.1, "{off}");
    let words = works(
        folder.path(),
        &["watch", "shade.ron", "--toolpath", "shade.gcode"],
    );
    assert!(
        words.contains("Woven into the toolpath shade.gcode"),
        "{words}"
    );
    write("other.gcode", b"M83\nG1 Z0.2\nG1 X5 E1\n");
    let args = ["watch", "shade.ron", "--toolpath", "other.gcode"];
    complains(folder.path(), &args, "prints up to 0.20 mm");
}
