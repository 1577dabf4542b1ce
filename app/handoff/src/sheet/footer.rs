//! The foot of the page: where the numbers come from, and what to take care of.

use super::facts::Facts;
use super::page::{Align, Page, Rect};
use super::{legend, style, text};

const HEAD: f32 = 48.0;
const LINE: f32 = 15.5;
const BELOW: f32 = 34.0;
const GAP: f32 = 48.0;
const LABEL: f32 = 104.0;

/// Height of the foot at a width.
pub fn height(facts: &Facts, width: f32) -> f32 {
    let columns = columns(width);
    let sources: usize = sources(facts, columns.0).iter().map(|s| s.1.len()).sum();
    let cautions: usize = cautions(facts, columns.1).iter().map(Vec::len).sum();
    HEAD + LINE * sources.max(cautions) as f32 + BELOW
}

/// Draws the foot.
pub fn draw(page: &mut Page, facts: &Facts, area: Rect) {
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
    for lines in cautions(facts, columns.1) {
        page.text("–", (right, y), &style::NOTE, Align::Left);
        for line in lines {
            page.text(&line, (right + 14.0, y), &style::FOOT, Align::Left);
            y += LINE;
        }
    }
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

fn cautions(facts: &Facts, column: f32) -> Vec<Vec<String>> {
    facts
        .cautions
        .iter()
        .map(|caution| text::wrapped(caution, &style::FOOT, column - 14.0))
        .collect()
}
