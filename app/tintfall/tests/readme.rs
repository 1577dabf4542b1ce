//! The README's commands run as they stand, in their order, and write nothing that git would see.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::fs;
use std::path::Path;
use std::process::Command;

/// How every line that runs the command begins.
const RUN: &str = "cargo run --release -- ";

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

/// The lines of all shell blocks, but for those that test everything or open the window.
fn commands(readme: &str) -> Vec<String> {
    let blocks = readme.split("```sh\n").skip(1);
    let lines = blocks.flat_map(|block| block.split("```").next().unwrap().lines());
    let left_out =
        |line: &str| line == "cargo test --workspace" || line.contains("tintfall-viewer");
    let lines: Vec<String> = lines.filter(|l| !left_out(l)).map(str::to_owned).collect();
    for line in &lines {
        assert!(line.starts_with(RUN) || line.starts_with("sed "), "{line}");
    }
    lines
}

#[test]
fn its_commands_run_and_leave_nothing_that_git_would_see() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path();
    fs::create_dir(folder.join("demo-models")).unwrap();
    let given = root().join("demo-models/calibration");
    std::os::unix::fs::symlink(given, folder.join("demo-models/calibration")).unwrap();
    let part = geometry::solids::cuboid(geometry::DVec3::new(20.0, 20.0, 10.0)).unwrap();
    fs::write(folder.join("part.stl"), geometry::read::mesh_to_stl(&part)).unwrap();

    let lines = commands(&fs::read_to_string(root().join("README.md")).unwrap());
    assert!(lines.len() > 15, "{lines:#?}");
    for line in lines {
        let output = Command::new("sh")
            .args(["-c", &line.replacen(RUN, "\"$TINTFALL\" ", 1)])
            .env("TINTFALL", env!("CARGO_BIN_EXE_tintfall"))
            .current_dir(folder)
            .output()
            .unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{line}\n{error}");
    }

    let ignored = fs::read_to_string(root().join(".gitignore")).unwrap();
    for entry in fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let known = name == "demo-models" || ignored.lines().any(|l| l == format!("/{name}"));
        assert!(known, "git would see {name}");
    }
}
