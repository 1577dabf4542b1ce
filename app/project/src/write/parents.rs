//! Folders that a file needs, made on the way and removed again.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Makes a folder and the missing ones above it; gives those made, outermost first.
pub(super) fn make(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let missing: Vec<PathBuf> = folder
        .ancestors()
        .take_while(|p| !p.as_os_str().is_empty() && !p.exists())
        .map(Path::to_owned)
        .collect();
    let mut made = Vec::new();
    for path in missing.into_iter().rev() {
        match fs::create_dir(&path) {
            Ok(()) => made.push(path),
            // Another program was quicker.
            Err(_) if path.is_dir() => {}
            Err(error) => {
                remove(&made);
                return Err(error);
            }
        }
    }
    Ok(made)
}

/// Removes folders that we made, innermost first, as far as they are empty.
pub(super) fn remove(made: &[PathBuf]) {
    for path in made.iter().rev() {
        let _ = fs::remove_dir(path);
    }
}
