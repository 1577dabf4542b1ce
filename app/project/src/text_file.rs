//! Text files from elsewhere, read whole.

// They come from strangers: nothing in them may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// No plan, spool file or machine file is anywhere near this long, bytes.
pub const LONGEST_TEXT: u64 = 16 << 20;

/// A file named in a plan, as seen from here.
pub fn beside(plan: &Path, file: &str) -> PathBuf {
    plan.parent().unwrap_or(Path::new("")).join(file)
}

/// Why a text file can't be read: a clause that goes on from the file's name.
#[derive(Debug, thiserror::Error)]
pub enum TextFileError {
    /// The system says no.
    #[error("can't be read: {0}")]
    Io(#[from] io::Error),
    /// There is something else in its place.
    #[error("is a folder or a device, not a file")]
    NoFile,
    /// It is longer than any such file.
    #[error(
        "is more than {} MiB long, too long for such a text file; is it a mesh?",
        LONGEST_TEXT >> 20
    )]
    TooLong,
    /// It is no UTF-8.
    #[error(
        "line {line}, column {column}: this is not UTF-8 text; save the file as UTF-8, or check \
         that it is the right file"
    )]
    NoText {
        /// The line of the first byte that is none, from 1.
        line: usize,
        /// Its column, from 1.
        column: usize,
    },
}

/// Reads a text file whole.
///
/// # Errors
/// [`TextFileError`].
pub fn read_text(path: &Path) -> Result<String, TextFileError> {
    let data = fs::metadata(path)?;
    if !data.is_file() {
        return Err(TextFileError::NoFile);
    }
    if data.len() > LONGEST_TEXT {
        return Err(TextFileError::TooLong);
    }
    let text = String::from_utf8(fs::read(path)?)
        .map_err(|error| no_text(error.as_bytes(), error.utf8_error()))?;
    // What some editors put before UTF-8 text says nothing.
    Ok(text
        .strip_prefix('\u{feff}')
        .map(str::to_owned)
        .unwrap_or(text))
}

/// Where a file stops being UTF-8 text.
fn no_text(bytes: &[u8], error: std::str::Utf8Error) -> TextFileError {
    let good = bytes.get(..error.valid_up_to()).unwrap_or(bytes);
    let start = good.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    let before = String::from_utf8_lossy(good.get(start..).unwrap_or(&[]));
    TextFileError::NoText {
        line: good.iter().filter(|b| **b == b'\n').count() + 1,
        column: before.chars().count() + 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_16_mib_are_read_and_longer_ones_are_not() {
        let file = tempfile::NamedTempFile::new().unwrap();
        file.as_file().set_len(LONGEST_TEXT).unwrap();
        assert_eq!(read_text(file.path()).unwrap().len() as u64, 16 << 20);
        file.as_file().set_len(LONGEST_TEXT + 1).unwrap();
        let why = read_text(file.path()).unwrap_err().to_string();
        assert!(why.contains("more than 16 MiB long"), "{why}");
    }
}
