//! The table in every form, in a folder with an empty table for what is seen.

use std::path::Path;

use plan::schedule::Provenance;
use plan::watch::Watch;
use project::write::{Folder, WriteError};

use super::{page, text, write_csv};

/// The table for what is seen.
pub const SEEN: &str = "seen.csv";

/// Why the table is not written.
#[derive(Debug, thiserror::Error)]
pub enum WatchFilesError {
    /// The page would be too large.
    #[error("the page would be too large; choose a greater distance between rows")]
    TooLarge,
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes them; `seen` is the empty table. One that is there is replaced: whoever calls makes sure
/// that nobody has written into it.
///
/// # Errors
/// [`WatchFilesError`]; nothing is written then.
pub fn write(
    folder: &Path,
    table: &Watch,
    from: &Provenance,
    seen: &str,
) -> Result<(), WatchFilesError> {
    let page = page(table, from).ok_or(WatchFilesError::TooLarge)?;
    let mut set = Folder::new(folder)?;
    set.bytes("watch.txt", text(table, from).as_bytes())?;
    set.file("watch.csv", |out| write_csv(table, from, out))?;
    set.file("watch.png", |out| page.image.write_png(out))?;
    set.bytes(SEEN, seen.as_bytes())?;
    set.commit()?;
    Ok(())
}
