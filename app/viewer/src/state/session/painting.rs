//! What the tools do to the part.

use blend::Shares;
use egui::Pos2;
use geometry::mask::Stroke;
use geometry::{Mask, SurfacePoint};
use plan::{Edit, Paint, Region, Touch};

use super::Session;
use crate::jobs::sketch::{Order, Shape, Sketch, Sketcher};
use crate::paint::Gesture;
use crate::state::hand::Tool;
use crate::state::skin::{SkinMesh, SkinUpdate};

/// The skin may be this far from a mirrored click and still be meant, mm.
const MIRROR_MISS_MM: f64 = 1.0;

/// A stroke's image takes the same edit as the stroke, so that one undo takes back both.
type Touches = Vec<Touch>;

/// What is laid over the part to show what would be painted, or is being painted.
#[derive(Clone, Debug, Default)]
pub struct Preview {
    /// Where the preview under the pointer was worked out last.
    at: Option<SurfacePoint>,
    /// Whether the scene shows it.
    hover: bool,
    /// Whether the scene shows a stroke being painted.
    drawn: bool,
    /// The stroke is in the plan, and stays until the part itself has been redrawn.
    waits: bool,
}

impl Session {
    /// The region that paint goes into (`None` for a new one), by name, and the blend.
    pub fn paint_target(&self) -> (Option<String>, Shares) {
        match self.paint_region() {
            Some((_, region)) => {
                let shares = match &region.paint {
                    Paint::Fixed(shares) => *shares,
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
    fn paint_region(&self) -> Option<(usize, &Region)> {
        let index = self.chosen.region.filter(|r| *r > 0)?;
        let region = self.chosen_region()?;
        let takes = !self.hand.new_area && !region.locked && !region.hidden;
        takes.then_some((index, region))
    }

    /// What the pointer meets at a position on the stage.
    pub fn pick(&self, at: Pos2) -> Option<SurfacePoint> {
        let doc = self.doc.as_ref()?;
        let ray = self.view.camera.ray(self.view.stage, at, self.reach_mm());
        let hit = doc.surface.first_hit(ray.from_mm, ray.direction)?;
        let cut_mm = self.cut_mm().filter(|cut_mm| hit.point_mm.z > *cut_mm);
        let Some(cut_mm) = cut_mm else {
            return Some(hit);
        };
        // What is cut away is not met: go on from the cut itself.
        let down = ray.direction.z;
        let to_cut = (cut_mm - ray.from_mm.z) / down;
        if !(down < 0.0 && to_cut.is_finite()) {
            return None;
        }
        let from = ray.from_mm + ray.direction * to_cut;
        doc.surface.first_hit(from, ray.direction)
    }

    /// The pointer is at a position on the stage.
    pub fn hover_at(&mut self, at: Pos2) {
        let hit = self.pick(at);
        self.view.hover_mm = match (hit, self.view.camera.is_level()) {
            (Some(hit), _) => Some(hit.point_mm.z),
            (None, true) => Some(self.view.camera.ribbon_height_mm(self.view.stage, at.y)),
            (None, false) => None,
        };
        if self.hand.gesture.is_none() {
            self.preview_at(hit);
        }
    }

    /// The pointer is not on the stage.
    pub fn hover_nowhere(&mut self) {
        self.clear_hover();
    }

    /// Shows what a tool would do at a point.
    fn preview_at(&mut self, hit: Option<SurfacePoint>) {
        let previews = self.hand.tool.has_radius() || self.hand.tool == Tool::Grow;
        let Some(hit) = hit.filter(|_| previews) else {
            return self.hover_nowhere();
        };
        let grows = self.hand.tool == Tool::Grow;
        if self.preview.at == Some(hit) || (grows && self.same_face(hit)) {
            return;
        }
        let shape = match grows {
            true => Shape::Mask(self.grown_from(hit)),
            false => Shape::Strokes(self.with_images(&self.dot(hit))),
        };
        self.preview.at = Some(hit);
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Hover(shape));
        }
    }

    /// Who draws sketches of the open part.
    fn sketcher(&mut self) -> Option<&mut Sketcher> {
        if self.work.sketcher.is_none() {
            let (doc, skin) = (self.doc.as_ref()?, self.work.skin.as_ref()?);
            self.work.sketcher = Some(Sketcher::new(&doc.surface, skin, &self.waker));
        }
        self.work.sketcher.as_mut()
    }

    /// Takes the sketches that are done to the scene.
    pub(super) fn take_sketches(&mut self) {
        let Some(sketcher) = &mut self.work.sketcher else {
            return;
        };
        let sketches = match sketcher.take() {
            Ok(sketches) => sketches,
            Err(why) => return self.notices.error(why),
        };
        let colour = self.paint_colour();
        for sketch in sketches {
            match sketch {
                Sketch::Hover(mesh) => {
                    self.preview.hover = !mesh.is_empty();
                    self.skin_updates
                        .retain(|u| !matches!(u, SkinUpdate::Hover(..)));
                    self.skin_updates.push_back(SkinUpdate::Hover(mesh, colour));
                }
                Sketch::Drawn(mesh) if mesh.is_empty() => {}
                Sketch::Drawn(mesh) => {
                    self.preview.drawn = true;
                    self.skin_updates.push_back(SkinUpdate::Drawn(mesh, colour));
                }
            }
        }
    }

    /// How many sketches are still being drawn.
    pub fn sketches_behind(&self) -> usize {
        self.work.sketcher.as_ref().map_or(0, Sketcher::behind)
    }

    /// A stroke and its mirror images.
    fn with_images(&self, stroke: &Stroke) -> Vec<Stroke> {
        let mut all = vec![stroke.clone()];
        if let Some(doc) = &self.doc {
            all.extend(
                self.hand
                    .mirror
                    .images(stroke, doc.middle_mm(), &doc.surface),
            );
        }
        all
    }

    /// Whether the preview under the pointer is already that of this face.
    fn same_face(&self, hit: SurfacePoint) -> bool {
        self.preview.at.is_some_and(|p| p.facet == hit.facet)
    }

    fn dot(&self, hit: SurfacePoint) -> Stroke {
        Stroke {
            dabs_mm: vec![hit.point_mm],
            radius_mm: self.hand.brush_mm,
            reach_mm: None,
        }
    }

    fn grown_from(&self, hit: SurfacePoint) -> Mask {
        Mask::Crease {
            near_mm: hit.point_mm,
            angle_deg: self.hand.crease_deg,
        }
    }

    /// The colour that paint would have, in linear light.
    fn paint_colour(&self) -> [f32; 3] {
        if self.hand.tool == Tool::RubOut {
            // What is rubbed out shows as plain grey.
            return [0.35; 3];
        }
        let (_, shares) = self.paint_target();
        let colour = egui::Rgba::from(self.colour_of(&shares));
        [colour.r(), colour.g(), colour.b()]
    }

    /// Takes away what is laid over the part.
    pub fn clear_preview(&mut self) {
        if let Some(sketcher) = &mut self.work.sketcher {
            sketcher.forget_hover();
            sketcher.forget_drawn();
        }
        let before = std::mem::take(&mut self.preview);
        if before.hover {
            let none = SkinUpdate::Hover(SkinMesh::default(), [0.0; 3]);
            self.skin_updates.push_back(none);
        }
        if before.drawn {
            self.skin_updates.push_back(SkinUpdate::DrawnGone);
        }
    }

    /// Takes away what would be painted, but not what was.
    fn clear_hover(&mut self) {
        if let (Some(_), Some(sketcher)) = (self.preview.at.take(), &mut self.work.sketcher) {
            sketcher.forget_hover();
        }
        if std::mem::take(&mut self.preview.hover) {
            let none = SkinUpdate::Hover(SkinMesh::default(), [0.0; 3]);
            self.skin_updates.push_back(none);
        }
    }

    /// Presses the brush on the part.
    pub fn begin_stroke(&mut self, at: Pos2) {
        if self.hand.tool == Tool::RubOut && !self.can_rub_out() {
            return;
        }
        self.clear_preview();
        self.hand.gesture = Some(Gesture::new(self.hand.brush_mm));
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Begin);
        }
        self.go_on_stroke(at);
    }

    fn can_rub_out(&mut self) -> bool {
        let base = self.chosen.region == Some(0);
        let locked = self.chosen_region().is_none_or(|r| r.locked);
        if base {
            self.notices
                .warning("The base region covers the whole part. Choose another region to rub paint out of it.");
        } else if locked {
            self.notices
                .warning("This region is locked. Unlock it to rub paint out of it.");
        }
        !base && !locked
    }

    /// Draws the brush on to a position.
    pub fn go_on_stroke(&mut self, at: Pos2) {
        let (camera, stage, reach) = (self.view.camera, self.view.stage, self.reach_mm());
        let (Some(doc), Some(gesture)) = (&self.doc, &mut self.hand.gesture) else {
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
        let Some(gesture) = self.hand.gesture.take() else {
            return;
        };
        if gesture.is_empty() {
            return;
        }
        self.put_strokes(gesture.finish());
    }

    fn put_strokes(&mut self, strokes: Vec<Stroke>) {
        let all: Vec<Stroke> = strokes.iter().flat_map(|s| self.with_images(s)).collect();
        let touches: Touches = match self.hand.tool {
            Tool::RubOut => all.into_iter().map(Touch::Erase).collect(),
            _ => all.into_iter().map(Touch::Paint).collect(),
        };
        if touches.is_empty() {
            return self.clear_preview();
        }
        let made = match (self.hand.tool, self.paint_region(), self.chosen.region) {
            (Tool::RubOut, _, Some(region)) | (_, Some((region, _)), _) => {
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
        match made {
            true => self.preview.waits = true,
            false => self.clear_preview(),
        }
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
            self.hand.new_area = false;
        }
        made
    }

    /// A click with a tool that works by clicks.
    pub fn click_with(&mut self, tool: Tool, at: Pos2) {
        match tool {
            Tool::Turn => {
                let hit = self.pick(at);
                let region = hit
                    .zip(self.painted.as_ref())
                    .map(|(hit, p)| p.region_at(hit));
                if let Some(region) = region {
                    self.choose_region(region);
                }
            }
            Tool::Grow => self.grow(at),
            Tool::Band => self.click_band(at),
            Tool::Straight => self.click_straight(at),
            Tool::Brush | Tool::RubOut => {}
        }
    }

    fn grow(&mut self, at: Pos2) {
        let Some(hit) = self.pick(at) else { return };
        let Some(doc) = &self.doc else { return };
        let mut grown = vec![self.grown_from(hit)];
        let image = self.hand.mirror.image(hit.point_mm, doc.middle_mm());
        let image = image.and_then(|p| doc.surface.nearest_within(p, MIRROR_MISS_MM));
        grown.extend(image.map(|hit| self.grown_from(hit)));
        let made = match self.paint_region() {
            Some((region, r)) => {
                let mut any = match r.mask.clone() {
                    Mask::Any(any) => any,
                    other => vec![other],
                };
                any.extend(grown);
                self.edit(Edit::SetMask {
                    region,
                    to: Mask::Any(any),
                })
            }
            None => self.add_painted(Some(Mask::Any(grown)), Vec::new()),
        };
        match made {
            true => self.preview.waits = true,
            false => self.clear_preview(),
        }
    }

    fn click_band(&mut self, at: Pos2) {
        self.hover_at(at);
        let Some(height) = self.view.hover_mm else {
            return;
        };
        match self.hand.band_from_mm.take() {
            None => self.hand.band_from_mm = Some(height),
            Some(from) => self.add_band(from, height),
        }
    }

    fn click_straight(&mut self, at: Pos2) {
        let Some(from) = self.hand.straight_from else {
            self.hand.straight_from = self.pick(at).map(|hit| hit.point_mm);
            return;
        };
        let (camera, stage, reach) = (self.view.camera, self.view.stage, self.reach_mm());
        let (Some(doc), Some(start)) = (&self.doc, camera.project(stage, from)) else {
            return;
        };
        let mut gesture = Gesture::new(self.hand.brush_mm);
        gesture.go_to(&camera, stage, &doc.surface, reach, start);
        gesture.go_to(&camera, stage, &doc.surface, reach, at);
        // The next click goes on from here.
        self.hand.straight_from = self.pick(at).map(|hit| hit.point_mm);
        if !gesture.is_empty() {
            self.put_strokes(gesture.finish());
        }
    }

    /// Uses the tool at the middle of the stage: for those who steer by keys.
    pub(super) fn use_tool_at_middle(&mut self) {
        let at = self.view.stage.center();
        match self.hand.tool {
            Tool::Brush | Tool::RubOut => {
                self.begin_stroke(at);
                self.end_stroke();
            }
            tool => self.click_with(tool, at),
        }
    }

    /// The part has been redrawn: what was laid over it is in it now.
    pub(super) fn part_is_redrawn(&mut self) {
        if self.preview.waits {
            self.clear_preview();
        }
    }
}
