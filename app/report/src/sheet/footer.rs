//! The foot of the page: where the numbers come from, and what to take care of.

use super::facts::Facts;
use super::legend;
use crate::page::{Align, Page, Rect};
use crate::page::{style, text};

const HEAD: f32 = 48.0;
const LINE: f32 = 15.5;
const BELOW: f32 = 34.0;
const GAP: f32 = 48.0;
const LABEL: f32 = 104.0;
const NOTE_INDENT: f32 = 16.0;
/// Warnings beyond this many are counted in one line.
const MOST_WARNINGS: usize = 8;

/// Height of the foot at a width.
pub(super) fn height(facts: &Facts, width: f32) -> f32 {
    let columns = columns(width);
    let sources: usize = sources(facts, columns.0).iter().map(|s| s.1.len()).sum();
    let notes: usize = notes(facts, columns.1).iter().map(|n| n.lines.len()).sum();
    HEAD + LINE * sources.max(notes) as f32 + BELOW
}

/// Draws the foot.
pub(super) fn draw(page: &mut Page, facts: &Facts, area: Rect) {
    page.line((area.x, area.y), (area.right(), area.y), style::LINE, 1.0);
    let columns = columns(area.width);
    let right = area.x + columns.0 + GAP;
    let head = area.y + 25.0;
    page.text(
        "Where the numbers come from",
        (area.x, head),
        &style::HEADING,
        Align::Left,
    );
    page.text(
        "Before you print",
        (right, head),
        &style::HEADING,
        Align::Left,
    );
    let first = area.y + HEAD;
    let mut y = first;
    for (label, lines) in sources(facts, columns.0) {
        page.fitted(&label, (area.x, y), &style::NOTE, Align::Left, LABEL - 12.0);
        for line in lines {
            page.text(&line, (area.x + LABEL, y), &style::FOOT, Align::Left);
            y += LINE;
        }
    }
    let mut y = first;
    for note in notes(facts, columns.1) {
        if note.warning {
            sign(page, (right, y));
        } else {
            page.text("–", (right, y), &style::NOTE, Align::Left);
        }
        for line in note.lines {
            page.text(&line, (right + NOTE_INDENT, y), &style::FOOT, Align::Left);
            y += LINE;
        }
    }
}

/// A small triangle before a warning.
fn sign(page: &mut Page, (x, y): (f32, f32)) {
    page.shape(
        &[(x, y + 0.5), (x + 4.5, y - 8.0), (x + 9.0, y + 0.5)],
        style::ALERT,
    );
}

/// Widths of the two columns; the second stands under the second column of regions.
fn columns(width: f32) -> (f32, f32) {
    let second = legend::second_column(width);
    (second - GAP, width - second)
}

fn sources(facts: &Facts, column: f32) -> Vec<(String, Vec<String>)> {
    let value = |value: &str| text::wrapped(value, &style::FOOT, column - LABEL);
    facts
        .provenance
        .iter()
        .map(|fact| (fact.label.clone(), value(&fact.value)))
        .collect()
}

/// A warning or caution in lines.
struct Note {
    warning: bool,
    lines: Vec<String>,
}

/// This part's warnings, then what holds for any part.
fn notes(facts: &Facts, column: f32) -> Vec<Note> {
    let wrap = |text: &str| text::wrapped(text, &style::FOOT, column - NOTE_INDENT);
    let warning = |text: &str| Note {
        warning: true,
        lines: wrap(text),
    };
    let mut notes: Vec<Note> = facts
        .warnings
        .iter()
        .take(MOST_WARNINGS)
        .map(|text| warning(text))
        .collect();
    let more = facts.warnings.len().saturating_sub(MOST_WARNINGS);
    if more > 0 {
        notes.push(warning(&format!("and {more} more in the schedule")));
    }
    notes.extend(facts.cautions.iter().map(|text| Note {
        warning: false,
        lines: wrap(text),
    }));
    notes
}
