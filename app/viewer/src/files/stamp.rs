//! Whether a file on disk is still the one that was read.

use std::hash::{DefaultHasher, Hasher};
use std::path::Path;
use std::time::SystemTime;

/// What a small file holds, as far as one file is to be told from another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Contents {
    bytes: usize,
    hash: u64,
}

impl Contents {
    /// Of a file; `None` when it is not there or can't be read.
    pub fn of(file: &Path) -> Option<Self> {
        std::fs::read(file).ok().map(|bytes| Self::of_bytes(&bytes))
    }

    /// Of what is written to a file.
    pub fn of_bytes(bytes: &[u8]) -> Self {
        let mut hasher = DefaultHasher::new();
        hasher.write(bytes);
        Self {
            bytes: bytes.len(),
            hash: hasher.finish(),
        }
    }
}

/// Length and time of a large file: what changes when somebody writes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    bytes: u64,
    modified: Option<SystemTime>,
}

impl Stamp {
    /// Of a file; `None` when it is not there.
    pub fn of(file: &Path) -> Option<Self> {
        let data = std::fs::metadata(file).ok()?;
        Some(Self {
            bytes: data.len(),
            modified: data.modified().ok(),
        })
    }
}

/// The files of the open part as they were read or written here last.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OnDisk {
    /// The plan's file; none before there is one.
    pub plan: Option<Contents>,
    /// The mesh's file.
    pub mesh: Option<Stamp>,
}

impl OnDisk {
    /// As the files are now.
    pub fn now(plan: Option<&Path>, mesh: Option<&Path>) -> Self {
        Self {
            plan: plan.and_then(Contents::of),
            mesh: mesh.and_then(Stamp::of),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_written_anew_with_the_same_bytes_is_the_same() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("a.plan.ron");
        assert_eq!(Contents::of(&file), None);
        std::fs::write(&file, "one").expect("written");
        let first = Contents::of(&file);
        std::fs::write(&file, "one").expect("written");
        assert_eq!(Contents::of(&file), first);
        std::fs::write(&file, "two").expect("written");
        assert_ne!(Contents::of(&file), first);
    }
}
