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

/// Runs it and checks that it does what it was told.
pub(crate) fn done(folder: &Path, args: &[&str]) -> Output {
    let output = run(folder, args);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{args:?}: {error}");
    output
}
