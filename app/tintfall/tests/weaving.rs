//! A plan goes into a toolpath and is read back, by the command alone.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{done, run};
use geometry::{DVec3, LayerPlan, solids};

fn good(folder: &Path, args: &[&str]) -> String {
    String::from_utf8(done(folder, args).stdout).unwrap()
}

/// Runs it and checks that it ends with code 2 and says so.
fn refused(folder: &Path, args: &[&str], word: &str) {
    let output = run(folder, args);
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(error.contains(word), "{args:?}: {error}");
    assert!(!error.contains("panicked"), "{args:?}: {error}");
}

fn write_toolpath(folder: &Path, name: &str, size_mm: DVec3) {
    let mesh = solids::cuboid(size_mm).unwrap();
    let mut file = Vec::new();
    let layers = LayerPlan::plain(0.2, 0.2);
    demo_models::toolpath(&mesh, &layers, &demo_models::recipe(2), &mut file).unwrap();
    fs::write(folder.join(name), file).unwrap();
}

/// A box with its first plan, a fade from bottom to top, and a toolpath.
fn with_box() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let size_mm = DVec3::new(30.0, 20.0, 8.0);
    let mesh = solids::cuboid(size_mm).unwrap();
    let stl = geometry::read::mesh_to_stl(&mesh);
    fs::write(folder.path().join("box.stl"), stl).unwrap();
    good(folder.path(), &["new", "box.stl"]);
    write_toolpath(folder.path(), "box.gcode", size_mm);
    folder
}

#[test]
fn a_plan_is_woven_and_read_back() {
    let folder = with_box();
    let at = folder.path();
    for dialect in ["slots", "ratio-word", "move-words"] {
        let mut spoken = vec!["--dialect", dialect];
        if dialect == "ratio-word" {
            spoken.extend(["--line", "MIX RATIO={shares}"]);
        }
        let args = ["weave", "box.plan.ron", "box.gcode", "--out", "woven.gcode"];
        let told = good(at, &[&args[..], &spoken].concat());
        assert!(
            told.contains("copy 1: turned 0.0°, shifted 110.00, 110.00 mm"),
            "{told}"
        );
        let args = [
            "verify",
            "box.plan.ron",
            "woven.gcode",
            "--before",
            "box.gcode",
        ];
        let told = good(at, &[&args[..], &spoken].concat());
        assert!(told.contains("The same print"), "{told}");
        assert!(told.contains("Woven from this plan"), "{told}");
    }
    let args = [
        "verify",
        "box.plan.ron",
        "woven.gcode",
        "--dialect",
        "move-words",
    ];
    let pictures = ["--picture", "replayed.png", "--differences", "off.png"];
    let first = ["--first-layer", "first.svg"];
    let told = good(at, &[&args[..], &pictures[..], &first[..]].concat());
    assert!(told.contains("ΔE00"), "{told}");
    let drawn = fs::read_to_string(at.join("first.svg")).unwrap();
    assert!(drawn.starts_with("<svg ") && drawn.ends_with("</svg>\n"));
    // 30 mm of walls and filling, in the first blend.
    assert!(drawn.matches("<path").count() > 50, "{drawn}");
    for name in ["replayed.png", "off.png"] {
        assert!(fs::read(at.join(name)).unwrap().starts_with(b"\x89PNG"));
    }
    let text = fs::read_to_string(at.join("woven.gcode")).unwrap();
    assert!(text.contains("Not reviewed") && text.contains("Plan: SHA-256 "));
    assert!(!text.contains("M104") && !text.contains("M109"));

    good(at, &["sign", "box.plan.ron", "--name", "Ada Keeper"]);
    good(
        at,
        &[
            "weave",
            "box.plan.ron",
            "box.gcode",
            "--out",
            "signed.gcode",
        ],
    );
    let text = fs::read_to_string(at.join("signed.gcode")).unwrap();
    assert!(
        text.contains("approved by Ada Keeper on "),
        "{}",
        &text[..500]
    );
}

#[test]
fn a_dialect_of_ones_own_and_a_stand_given_by_hand() {
    let folder = with_box();
    let at = folder.path();
    let mine = r#"(version: 1, name: "mine", whole: 100.0, decimals: 1,
        form: RatioWord(line: "MIX RATIO={shares}", between: ","))"#;
    fs::write(at.join("mine.ron"), mine).unwrap();
    let args = ["weave", "box.plan.ron", "box.gcode", "--out", "mine.gcode"];
    let own = ["--dialect", "mine.ron", "--stand", "0", "110", "110"];
    good(at, &[&args[..], &own[..]].concat());
    let text = fs::read_to_string(at.join("mine.gcode")).unwrap();
    assert!(text.contains("\nMIX RATIO=98.8,1.2\n"), "{}", &text[..2000]);
    let args = [
        "verify",
        "box.plan.ron",
        "mine.gcode",
        "--before",
        "box.gcode",
    ];
    good(at, &[&args[..], &own[..]].concat());

    // Put by hand where it is not: woven as told, with a word about it.
    let args = ["weave", "box.plan.ron", "box.gcode", "--out", "off.gcode"];
    let output = run(at, &[&args[..], &["--stand", "0", "100", "110"]].concat());
    assert!(output.status.success());
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(error.contains("placed by hand and fits badly"), "{error}");

    fs::write(
        at.join("bad.ron"),
        "(version: 1, name: \"bad\", whole: 7.0)",
    )
    .unwrap();
    let args = ["weave", "box.plan.ron", "box.gcode", "--out", "bad.gcode"];
    refused(
        at,
        &[&args[..], &["--dialect", "bad.ron"]].concat(),
        "bad.ron",
    );
    for (dialect, what) in [
        (&["none"][..], "there is no dialect"),
        (&["ratio-word"], "Look in your firmware's manual"),
        (&["ratio-word", "--line", "G1 X{shares}"], "may move"),
        (
            &["slots", "--line", "MIX {shares}"],
            "have their lines already",
        ),
    ] {
        refused(at, &[&args[..], &["--dialect"], dialect].concat(), what);
    }
    assert!(!at.join("bad.gcode").exists());
}

#[test]
fn what_does_not_fit_is_refused_and_leaves_nothing() {
    let folder = with_box();
    let at = folder.path();
    write_toolpath(at, "other.gcode", DVec3::new(26.0, 26.0, 8.0));
    write_toolpath(at, "high.gcode", DVec3::new(30.0, 20.0, 12.0));
    fs::write(at.join("empty.gcode"), "").unwrap();
    fs::write(at.join("binary.gcode"), [b'G', 0, 1, 2, 3]).unwrap();
    let cases = [
        ("other.gcode", "not of this part"),
        ("high.gcode", "up to 12.00 mm"),
        ("empty.gcode", "prints anything"),
        ("binary.gcode", "plain-text"),
        ("missing.gcode", "can't be opened"),
    ];
    for (file, word) in cases {
        refused(
            at,
            &["weave", "box.plan.ron", file, "--out", "out.gcode"],
            word,
        );
        assert!(!at.join("out.gcode").exists(), "{file}");
    }
    let same = ["weave", "box.plan.ron", "box.gcode", "--out", "box.gcode"];
    refused(at, &same, "the toolpath itself");

    good(
        at,
        &["weave", "box.plan.ron", "box.gcode", "--out", "woven.gcode"],
    );
    let text = fs::read_to_string(at.join("woven.gcode")).unwrap();
    let hot = text.replacen("G1 F2400", "M104 S300\nG1 F2400", 1);
    fs::write(at.join("hot.gcode"), hot).unwrap();
    let args = [
        "verify",
        "box.plan.ron",
        "hot.gcode",
        "--before",
        "box.gcode",
    ];
    refused(at, &args, "not the same print");
    let plan = fs::read_to_string(at.join("box.plan.ron")).unwrap();
    fs::write(
        at.join("changed.plan.ron"),
        plan.replacen("layer_mm: 0.2", "layer_mm: 0.21", 1),
    )
    .unwrap();
    refused(
        at,
        &["verify", "changed.plan.ron", "woven.gcode"],
        "another plan",
    );
    refused(
        at,
        &["verify", "box.plan.ron", "box.gcode"],
        "no blend command",
    );
}
