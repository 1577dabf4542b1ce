//! CSV tables that people fill in, as spreadsheets write them: with comments after `#`, with
//! blanks about the cells, parted by commas or semicolons.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use csv::{Reader, ReaderBuilder, Trim};

/// The most rows of a table that are read: nobody fills in so many.
pub(crate) const MOST_ROWS: usize = 10_000;

/// What is said of a longer one.
pub(crate) fn too_long() -> String {
    format!("this table has more than {MOST_ROWS} rows; remove rows without readings")
}

/// A reader of such a table. Complaints about its column names belong to [`line_of_heads`].
pub(crate) fn reader(text: &str) -> Reader<&[u8]> {
    ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(Trim::All)
        .delimiter(delimiter(text))
        .from_reader(text.as_bytes())
}

/// The text without the mark that some programs put before it.
pub(crate) fn unmarked(text: &str) -> &str {
    text.strip_prefix('\u{feff}').unwrap_or(text)
}

/// The line of the column names: the first that is neither empty nor a comment. The reader
/// itself counts them to where the comments begin.
pub(crate) fn line_of_heads(text: &str) -> u64 {
    let counts = |line: &str| !line.trim().is_empty() && !line.starts_with('#');
    text.lines().position(counts).map_or(1, |i| i as u64 + 1)
}

/// Where a table is broken, and how.
pub(crate) fn broken(error: &csv::Error) -> (u64, String) {
    let line = error.position().map_or(1, csv::Position::line);
    let what = match error.kind() {
        csv::ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => format!(
            "this row has {len} cells and there are {expected_len} columns; write decimals with a \
             point, and leave unused cells empty instead of removing them"
        ),
        _ => error.to_string(),
    };
    (line, what)
}

/// Spreadsheets of some languages part cells by semicolons.
fn delimiter(text: &str) -> u8 {
    let heads = text
        .lines()
        .find(|line| !line.trim_start().starts_with('#'));
    match heads.is_some_and(|line| line.contains(';') && !line.contains(',')) {
        true => b';',
        false => b',',
    }
}
