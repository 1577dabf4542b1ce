//! What a stretch of a move asks for.

use plan::schedule::Tint;

/// What a stretch of a move asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Asks {
    /// This tint of its layer.
    Tint(Tint),
    /// Nothing: it is never seen.
    Free,
}
