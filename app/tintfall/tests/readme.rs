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

/// The lines of each shell block, but for those that test everything or open the window.
fn blocks(readme: &str) -> Vec<Vec<String>> {
    let blocks = readme.split("```sh\n").skip(1);
    let left_out =
        |line: &&str| *line == "cargo test --workspace" || line.contains("tintfall-viewer");
    let lines_of = |block: &str| -> Vec<String> {
        let lines = block.split("```").next().unwrap().lines();
        lines.filter(|l| !left_out(l)).map(str::to_owned).collect()
    };
    let blocks: Vec<Vec<String>> = blocks.map(lines_of).filter(|b| !b.is_empty()).collect();
    for line in blocks.iter().flatten() {
        assert!(line.starts_with(RUN) || line.starts_with("sed "), "{line}");
    }
    blocks
}

fn run(lines: &[String], folder: &Path) {
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

/// A folder with what a person has: the demonstration's readings, and a part of their own.
fn given(folder: &Path) {
    fs::create_dir(folder.join("demo-models")).unwrap();
    let readings = root().join("demo-models/calibration");
    std::os::unix::fs::symlink(readings, folder.join("demo-models/calibration")).unwrap();
    let part = geometry::solids::cuboid(geometry::DVec3::new(20.0, 20.0, 10.0)).unwrap();
    fs::write(folder.join("part.stl"), geometry::read::mesh_to_stl(&part)).unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let (from, name) = entry.map(|e| (e.path(), e.file_name())).unwrap();
        match from.is_dir() {
            true => copy(&from, &to.join(name)),
            false => fs::copy(&from, to.join(name)).map(|_| ()).unwrap(),
        }
    }
}

/// Each section needs no more than the first command before it, so all of them run side by side.
#[test]
fn its_commands_run_and_leave_nothing_that_git_would_see() {
    let blocks = blocks(&fs::read_to_string(root().join("README.md")).unwrap());
    assert!(blocks.iter().flatten().count() > 15, "{blocks:#?}");
    let (first, sections) = blocks.split_first().unwrap();
    let place = tempfile::tempdir().unwrap();
    given(place.path());
    run(first, place.path());
    std::thread::scope(|scope| {
        for lines in sections {
            let demo = place.path().join("tintfall-demo");
            scope.spawn(move || {
                let place = tempfile::tempdir().unwrap();
                given(place.path());
                copy(&demo, &place.path().join("tintfall-demo"));
                run(lines, place.path());
            });
        }
    });
}
