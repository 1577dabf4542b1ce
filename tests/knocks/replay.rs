//! Every kept file goes to its reader, whole, cut short, and damaged.

use std::fs;
use std::path::{Path, PathBuf};

use tintfall_tests::knocks::{DOORS, Door};

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("knocks/corpus")
}

fn files(door: &Door) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = corpus().join(door.name);
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

#[test]
fn every_kept_file_is_answered() {
    for door in DOORS {
        for (path, bytes) in files(&door) {
            println!("{}", path.display());
            (door.knock)(&bytes);
        }
    }
}

#[test]
fn files_cut_short_and_damaged_are_answered() {
    for door in DOORS {
        for (path, bytes) in files(&door) {
            println!("{}", path.display());
            for part in 1..4 {
                (door.knock)(bytes.get(..bytes.len() * part / 4).unwrap_or_default());
            }
            let mut damaged = bytes.clone();
            if let Some(byte) = damaged.get_mut(bytes.len() / 3) {
                *byte ^= 0x15;
            }
            (door.knock)(&damaged);
        }
    }
}

#[test]
fn every_folder_of_the_corpus_has_a_door() {
    for entry in fs::read_dir(corpus()).expect("the corpus") {
        let name = entry.expect("a folder").file_name();
        assert!(DOORS.iter().any(|d| name == d.name), "{name:?}");
    }
}
