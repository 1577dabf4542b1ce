//! What is wrong with a glTF file, in words.

use crate::read::{Format, Problem};

pub(super) fn broken(what: impl Into<String>) -> Problem {
    Problem::broken(Format::Gltf, what)
}

/// A name for a message: short, and printable.
pub(super) fn shown_name(name: &str) -> String {
    let short: String = name.chars().take(40).collect();
    format!("'{}'", short.escape_debug())
}
