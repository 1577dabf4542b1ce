//! Meshes that are not sound: told by every command in the same words, right in layers and
//! weights all the same, and mended when asked.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{done, run};
use geometry::read::mesh_to_stl;
use geometry::{DVec3, Mesh, solids};

fn block(at: DVec3) -> Mesh {
    let block = solids::cuboid(DVec3::splat(10.0)).unwrap();
    block.map(|p| p + at).unwrap()
}

fn write(folder: &Path, name: &str, mesh: &Mesh) {
    fs::write(folder.join(name), mesh_to_stl(mesh)).unwrap();
}

fn json(output: &std::process::Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Refused as bad input, in words that name the file.
fn complains(folder: &Path, args: &[&str], file: &str, word: &str) {
    let output = run(folder, args);
    let error = errors(&output);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(
        error.contains(file) && error.contains(word),
        "{args:?}: {error}"
    );
}

fn errors(output: &std::process::Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn what_is_wrong_is_told_everywhere_and_layers_are_right() {
    let open = {
        let block = block(DVec3::ZERO);
        let facets = block.triangles().to_vec();
        Mesh::new(block.vertices().to_vec(), facets[..11].to_vec()).unwrap()
    };
    let cases = [
        (
            "turned",
            block(DVec3::ZERO).turned_inside_out(),
            "inside out",
            1000.0,
        ),
        (
            "doubled",
            Mesh::join([block(DVec3::ZERO), block(DVec3::ZERO)]).unwrap(),
            "the same corners",
            1000.0,
        ),
        (
            "crossing",
            Mesh::join([block(DVec3::ZERO), block(DVec3::new(5.0, 2.5, 0.0))]).unwrap(),
            "counts twice|through each other|on each other",
            2000.0 - 5.0 * 7.5 * 10.0,
        ),
        ("open", open, "hole", 1000.0),
    ];
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    for (name, mesh, words, volume) in cases {
        let stl = format!("{name}.stl");
        write(path, &stl, &mesh);
        let told = |text: &str| words.split('|').any(|word| text.contains(word));
        let report = json(&done(path, &["inspect", &stl, "--json"]));
        assert_eq!(report["sound"], false, "{name}");
        assert!(told(&report["findings"].to_string()), "{name}: {report}");
        let new = done(path, &["new", &stl]);
        assert!(told(&errors(&new)), "{name}: {}", errors(&new));
        let plan = format!("{name}.plan.ron");
        let out = format!("{name}-out");
        let prepared = done(path, &["prepare", &plan, "--out", &out]);
        assert!(told(&errors(&prepared)), "{name}: {}", errors(&prepared));
        let summary = fs::read_to_string(path.join(&out).join("summary.json")).unwrap();
        let summary: serde_json::Value = serde_json::from_str(&summary).unwrap();
        assert!(told(&summary["notes"].to_string()), "{name}: {summary}");
        let laid = summary["totals"]["solid_mm3"].as_f64().unwrap();
        assert!(
            (laid - volume).abs() < 1e-3 * volume,
            "{name}: {laid} is not {volume}"
        );
        let page = fs::read_to_string(path.join(&out).join("review.html")).unwrap();
        assert!(told(&page), "{name}");

        let mended = format!("{name}.ply");
        done(path, &["mend", &stl, "--out", &mended]);
        let report = json(&done(path, &["inspect", &mended, "--json"]));
        assert_eq!(report["sound"], true, "{name}: {report}");
        let is = report["mesh"]["facet_volume_mm3"].as_f64().unwrap();
        assert!(
            (is - volume).abs() < 1e-6 * volume,
            "{name}: {is} is not {volume}"
        );

        done(path, &["new", &stl, "--mend", "--replace"]);
        assert!(
            fs::read_to_string(path.join(&plan))
                .unwrap()
                .contains("mend: true")
        );
        let summary = json(&done(path, &["prepare", &plan, "--out", &out, "--json"]));
        assert!(
            summary["notes"].to_string().contains("Mended: "),
            "{name}: {summary}"
        );
        assert!(!told(&summary["notes"].to_string().replace("Mended: ", "")) || name == "open");
    }
}

#[test]
fn mending_says_what_it_will_not_do() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    write(path, "a.stl", &block(DVec3::ZERO));
    complains(
        path,
        &["mend", "a.stl", "--out", "a.xyz"],
        "a.xyz",
        "ends in",
    );
    complains(
        path,
        &["mend", "a.stl", "--out", "a.stl"],
        "a.stl",
        "--replace",
    );
    let sheet = Mesh::new(vec![DVec3::ZERO, DVec3::X, DVec3::Y], vec![[0, 1, 2]]).unwrap();
    write(path, "sheet.stl", &sheet);
    complains(
        path,
        &["mend", "sheet.stl", "--out", "b.ply"],
        "sheet.stl",
        "bounds no solid",
    );
    let said = done(path, &["mend", "a.stl", "--out", "b.obj"]);
    assert!(String::from_utf8_lossy(&said.stdout).contains("nothing to mend"));
}

#[test]
fn a_part_stays_where_it_was_drawn_if_asked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    write(path, "a.stl", &block(DVec3::new(40.0, -3.0, 0.0)));
    let words = done(path, &["inspect", "a.stl"]);
    let words = String::from_utf8_lossy(&words.stdout).into_owned();
    assert!(
        words.contains("add -40, 3, 0 mm to the file's coordinates"),
        "{words}"
    );
    done(path, &["new", "a.stl", "--as-drawn"]);
    let plan = fs::read_to_string(path.join("a.plan.ron")).unwrap();
    assert!(plan.contains("stand: AsDrawn"), "{plan}");
    let missed = plan.replacen(
        "regions: [",
        "regions: [\n(name: \"all\", mask: Whole, paint: Fixed([1.0, 0.0])),\n\
         (name: \"far\", mask: Sphere(centre_mm: (0, 0, 5), radius_mm: 4), paint: Fixed([0.0, 1.0])),",
        1,
    );
    fs::write(path.join("missed.ron"), missed).unwrap();
    let said = done(path, &["prepare", "missed.ron", "--out", "out"]);
    assert!(
        errors(&said).contains("'far' covers no skin"),
        "{}",
        errors(&said)
    );
    write(path, "high.stl", &block(DVec3::Z * 7.0));
    complains(
        path,
        &["layers", "high.stl", "--as-drawn"],
        "high.stl",
        "not on the bed",
    );
}

#[test]
fn names_do_not_steer_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let mut bytes = String::from("o \u{1b}]0;owned\u{7}\u{1b}[31mlid\n").into_bytes();
    bytes.extend(geometry::write::mesh_to_obj(&block(DVec3::ZERO)));
    fs::write(path.join("a.obj"), bytes).unwrap();
    let said = done(path, &["inspect", "a.obj"]);
    assert!(!said.stdout.contains(&0x1b) && !said.stdout.contains(&7));
    done(path, &["new", "a.obj"]);
    let plan = fs::read_to_string(path.join("a.plan.ron")).unwrap();
    let marked = format!("\u{feff}{plan}").replacen("title: \"a\"", "title: \"a\\u{1b}[31m\"", 1);
    fs::write(path.join("a.plan.ron"), marked).unwrap();
    let said = done(path, &["prepare", "a.plan.ron", "--out", "out"]);
    assert!(!said.stdout.contains(&0x1b) && !said.stderr.contains(&0x1b));
}
