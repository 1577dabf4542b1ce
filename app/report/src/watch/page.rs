//! The table as a page to print: upright A4, with room for ticks.

use plan::schedule::Provenance;
use plan::watch::{Watch, WatchRow};

use crate::page::{Align, Finished, Page, Rect, style, text};

/// The page in units, and pixels to a unit: A4 (ISO 216).
const SIZE: (f32, f32) = (990.0, 1400.0);
const SCALE: f32 = 2.0;
const MARGIN: f32 = 56.0;
const HEAD: f32 = 150.0;
const FOOT: f32 = 130.0;
const MOST_ROW: f32 = 26.0;
/// Height, layers and minutes.
const FIRST: f32 = 190.0;
/// The least width of a drive's columns; many drives make the page wider.
const LEAST_DRIVE: f32 = 168.0;

/// Draws the page; nothing when it would be too large a picture.
pub fn page(watch: &Watch, from: &Provenance) -> Option<Finished> {
    let count = watch.spools.len().max(1) as f32;
    let width = SIZE.0.max(2.0 * MARGIN + FIRST + LEAST_DRIVE * count);
    let mut page = Page::new(width, SIZE.1, SCALE)?;
    let area = Rect {
        x: MARGIN,
        y: HEAD,
        width: width - 2.0 * MARGIN,
        height: SIZE.1 - HEAD - FOOT,
    };
    head(&mut page, from, area);
    let each = (area.width - FIRST) / count;
    titles(&mut page, watch, area, each);
    let step = (area.height / (watch.rows.len() + 1) as f32).min(MOST_ROW);
    let first = area.y + 24.0;
    for (i, row) in watch.rows.iter().enumerate() {
        let y = first + step * i as f32;
        draw_row(&mut page, row, (area, y), each, step);
    }
    let end = first + step * (watch.rows.len() as f32 - 0.5);
    for i in 0..watch.spools.len() {
        let x = area.x + FIRST + each * i as f32 - 4.0;
        page.line((x, area.y - 32.0), (x, end), style::LINE, 0.8);
    }
    foot(&mut page, from, area, end + 40.0);
    Some(page.finish())
}

fn head(page: &mut Page, from: &Provenance, area: Rect) {
    let title = match from.title.trim() {
        "" => &from.mesh_file,
        title => title,
    };
    page.fitted(
        title,
        (area.x, 62.0),
        &style::TITLE,
        Align::Left,
        area.width,
    );
    let plan: String = from.plan_sha256.chars().take(16).collect();
    let line = format!("What each drive must have done at each height   ·   plan {plan}");
    page.fitted(
        &line,
        (area.x, 86.0),
        &style::SUBTITLE,
        Align::Left,
        area.width,
    );
}

fn titles(page: &mut Page, watch: &Watch, area: Rect, each: f32) {
    let y = area.y;
    for (title, right) in [("mm", 56.0), ("layers", 112.0), ("min", 160.0)] {
        page.text(title, (area.x + right, y), &style::NOTE, Align::Right);
    }
    for (i, name) in watch.spools.iter().enumerate() {
        let x = area.x + FIRST + each * i as f32;
        let name = format!("{}  {name}", i + 1);
        page.fitted(
            &name,
            (x + 4.0, y - 18.0),
            &style::BODY,
            Align::Left,
            each - 12.0,
        );
        for (title, right) in columns(each) {
            page.text(title, (x + right, y), &style::NOTE, Align::Right);
        }
    }
    page.line((area.x, y + 7.0), (area.right(), y + 7.0), style::SOFT, 0.8);
}

/// Titles and right edges of a drive's columns.
fn columns(each: f32) -> [(&'static str, f32); 3] {
    let room = each - 34.0;
    [
        ("turns", 0.34 * room),
        ("since", 0.66 * room),
        ("filament mm", room),
    ]
}

fn draw_row(page: &mut Page, row: &WatchRow, (area, y): (Rect, f32), each: f32, step: f32) {
    for (value, right) in [
        (format!("{:.2}", row.height_mm), 56.0),
        (row.layers.to_string(), 112.0),
        (format!("{:.0}", row.minutes), 160.0),
    ] {
        page.text(&value, (area.x + right, y), &style::BODY, Align::Right);
    }
    for (i, drive) in row.drives.iter().enumerate() {
        let x = area.x + FIRST + each * i as f32;
        let values = [
            format!("{:.2}", drive.turns),
            format!("{:.2}", drive.turns_since),
            format!("{:.1}", drive.filament_mm),
        ];
        for ((_, right), value) in columns(each).into_iter().zip(values) {
            page.text(&value, (x + right, y), &style::BODY, Align::Right);
        }
        tick_box(page, (x + each - 26.0, y - 9.5));
    }
    let line = y + 0.28 * step + 2.0;
    page.line((area.x, line), (area.right(), line), style::LINE, 0.6);
}

/// A box to tick when a row agrees.
fn tick_box(page: &mut Page, (x, y): (f32, f32)) {
    let side = 10.0;
    let corners = [
        (x, y),
        (x + side, y),
        (x + side, y + side),
        (x, y + side),
        (x, y),
    ];
    page.lines(&corners, style::SOFT, 0.8);
}

fn foot(page: &mut Page, from: &Provenance, area: Rect, mut y: f32) {
    for note in [super::HOW, &super::plastic(from), super::CARE] {
        for line in text::wrapped(note, &style::FOOT, area.width) {
            page.text(&line, (area.x, y), &style::FOOT, Align::Left);
            y += 15.5;
        }
    }
}
