//! Running the command.
#![allow(dead_code, reason = "not every file of tests needs all of it")]

use std::path::Path;
use std::process::{Command, Output};

/// Runs the command in a folder.
pub(crate) fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tintfall"))
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// What hands `block.plan.ron` on, if it is signed.
pub(crate) const HAND_OFF: [&str; 5] = [
    "handoff",
    "block.plan.ron",
    "--out",
    "block.zip",
    "--require-review",
];

/// Signs `block.plan.ron`, hands it on, checks that, and gives the hand-off's bytes.
pub(crate) fn signed_hand_off(folder: &Path) -> Vec<u8> {
    done(folder, &["sign", "block.plan.ron", "--name", "Ada Keeper"]);
    done(folder, &HAND_OFF);
    let checked = done(folder, &["check-handoff", "block.zip", "--require-review"]);
    let said = String::from_utf8(checked.stdout).unwrap();
    assert!(said.contains("Ada Keeper"), "{said}");
    std::fs::read(folder.join("block.zip")).unwrap()
}

/// `block.plan.ron` on its part.
pub(crate) fn painted(folder: &Path) -> plan::Painted {
    let job = project::job::Job::open(&folder.join("block.plan.ron"), &geometry::Progress::new());
    job.unwrap().painted
}

/// The areas of a part's regions, mm².
pub(crate) fn areas_mm2(painted: &plan::Painted) -> Vec<f64> {
    painted
        .region_areas_mm2(&geometry::Progress::new())
        .unwrap()
}

/// Runs it and checks that it does what it was told.
pub(crate) fn done(folder: &Path, args: &[&str]) -> Output {
    let output = run(folder, args);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{args:?}: {error}");
    output
}

/// Runs it, checks that it does what it was told, and gives what it says.
pub(crate) fn tintfall(folder: &Path, args: &[&str]) -> String {
    String::from_utf8(done(folder, args).stdout).unwrap()
}

/// Runs it, checks that it ends with exit code 2, and gives what it complains about.
pub(crate) fn refused(folder: &Path, args: &[&str]) -> String {
    let output = run(folder, args);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    error
}
