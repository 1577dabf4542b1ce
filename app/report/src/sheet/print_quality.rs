//! What comes out and what it costs, in figures, and what would cut the waste.

use super::facts::{Fact, Facts};
use super::legend;
use crate::page::{Align, Page, Rect};
use crate::page::{style, text};

const HEAD: f32 = 44.0;
const ROW: f32 = 21.0;
const LINE: f32 = 15.5;
const BELOW: f32 = 8.0;
const GAP: f32 = 48.0;
/// Between the two columns of figures.
const BETWEEN: f32 = 36.0;
/// Room for a saving.
const SAVING: f32 = 92.0;
/// Suggestions beyond these stand in the summary only.
const MOST: usize = 3;

/// Height of the block at a width; nothing where there is nothing to say.
pub(super) fn height(facts: &Facts, width: f32) -> f32 {
    if facts.outcome.is_empty() && facts.savings.is_empty() {
        return 0.0;
    }
    let figures = ROW * facts.outcome.len().div_ceil(2) as f32;
    let lines: usize = savings(facts, width).iter().map(|s| s.lines.len()).sum();
    HEAD + figures.max(LINE * lines as f32) + BELOW
}

/// Draws it.
pub(super) fn draw(page: &mut Page, facts: &Facts, area: Rect) {
    if area.height <= 0.0 {
        return;
    }
    page.line((area.x, area.y), (area.right(), area.y), style::LINE, 1.0);
    let head = area.y + 25.0;
    page.text("As printed", (area.x, head), &style::HEADING, Align::Left);
    let (left, second) = columns(area.width);
    let width = (left - BETWEEN) / 2.0;
    let rows = facts.outcome.len().div_ceil(2).max(1);
    for (i, fact) in facts.outcome.iter().enumerate() {
        let x = area.x + (width + BETWEEN) * (i / rows) as f32;
        let y = area.y + HEAD + ROW * (i % rows) as f32;
        draw_figure(page, fact, (x, y), width);
    }
    let x = area.x + second;
    let title = match facts.savings.is_empty() {
        true => return,
        false => "How to reduce the waste",
    };
    page.text(title, (x, head), &style::HEADING, Align::Left);
    let mut y = area.y + HEAD;
    for saving in savings(facts, area.width) {
        page.fitted(
            saving.value,
            (area.right(), y),
            &style::NOTE,
            Align::Right,
            SAVING,
        );
        for line in saving.lines {
            page.text(&line, (x, y), &style::FOOT, Align::Left);
            y += LINE;
        }
    }
}

fn draw_figure(page: &mut Page, fact: &Fact, (x, y): (f32, f32), width: f32) {
    let value = text::fitted(&fact.value, &style::BODY, width * 0.62);
    let taken = page.text(&value, (x + width, y), &style::BODY, Align::Right);
    let room = width - taken - 10.0;
    page.fitted(&fact.label, (x, y), &style::NOTE, Align::Left, room);
}

/// Width of the figures, and where the suggestions begin.
fn columns(width: f32) -> (f32, f32) {
    let second = legend::second_column(width);
    (second - GAP, second)
}

/// A suggestion in lines.
struct Saving<'a> {
    value: &'a str,
    lines: Vec<String>,
}

fn savings(facts: &Facts, width: f32) -> Vec<Saving<'_>> {
    let room = width - columns(width).1 - SAVING - 10.0;
    facts
        .savings
        .iter()
        .take(MOST)
        .map(|fact| Saving {
            value: &fact.value,
            lines: text::wrapped(&fact.label, &style::FOOT, room),
        })
        .collect()
}
