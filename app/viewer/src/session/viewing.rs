//! The view of the part: the camera, the layer cursor, what is under the pointer.

use emath::{Pos2, Rect, Vec2};
use geometry::DVec3;

use super::Session;
use crate::commands::{Command, Hover};
use crate::model::camera::Lens;

impl Session {
    /// How far behind and before the target there may be something to see, mm.
    pub fn reach_mm(&self) -> f64 {
        let Some(doc) = &self.doc else { return 500.0 };
        let (lo, hi) = doc.bounds_mm;
        let plate = self.plate_half_mm();
        let far = DVec3::new(plate.0, plate.1, 0.0).length() + (hi - lo).length();
        far + self.view.camera.target_mm.distance(doc.middle_mm()) + 10.0
    }

    /// Half the plate's size across x and y, mm; zero without a part. The plate reaches past
    /// what stands on it by a margin and ends on a line of its grid.
    pub fn plate_half_mm(&self) -> (f64, f64) {
        let Some((lo, hi)) = self.standing_mm() else {
            return (0.0, 0.0);
        };
        let half = |lo: f64, hi: f64| (lo.abs().max(hi.abs()) * 1.25 / 50.0).ceil().max(2.0) * 50.0;
        (half(lo.x, hi.x), half(lo.y, hi.y))
    }

    /// The heights of a band of which one edge is set and the other is under the pointer, mm.
    pub fn band_in_the_making(&self) -> Option<(f64, f64)> {
        let from = self.tools.band_from_mm?;
        let to = self.view.hover_mm?;
        Some((from.min(to), from.max(to)))
    }

    /// The height that is marked on the part, mm: the one under the pointer. None while a tool
    /// that paints is over the part: there its colours are judged, and nothing may lie on them.
    pub fn marked_height_mm(&self) -> Option<f64> {
        let paints = self.view.hovers_part && self.tools.tool.paints();
        self.view.hover_mm.filter(|_| self.doc.is_some() && !paints)
    }

    /// Notes where window and stage lie; a part that was fitted stays so. `fit` is the part of
    /// the stage that a fitted part may fill.
    pub(super) fn lay(&mut self, window: Rect, stage: Rect, fit: Rect) {
        let standing = self.standing_mm();
        let view = &mut self.view;
        let moved = view.stage != stage;
        (view.window, view.stage) = (window, stage);
        let due = view.fit_wanted || (moved && view.stays_fitted);
        if due
            && fit.is_positive()
            && let Some(standing) = standing
        {
            view.camera.fit(fit, standing);
            view.camera.pan(stage, fit.center() - stage.center());
            view.fit_wanted = false;
            view.stays_fitted = true;
        }
        let (camera, drawing) = (&self.view.camera, self.tools.outline.as_ref());
        if drawing.is_some_and(|drawing| !drawing.is_on(camera, stage)) {
            self.tools.outline = None;
            self.clear_preview();
        }
    }

    /// The pointer is somewhere.
    pub(super) fn hover(&mut self, hover: Hover) {
        // Nothing of the pointer's is in a picture of the view.
        let hover = match self.view_copy_wanted() {
            Some(_) => Hover::Nowhere,
            None => hover,
        };
        self.view.hovers_part = matches!(hover, Hover::Stage(_));
        if let Hover::Stage(at) = hover {
            self.view.hovered_at = Some(at);
        }
        match hover {
            Hover::Nowhere => {
                self.view.hover_mm = None;
                self.clear_hover();
            }
            Hover::Stage(at) => self.hover_at(at),
            Hover::Ribbon(height_mm) => {
                self.view.hover_mm = Some(height_mm);
                self.clear_hover();
            }
            Hover::Busy => {}
        }
    }

    /// Puts the layer cursor at a height within the part.
    pub fn set_cursor_mm(&mut self, height_mm: f64) {
        let Some(doc) = &self.doc else { return };
        let (low, high) = doc.extent_mm();
        if height_mm.is_finite() {
            self.view.cursor_mm = height_mm.clamp(low, high);
        }
    }

    /// Moves the layer cursor by layers, to the middle of one.
    pub fn step_cursor(&mut self, layers: i32) {
        let profile = self.profile();
        let Some(now) = profile.layer_near(self.view.cursor_mm) else {
            return;
        };
        let last = profile.rows.len() as i64 - 1;
        let to = (now as i64 + i64::from(layers)).clamp(0, last) as usize;
        if let Some(row) = profile.rows.get(to) {
            let middle = 0.5 * (row.bottom_mm + row.top_mm);
            self.set_cursor_mm(middle);
        }
    }

    pub(super) fn apply_to_view(&mut self, command: Command) {
        let view = &mut self.view;
        match command {
            Command::Level => view.camera.level(),
            Command::Fit => view.fit_wanted = true,
            Command::Orbit(by) => view.camera.orbit(by),
            Command::Pan(by) => {
                view.camera.pan(view.stage, by);
                view.stays_fitted = false;
            }
            Command::LookFrom(side) => view.camera.look_from(side),
            Command::Lens => {
                view.camera.lens = match view.camera.lens {
                    Lens::Parallel => Lens::Perspective,
                    Lens::Perspective => Lens::Parallel,
                };
                self.keep_settings();
            }
            Command::Turn(yaw, pitch) => {
                // The camera turns by a fifth of a degree for each point of a drag.
                view.camera.orbit(Vec2::new(yaw as f32, pitch as f32) * 5.0);
            }
            Command::Slide(points) => {
                view.camera.target_mm.z += f64::from(points) * view.camera.mm_per_point;
                view.stays_fitted = false;
            }
            Command::Zoom(factor) => self.zoom(self.view.stage.center(), factor),
            Command::ZoomAt(at, factor) => self.zoom(at, factor),
            Command::CursorTo(height_mm) => self.set_cursor_mm(height_mm),
            Command::Cut => {
                view.cut = !view.cut;
                view.section.asks_facet = false;
            }
            Command::Section(cutting) => self.apply_to_section(cutting),
            Command::Layers(by) => self.step_cursor(by),
            Command::Show(look) => view.look = look,
            Command::NextLook => view.look = view.look.next(),
            _ => self.apply_to_window(command),
        }
    }

    fn zoom(&mut self, at: Pos2, factor: f64) {
        let view = &mut self.view;
        view.camera.zoom(view.stage, at, factor);
        view.stays_fitted = false;
    }
}
