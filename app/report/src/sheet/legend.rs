//! Spools, regions and totals, side by side; regions flow into as many rows as they need.

use super::facts::{Fact, Facts, RegionFact, SpoolFact};
use crate::amount::amount;
use crate::page::{Align, Page, Rect};
use crate::page::{style, text};

const HEAD: f32 = 50.0;
const ROW: f32 = 38.0;
const TOTAL_ROW: f32 = 21.0;
const BELOW: f32 = 16.0;
const GAP: f32 = 44.0;
const SPOOLS: f32 = 340.0;
const TOTALS: f32 = 232.0;
const REGION_GAP: f32 = 36.0;
/// Regions beyond this many are counted in one line.
const MOST_REGIONS: usize = 60;

/// Height of the block at a width.
pub(super) fn height(facts: &Facts, _width: f32) -> f32 {
    let spools = facts.spools.len() as f32 * ROW;
    let regions = region_rows(facts) as f32 * ROW + note_height(facts);
    let totals = facts.totals.len() as f32 * TOTAL_ROW;
    HEAD + spools.max(regions).max(totals) + BELOW
}

/// Where the second column of regions begins, from the left of a block of a width.
pub(crate) fn second_column(width: f32) -> f32 {
    let regions = width - SPOOLS - TOTALS - 2.0 * GAP;
    SPOOLS + GAP + (regions + REGION_GAP) / 2.0
}

/// Draws the block.
pub(super) fn draw(page: &mut Page, facts: &Facts, area: Rect) {
    page.line((area.x, area.y), (area.right(), area.y), style::LINE, 1.0);
    let spools = Rect {
        width: SPOOLS,
        ..area
    };
    let (rest, totals_area) = area.split_right(TOTALS, GAP);
    let regions = Rect {
        x: spools.right() + GAP,
        width: rest.right() - spools.right() - GAP,
        ..area
    };
    draw_spools(page, &facts.spools, spools);
    draw_regions(page, facts, regions);
    draw_totals(page, &facts.totals, totals_area);
}

fn draw_spools(page: &mut Page, spools: &[SpoolFact], area: Rect) {
    page.text(
        "Spools",
        (area.x, area.y + 25.0),
        &style::HEADING,
        Align::Left,
    );
    for (i, spool) in spools.iter().enumerate() {
        let y = area.y + HEAD + ROW * i as f32;
        draw_spool(page, i + 1, spool, Rect { y, ..area });
    }
}

fn draw_spool(page: &mut Page, number: usize, spool: &SpoolFact, row: Rect) {
    let (upper, lower) = (row.y, row.y + 14.5);
    let swatch = Rect {
        x: row.x,
        y: row.y - 11.0,
        width: 28.0,
        height: 28.0,
    };
    page.swatch(swatch, &[spool.colour]);
    let mass = format!("{} g", amount(spool.mass_g));
    let length = format!("{} m", amount(spool.length_m));
    let right = row.right();
    page.text(&mass, (right, upper), &style::BODY, Align::Right);
    page.text(&length, (right, lower), &style::NOTE, Align::Right);
    let x = row.x + 40.0;
    let room = right - 66.0 - x;
    let name = format!("{number}  {}", spool.name);
    page.fitted(&name, (x, upper), &style::BODY, Align::Left, room);
    let code = spool.colour.to_string();
    let after = x + page.text(&code, (x, lower), &style::CODE, Align::Left);
    let share = format!("{} of the plastic", percent(spool.share));
    let room = right - 66.0 - after - 12.0;
    page.fitted(
        &share,
        (after + 12.0, lower),
        &style::NOTE,
        Align::Left,
        room,
    );
}

fn region_columns(facts: &Facts) -> usize {
    if facts.regions.len() > 1 { 2 } else { 1 }
}

fn region_rows(facts: &Facts) -> usize {
    let shown = facts.regions.len().min(MOST_REGIONS);
    shown.div_ceil(region_columns(facts))
}

fn note_height(facts: &Facts) -> f32 {
    match facts.regions.len() > MOST_REGIONS {
        true => 20.0,
        false => 0.0,
    }
}

fn draw_regions(page: &mut Page, facts: &Facts, area: Rect) {
    let head = (area.x, area.y + 25.0);
    let after = page.text("Regions", head, &style::HEADING, Align::Left);
    page.fitted(
        "from the base up; the later one wins",
        (area.x + after + 12.0, head.1),
        &style::NOTE,
        Align::Left,
        area.width - after - 12.0,
    );
    let rows = region_rows(facts);
    // One region alone keeps the width that it would have beside another.
    let width = (area.width - REGION_GAP) / 2.0;
    for (i, region) in facts.regions.iter().take(MOST_REGIONS).enumerate() {
        let (column, row) = (i / rows.max(1), i % rows.max(1));
        let row = Rect {
            x: area.x + (width + REGION_GAP) * column as f32,
            y: area.y + HEAD + ROW * row as f32,
            width,
            height: ROW,
        };
        draw_region(page, region, row);
    }
    let more = facts.regions.len().saturating_sub(MOST_REGIONS);
    if more > 0 {
        let text = format!("and {more} more in the schedule");
        let y = area.y + HEAD + ROW * rows as f32;
        page.fitted(&text, (area.x, y), &style::NOTE, Align::Left, area.width);
    }
}

fn draw_region(page: &mut Page, region: &RegionFact, row: Rect) {
    let (upper, lower) = (row.y, row.y + 14.5);
    let swatch = Rect {
        x: row.x,
        y: row.y - 11.0,
        width: 52.0,
        height: 28.0,
    };
    page.swatch(swatch, &region.shades);
    let right = row.right();
    let share = percent(region.area_share);
    let taken = page.text(&share, (right, upper), &style::BODY, Align::Right);
    let x = swatch.right() + 12.0;
    let room = right - x - taken - 10.0;
    page.fitted(&region.name, (x, upper), &style::BODY, Align::Left, room);
    let code = codes(region);
    let after = x + page.text(&code, (x, lower), &style::CODE, Align::Left);
    let mut blend = region.blend.clone();
    if let Some(error) = region.uncertainty {
        blend = format!("± {error:.1} ΔE00   {blend}");
    }
    let room = right - after - 12.0;
    page.fitted(&blend, (right, lower), &style::NOTE, Align::Right, room);
}

/// The code of a fixed shade, or of both ends of a fade.
fn codes(region: &RegionFact) -> String {
    match (region.shades.first(), region.shades.last()) {
        (Some(one), Some(other)) if one != other => format!("{one} → {other}"),
        (Some(one), _) => one.to_string(),
        _ => String::new(),
    }
}

fn draw_totals(page: &mut Page, totals: &[Fact], area: Rect) {
    page.text(
        "Totals",
        (area.x, area.y + 25.0),
        &style::HEADING,
        Align::Left,
    );
    for (i, fact) in totals.iter().enumerate() {
        let y = area.y + HEAD + TOTAL_ROW * i as f32;
        let value = text::fitted(&fact.value, &style::BODY, area.width * 0.6);
        let taken = page.text(&value, (area.right(), y), &style::BODY, Align::Right);
        let room = area.width - taken - 10.0;
        page.fitted(&fact.label, (area.x, y), &style::NOTE, Align::Left, room);
    }
}

/// A share in percent.
pub(super) fn percent(share: f64) -> String {
    let percent = share * 100.0;
    match percent {
        p if p > 0.0 && p < 0.05 => "< 0.1 %".to_owned(),
        p if p < 9.95 => format!("{p:.1} %"),
        p => format!("{p:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(percent(0.0), "0.0 %");
        assert_eq!(percent(0.0001), "< 0.1 %");
        assert_eq!(percent(0.0312), "3.1 %");
        assert_eq!(percent(0.4567), "46 %");
    }
}
