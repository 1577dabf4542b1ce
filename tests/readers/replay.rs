//! Every kept file goes to its reader, whole, cut short, and damaged.

use std::fs;
use std::path::{Path, PathBuf};

use tintfall_tests::readers::{Answer, FuzzTarget, TARGETS};

fn tests() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files(target: &FuzzTarget) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = tests().join("readers/corpus").join(target.name);
    let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("a file").path()).collect();
    paths.sort();
    assert!(!paths.is_empty(), "nothing in {}", folder.display());
    let read = |path: PathBuf| {
        let bytes = fs::read(&path).expect("a file of the corpus");
        (path, bytes)
    };
    paths.into_iter().map(read).collect()
}

/// A reader that refused every file would pass all of its checks: at least one must come through.
#[test]
fn every_kept_file_is_answered_and_one_of_each_reader_is_read() {
    for target in TARGETS {
        let mut answers = Vec::new();
        for (path, bytes) in files(&target) {
            println!("{}", path.display());
            answers.push((target.run)(&bytes));
        }
        assert!(answers.contains(&Answer::Read), "{}", target.name);
    }
}

#[test]
fn files_cut_short_and_damaged_are_answered() {
    for target in TARGETS {
        for (path, bytes) in files(&target) {
            println!("{}", path.display());
            for part in 1..4 {
                (target.run)(bytes.get(..bytes.len() * part / 4).unwrap_or_default());
            }
            let mut damaged = bytes.clone();
            if let Some(byte) = damaged.get_mut(bytes.len() / 3) {
                *byte ^= 0x15;
            }
            (target.run)(&damaged);
        }
    }
}

#[test]
fn every_folder_of_the_corpus_has_its_reader() {
    for entry in fs::read_dir(tests().join("readers/corpus")).expect("the corpus") {
        let name = entry.expect("a folder").file_name();
        assert!(TARGETS.iter().any(|t| name == t.name), "{name:?}");
    }
}

#[test]
fn every_reader_has_its_fuzz_target() {
    let manifest = fs::read_to_string(tests().join("fuzz/Cargo.toml")).expect("a manifest");
    for FuzzTarget { name, .. } in TARGETS {
        let path = format!("targets/{name}.rs");
        assert!(
            manifest.contains(&format!("name = \"{name}\"\npath = \"{path}\"")),
            "{name}"
        );
        let text = fs::read_to_string(tests().join("fuzz").join(&path)).expect(name);
        assert!(text.contains(&format!("::{name}(bytes)")), "{path}");
    }
}
