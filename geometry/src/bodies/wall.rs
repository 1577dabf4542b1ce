//! Walls between a side of the skin and what lies beneath it.

use super::Skin;
use super::partition::CORE;
use crate::surface::Adjacency;

/// The two triangles of the wall beneath a side of a rind's triangle, facing out of it.
pub(super) fn wall([a, b]: [u32; 2], [deep_a, deep_b]: [u32; 2]) -> [[u32; 3]; 2] {
    // Cut the same way whichever triangle asks.
    match a < b {
        true => [[b, a, deep_a], [b, deep_a, deep_b]],
        false => [[b, a, deep_b], [a, deep_a, deep_b]],
    }
}

/// What lies beyond a side of a rind's triangle, if a wall is to stand there; each wall is told
/// by one of the two triangles only.
pub(super) fn wall_across(
    skin: &Skin,
    painted: &[bool],
    adjacency: &Adjacency,
    triangle: usize,
    side: usize,
) -> Option<u32> {
    let (other, _) = adjacency.across(triangle as u32, side).next()?;
    if !painted[other as usize] {
        return Some(CORE);
    }
    let label = skin.label[other as usize];
    (label != skin.label[triangle] && triangle < other as usize).then_some(label)
}
