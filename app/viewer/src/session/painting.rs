//! What the tools do to the part.

use blend::Shares;
use emath::Pos2;
use geometry::mask::Stroke;
use geometry::plane::Met;
use geometry::{Mask, SurfacePoint};
use plan::{BrushStroke, Edit, Paint, Region};

use super::Session;
use crate::jobs::sketch::Order;
use crate::model::gesture::Gesture;
use crate::model::tool::Tool;

/// A stroke's image takes the same edit as the stroke, so that one undo takes back both.
type Touches = Vec<BrushStroke>;

impl Session {
    /// The region that paint goes into (`None` for a new one), by name, and the blend.
    pub fn paint_target(&self) -> (Option<String>, Shares) {
        match self.paint_region() {
            Some((_, region)) => {
                let shares = match &region.paint {
                    Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => *shares,
                    Paint::Fade { fade, .. } => {
                        fade.stops.first().map_or(Shares::SINGLE, |s| s.shares)
                    }
                };
                (Some(region.name.clone()), shares)
            }
            None => (None, self.blend_for_new()),
        }
    }

    /// The region that paint goes into: the chosen one, unless it is the base, which has the
    /// whole part already, or locked or hidden.
    pub(super) fn paint_region(&self) -> Option<(usize, &Region)> {
        let index = self.chosen.region.filter(|r| *r > 0)?;
        let region = self.chosen_region()?;
        let takes = !self.tools.new_area && !region.locked && !region.hidden;
        takes.then_some((index, region))
    }

    /// The skin that the pointer meets at a position on the stage.
    pub fn pick(&self, at: Pos2) -> Option<SurfacePoint> {
        match self.meets(at)? {
            Met::Skin(hit) => Some(hit),
            Met::Face(_) => None,
        }
    }

    /// Draws straight to a position from where the last stroke ended; begins a stroke there if
    /// there was none.
    pub(super) fn straight_to(&mut self, at: Pos2) {
        if self.tools.tool == Tool::Erase && !self.can_erase() {
            return;
        }
        let from = self.tools.stroke_end_mm;
        self.tools.straight_from = from;
        if from.is_none() {
            return self.begin_stroke(at);
        }
        self.click_straight(at);
        self.tools.stroke_end_mm = self.tools.straight_from.take();
    }

    /// Presses the brush on the part.
    pub fn begin_stroke(&mut self, at: Pos2) {
        if self.tools.tool == Tool::Erase && !self.can_erase() {
            return;
        }
        self.clear_preview();
        self.tools.gesture = Some(Gesture::new(self.tools.brush_mm, self.section_plane()));
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Begin);
        }
        self.go_on_stroke(at);
    }

    pub(super) fn can_erase(&mut self) -> bool {
        let base = self.chosen.region == Some(0);
        let locked = self.chosen_region().is_none_or(|r| r.locked);
        if base {
            self.notices
                .warning("The base region covers the whole part. Choose another region to erase paint from it.");
        } else if locked {
            self.notices
                .warning("This region is locked. Unlock it to erase paint from it.");
        }
        !base && !locked
    }

    /// Draws the brush on to a position.
    pub fn go_on_stroke(&mut self, at: Pos2) {
        let (camera, stage, reach) = (self.view.camera, self.view.stage, self.reach_mm());
        let (Some(doc), Some(gesture)) = (&self.doc, &mut self.tools.gesture) else {
            return;
        };
        let added = gesture.go_to(&camera, stage, &doc.surface, reach, at);
        let dabs: Vec<Stroke> = added.iter().flat_map(|s| self.with_images(s)).collect();
        if dabs.is_empty() {
            return;
        }
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Dabs(dabs));
        }
    }

    /// Lifts the brush: the stroke becomes a change of the plan.
    pub fn end_stroke(&mut self) {
        let Some(gesture) = self.tools.gesture.take() else {
            return;
        };
        if gesture.is_empty() {
            return;
        }
        self.tools.stroke_end_mm = gesture.end_mm();
        self.put_strokes(gesture.finish());
    }

    fn put_strokes(&mut self, strokes: Vec<Stroke>) {
        let all: Vec<Stroke> = strokes.iter().flat_map(|s| self.with_images(s)).collect();
        let touches: Touches = match self.tools.tool {
            Tool::Erase => all.into_iter().map(BrushStroke::Erase).collect(),
            _ => all.into_iter().map(BrushStroke::Paint).collect(),
        };
        if touches.is_empty() {
            return self.clear_preview();
        }
        let made = match (self.tools.tool, self.paint_region(), self.chosen.region) {
            (Tool::Erase, _, Some(region)) | (_, Some((region, _)), _) => {
                let there = self.touches_in(region);
                let add = |(i, touch)| Edit::AddTouch {
                    region,
                    at: there + i,
                    touch,
                };
                let all = touches.into_iter().enumerate().map(add).collect();
                self.edit(Edit::Together(all))
            }
            _ => self.add_painted(None, touches),
        };
        self.keep_preview_if(made);
    }

    fn touches_in(&self, region: usize) -> usize {
        let regions = self.doc.as_ref().map(|d| &d.plan().regions);
        let region = regions.and_then(|r| r.get(region));
        region.map_or(0, |r| r.brush.len())
    }

    /// Adds a region with paint in it.
    fn add_painted(&mut self, mask: Option<Mask>, brush: Touches) -> bool {
        let Some(doc) = &self.doc else { return false };
        let at = doc.plan().regions.len();
        let paint = Paint::Fixed(self.blend_for_new());
        let mut region = Region::painted(self.free_name("Area"), paint);
        if let Some(mask) = mask {
            region.mask = mask;
        }
        region.brush = brush;
        let made = self.edit(Edit::AddRegion { at, region });
        if made {
            self.choose_region(at);
            self.tools.new_area = false;
        }
        made
    }

    /// A click with a tool that works by clicks.
    pub fn click_with(&mut self, tool: Tool, at: Pos2) {
        match tool {
            Tool::Turn => {
                if let Some(region) = self.region_under(at) {
                    self.choose_region(region);
                }
            }
            Tool::Fill => self.fill(at),
            Tool::Band => self.click_band(at),
            Tool::Pick => self.pick_blend(at),
            Tool::Straight => self.click_straight(at),
            Tool::Measure => {
                if let Some(met) = self.meets(at) {
                    self.tools.measure.take(met.point_mm());
                }
            }
            Tool::Place => {
                self.begin_placing(at);
                self.end_placing();
            }
            Tool::Brush | Tool::Erase | Tool::Box | Tool::Lasso => {}
        }
    }

    fn click_band(&mut self, at: Pos2) {
        self.hover_at(at);
        let Some(height) = self.view.hover_mm else {
            return;
        };
        match self.tools.band_from_mm.take() {
            None => self.tools.band_from_mm = Some(height),
            Some(from) => self.add_band(from, height),
        }
    }

    fn click_straight(&mut self, at: Pos2) {
        let Some(from) = self.tools.straight_from else {
            self.tools.straight_from = self.pick(at).map(|hit| hit.point_mm);
            return;
        };
        let (camera, stage, reach) = (self.view.camera, self.view.stage, self.reach_mm());
        let (Some(doc), Some(start)) = (&self.doc, camera.project(stage, from)) else {
            return;
        };
        let mut gesture = Gesture::new(self.tools.brush_mm, self.section_plane());
        gesture.go_to(&camera, stage, &doc.surface, reach, start);
        gesture.go_to(&camera, stage, &doc.surface, reach, at);
        // The next click goes on from here.
        self.tools.straight_from = self.pick(at).map(|hit| hit.point_mm);
        if !gesture.is_empty() {
            self.put_strokes(gesture.finish());
        }
    }

    /// Uses the tool at the middle of the stage: for those who steer by keys.
    pub(super) fn use_tool_at_middle(&mut self) {
        let at = self.view.stage.center();
        match self.tools.tool {
            Tool::Brush | Tool::Erase => {
                self.begin_stroke(at);
                self.end_stroke();
            }
            Tool::Box | Tool::Lasso => self.set_outline_corner(at),
            tool => self.click_with(tool, at),
        }
    }

    /// Adds masks to what paint goes into.
    pub(super) fn put_masks(&mut self, masks: Vec<Mask>) {
        let made = match self.paint_region() {
            Some((region, r)) => {
                let edit = filled_over(region, r, masks);
                self.edit(edit)
            }
            None => self.add_painted(Some(Mask::Any(masks)), Vec::new()),
        };
        self.keep_preview_if(made);
    }

    /// What is laid over the part stays until that is redrawn, if a change was made.
    pub(super) fn keep_preview_if(&mut self, made: bool) {
        match made {
            true => self.preview.waits = true,
            false => self.clear_preview(),
        }
    }
}

/// A region's area as a mask alone.
pub(super) fn area_of(region: &Region) -> Mask {
    region.brush.iter().fold(region.mask.clone(), with_touch)
}

/// The edit that adds masks to a region. What was erased there before lies under them: the last
/// act has its way.
fn filled_over(region: usize, before: &Region, added: Vec<Mask>) -> Edit {
    let erased = before
        .brush
        .iter()
        .any(|t| matches!(t, BrushStroke::Erase(_)));
    if !erased {
        let to = joined(before.mask.clone(), added);
        return Edit::SetMask { region, to };
    }
    let area = area_of(before);
    Edit::SetArea {
        region,
        mask: joined(area, added),
        brush: Vec::new(),
    }
}

fn joined(mask: Mask, added: Vec<Mask>) -> Mask {
    let mut any = match mask {
        Mask::Any(any) => any,
        other => vec![other],
    };
    any.extend(added);
    Mask::Any(any)
}

/// An area and a stroke on it, as a mask alone.
fn with_touch(mask: Mask, touch: &BrushStroke) -> Mask {
    match touch {
        BrushStroke::Paint(stroke) => joined(mask, vec![Mask::Stroke(stroke.clone())]),
        BrushStroke::Erase(stroke) => {
            let kept = Mask::Not(Box::new(Mask::Stroke(stroke.clone())));
            match mask {
                Mask::All(mut all) => {
                    all.push(kept);
                    Mask::All(all)
                }
                mask => Mask::All(vec![mask, kept]),
            }
        }
    }
}
