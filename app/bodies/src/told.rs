//! What a person should know, in words.

use blend::ciede2000;
use geometry::bodies::{Merged, Partition, Piece};
use geometry::inspect::{place_words, volume_words};
use plan::Painted;

use crate::choice::Choice;
use crate::options::Depth;

/// The name of a stored blend: the region that most of it shows, and its shares in per cent where
/// others have the same region.
pub(crate) fn name(painted: &Painted, choice: &Choice, tool: usize) -> String {
    let regions = &painted.plan().regions;
    let region = choice.region.get(tool).copied().unwrap_or(0);
    let name = match regions.get(region).map(|r| r.name.trim()) {
        Some(name) if !name.is_empty() => name.to_owned(),
        _ => format!("Tool {tool}"),
    };
    let alike = choice.region.iter().filter(|r| **r == region).count();
    match (alike > 1, choice.blends.get(tool)) {
        (true, Some(shares)) => format!("{name} {shares}"),
        _ => name,
    }
}

/// Skin that has no body of its own.
pub(crate) fn given_up(
    partition: &Partition,
    name: &dyn Fn(u32) -> String,
    notes: &mut Vec<String>,
) {
    for lost in partition.given_up() {
        notes.push(format!(
            "{:.2} mm² of '{}' near {} is too crowded for its own body; it has the blend below it.",
            lost.area_mm2,
            name(lost.label),
            place_words(lost.at_mm)
        ));
    }
}

/// Where bodies are less than half as deep as was asked for.
pub(crate) fn shallow(
    partition: &Partition,
    depth: Depth,
    depth_mm: f64,
    name: &dyn Fn(u32) -> String,
    notes: &mut Vec<String>,
) {
    if depth == Depth::Through {
        return;
    }
    for found in partition.shallow() {
        let part = found.area_mm2 / found.of_mm2;
        if part >= 0.05 {
            notes.push(format!(
                "'{}' is less than {:.1} mm deep below {:.0} % of its area: the part is thin \
                 there.",
                name(found.label),
                0.5 * depth_mm,
                100.0 * part
            ));
        }
    }
}

/// Pieces thinner than a line.
pub(crate) fn thin(
    pieces: &[Piece],
    line_mm: f64,
    name: &dyn Fn(u32) -> String,
    notes: &mut Vec<String>,
) {
    for label in labels(pieces.iter().map(|p| p.label)) {
        let own: Vec<&Piece> = pieces.iter().filter(|p| p.label == label).collect();
        let Some(largest) = own
            .iter()
            .max_by(|a, b| a.volume_mm3.total_cmp(&b.volume_mm3))
        else {
            continue;
        };
        let count = match own.len() {
            1 => "1 piece".to_owned(),
            count => format!("{count} pieces"),
        };
        notes.push(format!(
            "'{}': {count} thinner than a line of {line_mm} mm; the largest has {} near {}. The \
             print step may leave them out; --merge-thin merges them into their neighbours.",
            name(label),
            volume_words(largest.volume_mm3),
            place_words(largest.at_mm)
        ));
    }
}

/// Pieces that were given to their neighbours.
pub(crate) fn merged(
    merged: &[Merged],
    choice: &Choice,
    name: &dyn Fn(u32) -> String,
    notes: &mut Vec<String>,
) {
    for label in labels(merged.iter().map(|m| m.piece.label)) {
        let own: Vec<&Merged> = merged.iter().filter(|m| m.piece.label == label).collect();
        let visible: f64 = own.iter().map(|m| m.visible_mm2).sum();
        let lab = |tool: u32| choice.labs.get(tool as usize).copied();
        let off = own
            .iter()
            .filter_map(|m| Some(ciede2000(lab(label)?, lab(m.into)?)));
        notes.push(format!(
            "'{}': {} thinner than a line merged into their neighbours; {visible:.2} mm² of the \
             skin is off by up to ΔE00 {:.1}.",
            name(label),
            match own.len() {
                1 => "1 piece".to_owned(),
                count => format!("{count} pieces"),
            },
            off.fold(0.0, f64::max)
        ));
    }
}

fn labels(all: impl Iterator<Item = u32>) -> Vec<u32> {
    let mut labels: Vec<u32> = all.collect();
    labels.sort_unstable();
    labels.dedup();
    labels
}
