//! Outlines drawn over the part: what lies in them as it is seen is added to a region, or taken
//! off it.

use emath::{Pos2, Vec2, vec2};
use geometry::Mask;
use geometry::mask::Outline;
use plan::{Edit, Region};

use super::Session;
use super::painting::area_of;
use crate::commands::Command;
use crate::jobs::sketch::{Order, Shape};
use crate::model::outline::Drawing;
use crate::model::tool::Tool;

/// How far an arrow key moves the cross, points.
const STEP: f32 = 10.0;

impl Session {
    /// What is done to outlines.
    pub(super) fn apply_to_outline(&mut self, command: &Command) {
        let tools = &mut self.tools;
        match *command {
            Command::Through => tools.through = !tools.through,
            Command::TakeOff => tools.takes_off = !tools.takes_off,
            Command::BeginOutline(at) => return self.begin_outline(at, false),
            Command::GoOnOutline(at) => return self.go_on_outline(at),
            _ => return self.end_outline(),
        }
        self.sketch_outline();
    }

    /// Begins an outline at a position.
    fn begin_outline(&mut self, at: Pos2, by_keys: bool) {
        if self.doc.is_none() || (self.tools.takes_off && !self.can_erase()) {
            return;
        }
        self.clear_preview();
        let free = self.tools.tool == Tool::Lasso;
        let view = &self.view;
        self.tools.outline = Some(Drawing::new(view.camera, view.stage, free, by_keys, at));
    }

    /// Draws the outline on to a position.
    fn go_on_outline(&mut self, at: Pos2) {
        let drawing = self.tools.outline.as_mut();
        if drawing.is_some_and(|drawing| drawing.go_to(at)) {
            self.sketch_outline();
        }
    }

    /// Ends the outline: what lies in it becomes a change of the plan.
    fn end_outline(&mut self) {
        let masks = self.outlined();
        self.tools.outline = None;
        if masks.is_empty() {
            return self.clear_preview();
        }
        match (
            self.tools.takes_off,
            self.chosen.region,
            self.chosen_region(),
        ) {
            (true, Some(index), Some(region)) => {
                let edit = taken_off(index, region, masks);
                let made = self.edit(edit);
                self.keep_preview_if(made);
            }
            _ => self.put_masks(masks),
        }
    }

    /// Sets a corner by keys: the first one where it begins.
    pub(super) fn set_outline_corner(&mut self, at: Pos2) {
        match &mut self.tools.outline {
            None => self.begin_outline(at, true),
            Some(drawing) => {
                if drawing.set_corner() {
                    self.end_outline();
                }
            }
        }
    }

    /// What keys that move the view do while an outline is drawn: they move its cross, or
    /// nothing. Tells whether anything changed.
    pub(super) fn step_outline(&mut self, command: &Command) -> bool {
        let by = step_of(command);
        let drawing = self.tools.outline.as_mut();
        let (Some(by), Some(drawing)) = (by, drawing.filter(|d| d.is_by_keys())) else {
            return false;
        };
        drawing.step(by);
        self.sketch_outline();
        true
    }

    /// What lies in the outline, and its images.
    fn outlined(&self) -> Vec<Mask> {
        let (Some(doc), Some(drawing)) = (&self.doc, &self.tools.outline) else {
            return Vec::new();
        };
        let Some(outline) = drawing.outline(self.tools.through, self.section_plane()) else {
            return Vec::new();
        };
        let mirror = self.tools.mirror;
        let images = mirror.images_of_outline(&outline, doc.middle_mm());
        let all = std::iter::once(outline).chain(images);
        all.map(|outline: Outline| Mask::Outline(Box::new(outline)))
            .collect()
    }

    /// Shows what would be covered.
    fn sketch_outline(&mut self) {
        let masks = self.outlined();
        if masks.is_empty() {
            return;
        }
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Hover(Shape::Mask(Mask::Any(masks))));
        }
    }

    /// Whether what is laid over the part is that of an outline.
    pub(super) fn shows_outline(&self) -> bool {
        let waits = self.preview.waits && self.tools.tool.outlines();
        waits || self.tools.outline.is_some()
    }
}

/// How far a key moves the cross.
fn step_of(command: &Command) -> Option<Vec2> {
    let across = |x: f32, y: f32| Some(vec2(x, y) * STEP);
    match *command {
        Command::Turn(yaw, 0) => across(yaw.signum() as f32, 0.0),
        Command::Turn(0, pitch) => across(0.0, -5.0 * pitch.signum() as f32),
        Command::Layers(layers) => across(0.0, -layers.clamp(-10, 10) as f32),
        _ => None,
    }
}

/// The edit that takes masks off a region.
fn taken_off(region: usize, before: &Region, masks: Vec<Mask>) -> Edit {
    let kept = masks.into_iter().map(|mask| Mask::Not(Box::new(mask)));
    let mut all = match area_of(before) {
        Mask::All(all) => all,
        area => vec![area],
    };
    all.extend(kept);
    Edit::SetArea {
        region,
        mask: Mask::All(all),
        brush: Vec::new(),
    }
}
