//! The head of the page: what the part is, and what the sheet belongs to.

use super::facts::Facts;
use crate::page::{Align, Page, Rect};
use crate::page::{style, text};

/// Height of the head with the space beneath it.
pub(crate) const HEIGHT: f32 = 138.0;

/// Draws the head.
pub(super) fn draw(page: &mut Page, facts: &Facts, area: Rect) {
    let stamp = facts
        .stamp
        .iter()
        .map(|line| text::width(line, &style::CODE))
        .fold(0.0, f32::max)
        .min(area.width * 0.4);
    for (i, line) in facts.stamp.iter().take(4).enumerate() {
        let at = (area.right(), 58.0 + 16.0 * i as f32);
        page.fitted(line, at, &style::CODE, Align::Right, stamp);
    }
    let room = area.width - stamp - 40.0;
    page.fitted(
        &facts.title,
        (area.x - 1.5, 74.0),
        &style::TITLE,
        Align::Left,
        room,
    );
    page.fitted(
        &facts.subtitle,
        (area.x, 100.0),
        &style::SUBTITLE,
        Align::Left,
        room,
    );
    let y = 120.0;
    page.line((area.x, y), (area.right(), y), style::LINE, 1.0);
}
