//! Writing that never leaves half a file: beside, synced, renamed into place.
//!
//! Every file of this workspace is written through here. Until the last byte is on disk the
//! old file stays as it was; whatever fails, the temporary file is removed. A program that is
//! killed can't do that: what it leaves (`.writing-….tmp`) is swept out by the next writing into
//! the same folder that comes a minute later or more.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let folder = tempfile::tempdir()?;
//! let path = folder.path().join("note.txt");
//! project::write::bytes(&path, b"first")?;
//! let failed = project::write::file(&path, |out| {
//!     out.write_all(b"sec")?;
//!     Err(std::io::Error::other("the disk is full"))
//! });
//! assert!(failed.is_err());
//! assert_eq!(std::fs::read(&path)?, b"first");
//! # Ok(())
//! # }
//! ```

mod file;
mod folder;
mod parents;
mod tree;
mod unfinished;

use std::io;
use std::path::{Path, PathBuf};

pub use file::{bytes, file};
pub use folder::Folder;
pub use tree::tree;
pub use unfinished::give_up;

/// Why a file or folder could not be written. What was there before is untouched.
#[derive(Debug, thiserror::Error)]
#[error("can't {doing} {}: {source}", path.display())]
pub struct WriteError {
    /// The file or folder.
    pub path: PathBuf,
    /// What was being done to it.
    pub doing: &'static str,
    /// What the system says.
    pub source: io::Error,
}

impl WriteError {
    fn new(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self {
            path,
            doing,
            source,
        }
    }
}

/// The folder that holds a path; the present one for a bare name.
fn parent_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Makes a rename last through a power cut, where the system can sync a folder.
fn sync_folder(folder: &Path) {
    // Some systems can't open a folder as a file; the rename has happened all the same.
    if let Ok(handle) = std::fs::File::open(folder) {
        let _ = handle.sync_all();
    }
}
