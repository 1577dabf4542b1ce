//! Whatever file it is given, the command ends with one clear message and exit code 2, leaves
//! nothing half-written, and does not panic.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::run;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Runs it and checks that it complains once, about `file`, saying `word`.
fn complains(folder: &Path, args: &[&str], file: &str, word: &str) {
    let before = names(folder);
    let output = run(folder, args);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(error.starts_with("tintfall: "), "{args:?}: {error}");
    assert!(error.contains(file), "{args:?}: {error}");
    assert!(error.contains(word), "{args:?}: {error}");
    assert!(!error.contains("panicked"), "{args:?}: {error}");
    assert!(output.stdout.is_empty(), "{args:?}");
    assert_eq!(names(folder), before, "{args:?}");
}

/// One facet of a binary STL.
fn facet(corners: [[f32; 3]; 3]) -> Vec<u8> {
    let mut bytes = vec![0; 12];
    for value in corners.iter().flatten() {
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0, 0]);
    bytes
}

fn stl(count: u32, facets: &[[[f32; 3]; 3]]) -> Vec<u8> {
    let mut bytes = vec![0; 80];
    bytes.extend(count.to_le_bytes());
    for corners in facets {
        bytes.extend(facet(*corners));
    }
    bytes
}

/// A pyramid on a triangle.
const PYRAMID: [[[f32; 3]; 3]; 4] = [
    [[0., 0., 0.], [0., 20., 0.], [20., 0., 0.]],
    [[0., 0., 0.], [20., 0., 0.], [0., 0., 20.]],
    [[20., 0., 0.], [0., 20., 0.], [0., 0., 20.]],
    [[0., 20., 0.], [0., 0., 0.], [0., 0., 20.]],
];

fn bad_meshes() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let whole = stl(4, &PYRAMID);
    let mut nan = PYRAMID;
    nan[1][2][0] = f32::NAN;
    vec![
        ("empty.stl", Vec::new(), "empty"),
        (
            "truncated.stl",
            whole[..whole.len() - 30].to_vec(),
            "broken",
        ),
        ("huge.stl", stl(u32::MAX, &PYRAMID), "broken"),
        ("none.stl", stl(0, &[]), "no facets"),
        ("nan.stl", stl(4, &nan), "broken"),
        (
            "noise.stl",
            (0..997_u32).map(|i| (i * i % 251) as u8).collect(),
            "",
        ),
        (
            "letter.stl",
            b"Dear museum, please find the lamp shade attached.\n".to_vec(),
            "",
        ),
        (
            "cut.obj",
            b"v 0 0 0\nv 1 0 0\nv 0 1\nf 1 2 3\n".to_vec(),
            "line 3",
        ),
        (
            "far.obj",
            b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9000000000\n".to_vec(),
            "line 4",
        ),
        (
            "vast.ply",
            b"ply\nformat ascii 1.0\nelement vertex 4000000000\nproperty float x\n\
              property float y\nproperty float z\nelement face 1\n\
              property list uchar int vertex_indices\nend_header\n0 0 0\n"
                .to_vec(),
            "broken",
        ),
        (
            "torn.3mf",
            b"PK\x03\x04\x14\x00\x00\x00 and then nothing".to_vec(),
            "broken",
        ),
        (
            "latin1.obj",
            b"v 0 0 0 # k\xfcste\nv 1 0 0\nf 1 2 3\n".to_vec(),
            "",
        ),
    ]
}

#[test]
fn every_command_refuses_every_bad_mesh() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes, word) in bad_meshes() {
        fs::write(folder.path().join(name), bytes).unwrap();
        for command in ["inspect", "layers", "new"] {
            complains(folder.path(), &[command, name], name, word);
        }
        let plan = format!("{name}.plan.ron");
        fs::write(folder.path().join(&plan), plan_text(name)).unwrap();
        complains(
            folder.path(),
            &["prepare", &plan, "--out", "out"],
            name,
            word,
        );
    }
}

fn plan_text(mesh: &str) -> String {
    format!(
        "(version: 1, mesh: (file: \"{mesh}\"),\n\
         spools: [(name: \"A\", colour: Hex(\"#ffffff\")), (name: \"B\", colour: Hex(\"#0000aa\"))],\n\
         layers: (first_layer_mm: 0.5, layer_mm: 0.5),\n\
         regions: [(name: \"All\", mask: Whole, paint: Fixed([1, 0]))])\n"
    )
}

#[test]
fn a_wrong_plan_is_told_with_file_line_and_column() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    fs::write(path.join("good.stl"), stl(4, &PYRAMID)).unwrap();
    let good = plan_text("good.stl");
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("empty.ron", Vec::new(), "line 1"),
        (
            "cut.ron",
            good.as_bytes()[..good.len() / 2].to_vec(),
            "line",
        ),
        (
            "field.ron",
            good.replace("mask:", "musk:").into(),
            "line 4, column 2",
        ),
        (
            "sum.ron",
            good.replace("[1, 0]))", "[0.7, 0]))").into(),
            "line 4",
        ),
        (
            "layer.ron",
            good.replace("layer_mm: 0.5)", "layer_mm: -1)").into(),
            "line 3",
        ),
        (
            "later.ron",
            good.replace("version: 1", "version: 900").into(),
            "line 1",
        ),
        (
            "no-mesh.ron",
            good.replace("good.stl", "gone.stl").into(),
            "gone.stl",
        ),
        (
            "spools.ron",
            good.replace("spools: [", "spools: \"gone.ron\", x: [")
                .into(),
            "line 2",
        ),
        (
            "bytes.ron",
            b"(version: 1,\n title: \"k\xfcste\")".to_vec(),
            "line 2, column 11",
        ),
    ];
    for (name, bytes, word) in cases {
        fs::write(path.join(name), bytes).unwrap();
        let file = if name == "no-mesh.ron" {
            "gone.stl"
        } else {
            name
        };
        complains(path, &["prepare", name, "--out", "out"], file, word);
    }
    complains(
        path,
        &["prepare", "nowhere.ron", "--out", "out"],
        "nowhere.ron",
        "read",
    );
    complains(path, &["prepare", ".", "--out", "out"], ".", "folder");
}

#[test]
fn impossible_layers_and_sizes_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    fs::write(path.join("good.stl"), stl(4, &PYRAMID)).unwrap();
    for height in ["0", "-0.2", "NaN", "1e-12", "inf"] {
        let height = format!("--layer={height}");
        complains(path, &["layers", "good.stl", &height], "good.stl", "mm");
    }
}

#[test]
fn a_file_in_the_way_of_the_folder_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    fs::write(path.join("good.stl"), stl(4, &PYRAMID)).unwrap();
    fs::write(path.join("good.ron"), plan_text("good.stl")).unwrap();
    fs::write(path.join("out"), "mine").unwrap();
    let output = run(path, &["prepare", "good.ron", "--out", "out"]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(fs::read(path.join("out")).unwrap(), b"mine");
    assert_eq!(names(path), ["good.ron", "good.stl", "out"]);
}

#[test]
fn new_does_not_write_over_a_plan_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    fs::write(path.join("good.stl"), stl(4, &PYRAMID)).unwrap();
    fs::write(path.join("good.plan.ron"), "mine").unwrap();
    complains(path, &["new", "good.stl"], "good.plan.ron", "--replace");
    assert_eq!(fs::read(path.join("good.plan.ron")).unwrap(), b"mine");
    assert!(
        run(path, &["new", "good.stl", "--replace"])
            .status
            .success()
    );
    assert_ne!(fs::read(path.join("good.plan.ron")).unwrap(), b"mine");
}

#[test]
fn wrong_arguments_end_with_2() {
    let folder = tempfile::tempdir().unwrap();
    for args in [
        &["inspect"][..],
        &["inspect", "a.stl", "--unit", "ell"],
        &["prepare", "a.ron"],
        &["nonsense"],
        &[],
    ] {
        let output = run(folder.path(), args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
    }
    complains(folder.path(), &["inspect", "gone.stl"], "gone.stl", "read");
    complains(
        folder.path(),
        &["view", "gone.stl"],
        "gone.stl",
        "does not exist",
    );
}
