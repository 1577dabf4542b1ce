//! Memory that runs out ends in words and code 1, under the program's own bound and the system's.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::process::{Command, Output};

use geometry::read::mesh_to_stl;
use geometry::solids;

fn told(output: &Output, words: &[&str]) {
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{error}");
    for word in words {
        assert!(error.contains(word), "{error}");
    }
    assert!(!error.contains("panicked"), "{error}");
}

#[test]
fn it_is_told_in_words_at_what_stage() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let ball = solids::icosphere(20.0, 7).unwrap();
    fs::write(path.join("ball.stl"), mesh_to_stl(&ball)).unwrap();
    // Reading takes over 20 MB, and looking it over more than 40.
    let bounded = common::run(path, &["inspect", "ball.stl", "--memory", "0.03"]);
    told(
        &bounded,
        &["memory ran out at this stage: ", "0.03 GiB", "--memory"],
    );
    common::done(path, &["inspect", "ball.stl", "--memory", "2"]);
    let limited = Command::new("sh")
        .current_dir(path)
        .args(["-c", "ulimit -v 60000; exec \"$0\" inspect ball.stl"])
        .arg(env!("CARGO_BIN_EXE_tintfall"))
        // A thread for each of many cores would take more room than that before anything is read.
        .env("RAYON_NUM_THREADS", "64")
        .output()
        .unwrap();
    told(&limited, &["memory ran out", "1 of 64 threads"]);
    let refused = common::run(path, &["inspect", "ball.stl", "--memory", "-1"]);
    assert_eq!(refused.status.code(), Some(2));
    // What was being written is gone.
    common::done(path, &["new", "ball.stl"]);
    let args = [
        "prepare",
        "ball.plan.ron",
        "--out",
        "out",
        "--memory",
        "0.1",
    ];
    told(
        &common::run(path, &args),
        &["memory ran out at this stage: "],
    );
    let mut left: Vec<String> = fs::read_dir(path)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, ["ball.plan.ron", "ball.stl"]);
}

/// A process may have fewer threads than the machine has cores; the work is then done by fewer.
#[test]
fn fewer_threads_do_the_same_work() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    let ball = solids::icosphere(20.0, 4).unwrap();
    fs::write(path.join("ball.stl"), mesh_to_stl(&ball)).unwrap();
    let limited = |kib: u32| {
        let limit = format!("ulimit -v {kib}; exec \"$0\" inspect ball.stl --json");
        let output = Command::new("sh")
            .current_dir(path)
            .args(["-c", &limit, env!("CARGO_BIN_EXE_tintfall")])
            .env("RAYON_NUM_THREADS", "256")
            .output()
            .unwrap();
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(0), "{error}");
        assert!(error.contains(" of 256 threads"), "{error}");
        output.stdout
    };
    let alone = limited(150_000);
    assert_eq!(alone, limited(1_000_000));
    assert_eq!(
        alone,
        common::done(path, &["inspect", "ball.stl", "--json"]).stdout
    );
}
