//! What is wrong with a 3MF file, in words.

use std::io;

use super::super::limits::{MOST_EXPANSION, OVER_ALLOWANCE};
use super::super::{Format, Problem};

pub(super) fn broken(what: impl Into<String>) -> Problem {
    Problem::broken(Format::ThreeMf, what)
}

/// What is read through the package fails for reasons of content more than of the disk.
pub(super) fn io_in_words(error: io::Error) -> Problem {
    if error.to_string().contains(OVER_ALLOWANCE) {
        return Problem::Refused(format!(
            "it unpacks to more than {MOST_EXPANSION} times its size, which no mesh does"
        ));
    }
    match error.kind() {
        io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => {
            broken(format!(
                "its ZIP package is cut short or damaged ({error}); copy or export it again"
            ))
        }
        _ => Problem::Io(error),
    }
}
