//! What the actions of the table do.

use egui::Vec2;
use plan::Edit;

use super::{Drawer, Page, Session};
use crate::actions::Action;
use crate::files::settings::{SCALE_RANGE, Shade};
use crate::state::camera::Lens;
use crate::state::hand::Tool;

impl Session {
    /// Whether an action makes sense now.
    pub fn can(&self, action: Action) -> bool {
        let region = self.chosen.region;
        let open = self.doc.is_some();
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let locked = self.chosen_region().is_some_and(|r| r.locked);
        match action {
            Action::Open
            | Action::Shade
            | Action::Larger
            | Action::Smaller
            | Action::PlainSize
            | Action::Help
            | Action::Keys
            | Action::Find
            | Action::LeaveOff => true,
            Action::Undo => self.doc.as_ref().is_some_and(|d| d.undo_label().is_some()),
            Action::Redo => self.doc.as_ref().is_some_and(|d| d.redo_label().is_some()),
            // The base region covers everything: it stays, and stays at the bottom.
            Action::Delete => !locked && region.is_some_and(|r| r > 0),
            Action::Hide | Action::Duplicate => region.is_some_and(|r| r > 0),
            Action::Raise => region.is_some_and(|r| r > 0 && r + 1 < regions),
            Action::Lower => region.is_some_and(|r| r > 1),
            Action::Combine => !locked && region.is_some_and(|r| r > 1),
            Action::Rename => !locked && region.is_some(),
            Action::Lock => region.is_some(),
            Action::ChooseAbove | Action::ChooseBelow => regions > 1,
            Action::Weave => open,
            Action::ReadBack => open && self.toolpath.draft.has_woven() && !self.is_on_toolpath(),
            Action::Follow => {
                let follows = self.toolpath.follow.is_some();
                follows || (open && self.toolpath.draft.has_woven() && !self.is_on_toolpath())
            }
            Action::Moves(_) | Action::EnterLayer(_) => {
                let follow = self.toolpath.follow.as_ref();
                follow.is_some_and(|f| f.now().is_some())
            }
            Action::DabAtMiddle => open && self.hand.tool != Tool::Turn,
            _ => open,
        }
    }

    /// Does an action, if it makes sense now.
    pub fn act(&mut self, action: Action) {
        if !self.can(action) {
            return;
        }
        match action {
            Action::Open => self.ask_open(),
            Action::Save => self.save(),
            Action::SaveAs => self.ask_save_as(None),
            Action::Prepare => self.ask_prepare(),
            Action::Weave => self.drawer = Drawer::Weave,
            Action::ReadBack => {
                self.drawer = Drawer::Weave;
                self.read_back();
            }
            Action::Follow => self.toggle_follow(),
            Action::Moves(by) => self.step_moves(by),
            Action::EnterLayer(entering) => self.enter_layer(entering),
            Action::Close => self.ask_to_close(),
            Action::Undo => self.undo(),
            Action::Redo => self.redo(),
            Action::AddBand => self.add_band_at_cursor(),
            Action::NewArea => {
                self.hand.new_area = true;
                if !self.hand.tool.has_radius() {
                    self.hand.take(Tool::Brush);
                }
            }
            Action::Take(tool) => self.hand.take(tool),
            Action::NextMirror => self.hand.mirror = self.hand.mirror.next(),
            Action::Mirror(mirror) => self.hand.mirror = mirror,
            Action::Brush(factor) => self.hand.set_brush_mm(self.hand.brush_mm * factor),
            Action::DabAtMiddle => self.use_tool_at_middle(),
            _ => self.act_on_region(action),
        }
    }

    fn act_on_region(&mut self, action: Action) {
        let (Some(doc), Some(region)) = (&self.doc, self.chosen.region) else {
            return self.act_on_view(action);
        };
        let regions = doc.plan().regions.len();
        let Some(chosen) = doc.plan().regions.get(region) else {
            return self.act_on_view(action);
        };
        match action {
            Action::ChooseAbove => self.choose_region((region + 1) % regions),
            Action::ChooseBelow => self.choose_region((region + regions - 1) % regions),
            Action::Rename => self.chosen.naming = Some((region, chosen.name.clone())),
            Action::Duplicate => {
                if self.edit(Edit::DuplicateRegion { region }) {
                    self.choose_region(region + 1);
                }
            }
            Action::Delete => {
                self.edit(Edit::RemoveRegion { region });
            }
            Action::Raise => self.move_region(region, region + 1),
            Action::Lower => self.move_region(region, region - 1),
            Action::Hide => {
                let hidden = !chosen.hidden;
                self.edit(Edit::HideRegion { region, hidden });
            }
            Action::Lock => {
                let locked = !chosen.locked;
                self.edit(Edit::LockRegion { region, locked });
            }
            Action::Combine => self.combine(region),
            _ => self.act_on_view(action),
        }
    }

    /// Moves a region in the list.
    pub fn move_region(&mut self, from: usize, to: usize) {
        if from != to && self.edit(Edit::MoveRegion { from, to }) {
            self.choose_region(to);
        }
    }

    fn combine(&mut self, region: usize) {
        let Some(below) = region.checked_sub(1) else {
            return;
        };
        if self.edit(Edit::CombineRegions {
            from: region,
            into: below,
        }) {
            self.choose_region(below);
        }
    }

    fn act_on_view(&mut self, action: Action) {
        let view = &mut self.view;
        match action {
            Action::Level => view.camera.level(),
            Action::Fit => view.fit_wanted = true,
            Action::LookFrom(side) => view.camera.look_from(side),
            Action::Lens => {
                view.camera.lens = match view.camera.lens {
                    Lens::Parallel => Lens::Perspective,
                    Lens::Perspective => Lens::Parallel,
                };
                self.keep_settings();
            }
            Action::Turn(yaw, pitch) => {
                // The camera turns by a fifth of a degree for each point of a drag.
                view.camera.orbit(Vec2::new(yaw as f32, pitch as f32) * 5.0);
            }
            Action::Zoom(factor) => {
                let stage = view.stage;
                view.camera.zoom(stage, stage.center(), factor);
            }
            Action::Cut => view.cut = !view.cut,
            Action::Layers(by) => self.step_cursor(by),
            Action::Show(look) => view.look = look,
            Action::NextLook => view.look = view.look.next(),
            _ => self.act_on_window(action),
        }
    }

    fn act_on_window(&mut self, action: Action) {
        match action {
            Action::Shade => {
                self.settings.shade = match self.settings.shade {
                    Shade::Light => Shade::Dark,
                    Shade::Dark => Shade::Light,
                };
                self.keep_settings();
            }
            Action::Larger => self.set_scale(self.settings.scale + 0.25),
            Action::Smaller => self.set_scale(self.settings.scale - 0.25),
            Action::PlainSize => self.set_scale(1.0),
            Action::Help => self.toggle_page(Page::Help),
            Action::Keys => self.toggle_page(Page::Keys),
            Action::Find => self.toggle_page(Page::Find {
                text: String::new(),
            }),
            Action::LeaveOff => self.leave_off(),
            _ => {}
        }
    }

    /// Sets the size of text and controls.
    pub fn set_scale(&mut self, scale: f32) {
        self.settings.scale = scale.clamp(SCALE_RANGE.0, SCALE_RANGE.1);
        self.keep_settings();
    }

    fn toggle_page(&mut self, page: Page) {
        let same = |a: &Page, b: &Page| std::mem::discriminant(a) == std::mem::discriminant(b);
        let shown = self.page.as_ref().is_some_and(|p| same(p, &page));
        self.page = (!shown).then_some(page);
    }

    /// Leaves off what is nearest: typing a name, a page, a stroke, the tool.
    fn leave_off(&mut self) {
        if self.chosen.naming.take().is_some() || self.page.take().is_some() {
            return;
        }
        if self.hand.drop_begun() {
            self.clear_preview();
        } else if self.hand.new_area {
            self.hand.new_area = false;
        } else {
            self.hand.take(Tool::Turn);
        }
    }

    fn ask_open(&mut self) {
        let beside = self.recent.files.first().and_then(|f| f.parent());
        let folder = beside.map_or_else(|| std::env::current_dir().unwrap_or_default(), Into::into);
        let mut path = folder.display().to_string();
        if !path.is_empty() && !path.ends_with(std::path::MAIN_SEPARATOR) {
            path.push(std::path::MAIN_SEPARATOR);
        }
        self.page = Some(Page::OpenFile { path });
    }
}
