//! The heights that each region covers, side by side where they overlap.

use egui::{Color32, CornerRadius, Rect, Sense, Stroke, StrokeKind, Ui, WidgetInfo, WidgetType};
use geometry::Mask;
use plan::Plan;

use super::sheet::Sheet;
use crate::commands::{Command, Commands};
use crate::model::profile::Profile;
use crate::panels::widgets::{colour32, mm};

const LANE: f32 = 13.0;

/// A region's heights and the lane they are drawn in.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Lane {
    region: usize,
    extent_mm: (f64, f64),
    lane: usize,
}

/// Draws a bar for each region above the base one; a click chooses it.
pub(super) fn draw(ui: &mut Ui, sheet: &Sheet<'_>, send: &mut Commands) {
    let x = sheet.columns.lanes;
    let count = (((x.1 - x.0) / LANE).floor() as usize).max(1);
    for lane in lanes(sheet.view.plan, sheet.view.profile, count) {
        let left = x.0 + LANE * lane.lane as f32;
        let bar = sheet.scale.span(
            (left + 2.0, left + LANE - 2.0),
            lane.extent_mm.0,
            lane.extent_mm.1,
        );
        let bar = bar.with_min_y(bar.top().min(bar.bottom() - 3.0));
        bar_of(ui, sheet, lane, bar, send);
    }
}

fn bar_of(ui: &mut Ui, sheet: &Sheet<'_>, lane: Lane, bar: Rect, send: &mut Commands) {
    let Some(region) = sheet.view.plan.regions.get(lane.region) else {
        return;
    };
    let id = ui.id().with(("lane", lane.region));
    let seen = bar.intersect(sheet.scale.rect);
    if !seen.is_positive() {
        return;
    }
    let response = ui.interact(seen, id, Sense::click());
    let name = format!("Region {} on the ribbon", region.name);
    response.widget_info(|| WidgetInfo::labeled(WidgetType::Button, true, &name));
    let p = sheet.palette;
    let chosen = sheet.view.region == Some(lane.region);
    let edge = match chosen || response.hovered() || response.has_focus() {
        true => Stroke::new(2.0, p.accent),
        false => Stroke::new(1.0, p.quiet),
    };
    ui.painter().rect(
        bar,
        CornerRadius::same(3),
        colour_of(sheet, lane.region),
        edge,
        StrokeKind::Middle,
    );
    if response.clicked() {
        send.send(Command::ChooseRegion(lane.region));
    }
    response.on_hover_text(format!(
        "{}: {} to {} mm",
        region.name,
        mm(lane.extent_mm.0),
        mm(lane.extent_mm.1)
    ));
}

/// The colour in the middle of a region's heights.
fn colour_of(sheet: &Sheet<'_>, region: usize) -> Color32 {
    let colours: Vec<_> = sheet.view.profile.colours(region).collect();
    match colours.get(colours.len() / 2) {
        Some(colour) => colour32(*colour),
        None => sheet.palette.well,
    }
}

/// Finds a lane for each region in which it meets no other, as far as there are lanes.
fn lanes(plan: &Plan, profile: &Profile, count: usize) -> Vec<Lane> {
    let mut used_to: Vec<Vec<(f64, f64)>> = vec![Vec::new(); count];
    let mut found = Vec::new();
    for (region, r) in plan.regions.iter().enumerate().skip(1) {
        if r.hidden {
            continue;
        }
        let extent = match &r.mask {
            Mask::Band { from_mm, to_mm } => Some((*from_mm, *to_mm)),
            _ => profile.extent_mm(region),
        };
        let Some(extent_mm) = extent else { continue };
        let free = |taken: &Vec<(f64, f64)>| {
            let apart = |t: &(f64, f64)| t.1 <= extent_mm.0 || t.0 >= extent_mm.1;
            taken.iter().all(apart)
        };
        let lane = used_to.iter().position(free).unwrap_or(count - 1);
        used_to[lane].push(extent_mm);
        found.push(Lane {
            region,
            extent_mm,
            lane,
        });
    }
    found
}
