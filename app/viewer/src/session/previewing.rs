//! What is laid over the part: what a tool would do at the pointer, and the stroke being drawn.

use emath::Pos2;
use geometry::SurfacePoint;
use geometry::mask::Stroke;
use geometry::plane::Met;

use super::Session;
use crate::jobs::colours;
use crate::jobs::sketch::{Order, Shape, Sketch, Sketcher};
use crate::model::skin::{SkinMesh, SkinUpdate};
use crate::model::tool::Tool;

impl Session {
    /// The pointer is at a position on the stage.
    pub fn hover_at(&mut self, at: Pos2) {
        let met = self.meets(at);
        self.view.hover_mm = match (met, self.view.camera.is_level()) {
            (Some(met), _) => Some(met.point_mm().z),
            (None, true) => Some(self.view.camera.ribbon_height_mm(self.view.stage, at.y)),
            (None, false) => None,
        };
        if self.tools.gesture.is_none() {
            self.preview_at(match met {
                Some(Met::Skin(hit)) => Some(hit),
                Some(Met::Face(_)) | None => None,
            });
        }
    }

    /// Shows what a tool would do at a point.
    fn preview_at(&mut self, hit: Option<SurfacePoint>) {
        let previews = self.tools.tool.has_radius() || self.tools.tool == Tool::Fill;
        let Some(hit) = hit.filter(|_| previews) else {
            return self.clear_hover();
        };
        let fills = self.tools.tool == Tool::Fill;
        if self.preview.at == Some(hit) || (fills && self.same_face(hit)) {
            return;
        }
        let shape = match fills {
            true => self.fill_from(hit).map(Shape::Mask),
            false => Some(Shape::Strokes(self.with_images(&self.dot(hit)))),
        };
        let Some(shape) = shape else { return };
        self.preview.at = Some(hit);
        if let Some(sketcher) = self.sketcher() {
            sketcher.ask(Order::Hover(shape));
        }
    }

    /// Who draws sketches of the open part.
    pub(super) fn sketcher(&mut self) -> Option<&mut Sketcher> {
        if self.preview.sketcher.is_none() {
            let (doc, skin) = (self.doc.as_ref()?, self.colouring.skin.as_ref()?);
            self.preview.sketcher = Some(Sketcher::new(&doc.surface, skin, &self.waker));
        }
        self.preview.sketcher.as_mut()
    }

    /// Takes the sketches that are done to the scene.
    pub(super) fn take_sketches(&mut self) {
        let Some(sketcher) = &mut self.preview.sketcher else {
            return;
        };
        let sketches = match sketcher.take() {
            Ok(sketches) => sketches,
            Err(why) => return self.notices.error(why),
        };
        if sketches.is_empty() {
            return;
        }
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
        self.preview.sketcher.as_ref().map_or(0, Sketcher::behind)
    }

    /// A stroke and its mirror images.
    pub(super) fn with_images(&self, stroke: &Stroke) -> Vec<Stroke> {
        let mut all = vec![stroke.clone()];
        if let Some(doc) = &self.doc {
            all.extend(
                self.tools
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
            radius_mm: self.tools.brush_mm,
            reach_mm: None,
        }
    }

    /// The colour that paint would have, in linear light.
    fn paint_colour(&self) -> [f32; 3] {
        let tools = &self.tools;
        if tools.tool == Tool::Erase || (tools.tool.outlines() && tools.takes_off) {
            // What is erased shows as plain grey.
            return [0.35; 3];
        }
        let (_, shares) = self.paint_target();
        let Some(model) = self.model() else {
            return [0.5; 3];
        };
        colours::linear(&shares, model.as_ref())
    }

    /// Takes away what is laid over the part.
    pub fn clear_preview(&mut self) {
        if let Some(sketcher) = &mut self.preview.sketcher {
            sketcher.forget_hover();
            sketcher.forget_drawn();
        }
        self.preview.at = None;
        self.preview.waits = false;
        if std::mem::take(&mut self.preview.hover) {
            let none = SkinUpdate::Hover(SkinMesh::default(), [0.0; 3]);
            self.skin_updates.push_back(none);
        }
        if std::mem::take(&mut self.preview.drawn) {
            self.skin_updates.push_back(SkinUpdate::DrawnGone);
        }
    }

    /// Takes away what would be painted, but not what was.
    pub(super) fn clear_hover(&mut self) {
        if self.shows_outline() {
            return;
        }
        if let (Some(_), Some(sketcher)) = (self.preview.at.take(), &mut self.preview.sketcher) {
            sketcher.forget_hover();
        }
        if std::mem::take(&mut self.preview.hover) {
            let none = SkinUpdate::Hover(SkinMesh::default(), [0.0; 3]);
            self.skin_updates.push_back(none);
        }
    }

    /// The part has been redrawn: what was laid over it is in it now.
    pub(super) fn part_is_redrawn(&mut self) {
        if self.preview.waits {
            self.clear_preview();
        }
    }
}
