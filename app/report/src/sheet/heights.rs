//! The ribbon: colours by height beside a millimetre ruler, how much skin lies at each
//! height, and where regions begin and end.

use super::facts::{Heights, Mark, Slice};
use super::legend::percent;
use crate::page::text::{Style, Weight};
use crate::page::{Align, Ink, Page, Rect, style};

/// Width of the block.
pub(super) const WIDTH: f32 = 396.0;

/// From the top of the block to the ribbon, and from the ribbon to the foot of the block.
const ABOVE: f32 = 44.0;
const BELOW: f32 = 46.0;
const RULER: f32 = 40.0;
const COLUMNS: f32 = 104.0;
const SEVERAL: f32 = 5.0;
const PROFILE: f32 = 74.0;
const GAP: f32 = 9.0;
/// Bars longer than this many times the scale are marked as cut.
const BEYOND: f32 = 1.02;
/// Least distance of two labels' baselines.
const LABEL_STEP: f32 = 15.0;

/// The part's height against the ribbon's.
struct Axis {
    top_y: f32,
    bottom_y: f32,
    height_mm: f64,
}

impl Axis {
    fn y(&self, height_mm: f64) -> f32 {
        let share = (height_mm / self.height_mm).clamp(0.0, 1.0) as f32;
        self.bottom_y - (self.bottom_y - self.top_y) * share
    }

    fn height(&self, y: f32) -> f64 {
        f64::from((self.bottom_y - y) / (self.bottom_y - self.top_y)) * self.height_mm
    }
}

/// Draws the block.
pub(super) fn draw(page: &mut Page, area: Rect, heights: &Heights) {
    page.text(
        "By height",
        (area.x, area.y + 9.0),
        &style::HEADING,
        Align::Left,
    );
    let axis = Axis {
        top_y: area.y + ABOVE,
        bottom_y: area.bottom() - BELOW,
        height_mm: heights.slices.last().map_or(0.0, |s| s.top_mm).max(1e-6),
    };
    ruler(page, &axis, area.x + RULER);
    let columns = Rect {
        x: area.x + RULER + GAP,
        y: axis.top_y,
        width: COLUMNS,
        height: axis.bottom_y - axis.top_y,
    };
    draw_columns(page, &axis, columns, heights);
    let several = Rect {
        x: columns.right() + 3.0,
        width: SEVERAL,
        ..columns
    };
    draw_several(page, &axis, several, &heights.slices);
    let profile = Rect {
        x: several.right() + GAP,
        width: PROFILE,
        ..columns
    };
    draw_profile(page, &axis, profile, &heights.slices);
    let labels = Rect {
        x: profile.right() + 4.0,
        width: area.right() - profile.right() - 4.0,
        ..columns
    };
    draw_marks(page, &axis, columns.x, labels, &heights.marks);
    explain(page, columns.x, columns.bottom() + 34.0, &heights.slices);
}

/// A step of 1, 2 or 5 times a power of ten, about a tenth of the height.
fn ruler_step_mm(height_mm: f64, room: f32) -> f64 {
    let least = height_mm * f64::from(26.0 / room.max(1.0));
    let power = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|step| *step >= least)
        .unwrap_or(height_mm)
}

fn ruler(page: &mut Page, axis: &Axis, right: f32) {
    let step = ruler_step_mm(axis.height_mm, axis.bottom_y - axis.top_y);
    page.line(
        (right, axis.top_y),
        (right, axis.bottom_y),
        style::SOFT,
        0.8,
    );
    page.text(
        "mm",
        (right - 8.0, axis.top_y - 10.0),
        &style::NOTE,
        Align::Right,
    );
    let digits = match step {
        s if s < 0.095 => 2,
        s if s < 0.95 => 1,
        _ => 0,
    };
    let count = (axis.height_mm / step + 1e-9).floor() as usize;
    for i in 0..=count {
        let y = axis.y(i as f64 * step);
        page.line((right - 5.0, y), (right, y), style::SOFT, 0.8);
        let label = format!("{:.digits$}", i as f64 * step);
        page.text(&label, (right - 9.0, y + 3.6), &style::NOTE, Align::Right);
        let half = (i as f64 + 0.5) * step;
        if half < axis.height_mm {
            let y = axis.y(half);
            page.line((right - 3.0, y), (right, y), style::SOFT, 0.6);
        }
    }
}

fn draw_columns(page: &mut Page, axis: &Axis, area: Rect, heights: &Heights) {
    let count = heights.columns.len().max(1) as f32;
    let gap = 6.0;
    let width = (area.width - gap * (count - 1.0)) / count;
    for (i, column) in heights.columns.iter().enumerate() {
        let rect = Rect {
            x: area.x + (width + gap) * i as f32,
            width,
            ..area
        };
        page.fitted(
            &column.title,
            (rect.x, area.y - 10.0),
            &style::NOTE,
            Align::Left,
            width,
        );
        each_row(page, axis, |page, slice, y_px| {
            let index = slice_at(&heights.slices, slice);
            let shades = index.and_then(|i| column.slices.get(i));
            let mut x = rect.x;
            for shade in shades.into_iter().flatten() {
                let to = x + rect.width * shade.share as f32;
                page.row((x, to), y_px, Ink::of(shade.colour));
                x = to;
            }
        });
        outline(page, rect);
    }
}

/// Calls for each row of pixels on the axis with the height at its middle.
fn each_row(page: &mut Page, axis: &Axis, mut draw: impl FnMut(&mut Page, f64, u32)) {
    let scale = page.scale();
    let rows = (axis.top_y * scale).round() as u32..(axis.bottom_y * scale).round() as u32;
    for y_px in rows {
        let height = axis.height((y_px as f32 + 0.5) / scale);
        draw(page, height, y_px);
    }
}

/// Index of the slice at a height.
fn slice_at(slices: &[Slice], height_mm: f64) -> Option<usize> {
    let index = slices.partition_point(|s| s.top_mm <= height_mm);
    slices
        .get(index)
        .filter(|s| s.bottom_mm <= height_mm)
        .map(|_| index)
}

fn outline(page: &mut Page, rect: Rect) {
    let (l, t, r, b) = (rect.x, rect.y, rect.right(), rect.bottom());
    let corners = [(l, t), (r, t), (r, b), (l, b), (l, t)];
    page.lines(&corners, style::EDGE, 1.0);
}

fn draw_several(page: &mut Page, axis: &Axis, area: Rect, slices: &[Slice]) {
    each_row(page, axis, |page, height, y_px| {
        let slice = slice_at(slices, height).and_then(|i| slices.get(i));
        if slice.is_some_and(|s| s.blends > 1) {
            page.row((area.x, area.right()), y_px, style::DARK);
        }
    });
}

/// Share of the whole skin per mm of height, 0 to 1.
fn density(slice: &Slice, total_mm2: f64) -> f64 {
    let height = (slice.top_mm - slice.bottom_mm).max(1e-9);
    slice.area_mm2 / height / total_mm2.max(1e-12)
}

/// The scale of the profile: the densest slice, but that a flat face within one thin layer
/// may not press all others to nothing.
fn densest(slices: &[Slice]) -> f64 {
    let total = total(slices);
    let mut all: Vec<f64> = slices.iter().map(|s| density(s, total)).collect();
    all.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let index = (all.len().saturating_sub(1) as f64 * share).round() as usize;
        all.get(index).copied().unwrap_or(0.0)
    };
    at(1.0).min(at(0.95) * 1.25).max(1e-12)
}

fn total(slices: &[Slice]) -> f64 {
    slices.iter().map(|s| s.area_mm2).sum()
}

fn draw_profile(page: &mut Page, axis: &Axis, area: Rect, slices: &[Slice]) {
    let (total, full) = (total(slices), densest(slices));
    page.text(
        "visible area",
        (area.x, area.y - 10.0),
        &style::NOTE,
        Align::Left,
    );
    let reach = |slice: &Slice| (density(slice, total) / full) as f32;
    each_row(page, axis, |page, height, y_px| {
        let Some(slice) = slice_at(slices, height).and_then(|i| slices.get(i)) else {
            return;
        };
        let end = area.x + area.width * reach(slice).min(1.0);
        page.row((area.x, end), y_px, style::FILL);
        if reach(slice) > BEYOND {
            page.row((end - SEVERAL, end), y_px, style::SOFT);
        }
    });
    page.line((area.x, area.y), (area.x, area.bottom()), style::SOFT, 0.8);
    // A flat part has most of its skin in a few layers: more than all of it in a whole mm.
    let scale = match full > 0.5 {
        true => format!("{} per 0.1 mm", percent(full / 10.0)),
        false => format!("{} per mm", percent(full)),
    };
    page.text(
        "0",
        (area.x, area.bottom() + 16.0),
        &style::NOTE,
        Align::Middle,
    );
    page.line(
        (area.x, area.bottom()),
        (area.x + area.width, area.bottom()),
        style::LINE,
        0.8,
    );
    page.text(
        &scale,
        (area.right() + 30.0, area.bottom() + 16.0),
        &style::NOTE,
        Align::Right,
    );
}

/// Labels in the heights' order, moved apart where they would touch.
fn label_places(wanted: &[f32], top: f32, bottom: f32) -> Vec<f32> {
    // From the bottom upwards: each at least a step above the one below.
    let mut places: Vec<f32> = Vec::with_capacity(wanted.len());
    for &y in wanted {
        let free = places.last().map_or(bottom, |last| last - LABEL_STEP);
        places.push(y.min(free));
    }
    // What was pushed out at the top comes back down and pushes the others.
    let mut limit = top;
    for place in places.iter_mut().rev() {
        *place = place.max(limit);
        limit = *place + LABEL_STEP;
    }
    places
}

fn draw_marks(page: &mut Page, axis: &Axis, left: f32, area: Rect, marks: &[Mark]) {
    const NUMBER: Style = Style::new(10.5, Weight::Plain, style::DARK);
    let most = ((area.height / LABEL_STEP) as usize).max(1);
    let shown = match marks.len() > most {
        true => &marks[..most - 1],
        false => marks,
    };
    let wanted: Vec<f32> = shown.iter().map(|m| axis.y(m.height_mm)).collect();
    let head_room = match shown.len() < marks.len() {
        true => LABEL_STEP,
        false => 0.0,
    };
    let places = label_places(&wanted, area.y + head_room, area.bottom());
    for ((mark, &at), y) in shown.iter().zip(&wanted).zip(places) {
        let x = area.x + 16.0;
        page.line((left, at), (area.x, at), style::EDGE, 0.8);
        let leader = [(area.x, at), (area.x + 12.0, y)];
        page.lines(&leader, style::EDGE, 0.8);
        let number = height_text(mark.height_mm);
        let after = x + page.text(&number, (x, y + 3.6), &NUMBER, Align::Left) + 7.0;
        let room = area.right() - after;
        page.fitted(
            &mark.text,
            (after, y + 3.6),
            &style::NOTE,
            Align::Left,
            room,
        );
    }
    let more = marks.len() - shown.len();
    if more > 0 {
        let text = format!("… and {more} more above");
        let at = (area.x + 16.0, area.y + 3.6);
        page.fitted(&text, at, &style::NOTE, Align::Left, area.width - 16.0);
    }
}

fn height_text(height_mm: f64) -> String {
    let text = format!("{height_mm:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}

/// The line beneath the ribbon that says what the dark strip and the dark ends are, where
/// there are any.
fn explain(page: &mut Page, left: f32, y: f32, slices: &[Slice]) {
    let (total, full) = (total(slices), densest(slices));
    let several = slices.iter().any(|s| s.blends > 1);
    let beyond = slices
        .iter()
        .any(|s| density(s, total) / full > f64::from(BEYOND));
    let notes = [
        (several, style::DARK, "several blends in one layer"),
        (beyond, style::SOFT, "more than the scale"),
    ];
    let mut x = left;
    for (_, ink, text) in notes.into_iter().filter(|(shown, ..)| *shown) {
        let sample = Rect {
            x,
            y: y - 9.0,
            width: SEVERAL,
            height: 11.0,
        };
        page.block(sample, ink);
        x += SEVERAL + 6.0;
        x += page.text(text, (x, y), &style::NOTE, Align::Left) + 18.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ruler_steps_are_round() {
        assert_eq!(ruler_step_mm(120.0, 500.0), 10.0);
        assert_eq!(ruler_step_mm(6.0, 500.0), 0.5);
        assert_eq!(ruler_step_mm(300.0, 500.0), 20.0);
    }

    #[test]
    fn labels_keep_apart_and_inside() {
        let wanted = [500.0, 499.0, 498.0, 120.0, 101.0, 100.0];
        let places = label_places(&wanted, 100.0, 500.0);
        for pair in places.windows(2) {
            assert!(pair[0] - pair[1] >= LABEL_STEP - 1e-3, "{places:?}");
        }
        assert!(places.iter().all(|p| (99.9..=500.1).contains(p)));
    }

    #[test]
    fn a_height_finds_its_slice() {
        let slice = |bottom_mm, top_mm| Slice {
            bottom_mm,
            top_mm,
            area_mm2: 1.0,
            blends: 1,
        };
        let slices = [slice(0.0, 0.3), slice(0.3, 0.5)];
        assert_eq!(slice_at(&slices, 0.0), Some(0));
        assert_eq!(slice_at(&slices, 0.3), Some(1));
        assert_eq!(slice_at(&slices, 0.5), None);
    }
}
