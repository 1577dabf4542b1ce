//! What the commands do: the one place where they change the session.

use plan::Edit;

use super::Session;
use super::placing::Way;
use crate::commands::Command;
use crate::files::settings::{Appearance, SCALE_RANGE};
use crate::model::errand::Errand;
use crate::model::page::{After, Drawer, Page, SidePanel};
use crate::model::tool::Tool;

impl Session {
    /// Whether a command makes sense now.
    pub fn can(&self, command: &Command) -> bool {
        let region = self.chosen.region;
        let open = self.doc.is_some();
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let locked = self.chosen_region().is_some_and(|r| r.locked);
        match command {
            Command::Save
            | Command::SaveAs
            | Command::Prepare
            | Command::Bodies
            | Command::Weave
            | Command::Job
            | Command::FinishedPart
            | Command::Close
            | Command::AddBand
            | Command::NewArea
            | Command::AskPicture
            | Command::PutPicture(..)
            | Command::PutLetters
            | Command::Take(_)
            | Command::FillBy(_)
            | Command::NextFill
            | Command::Through
            | Command::TakeOff
            | Command::NextMirror
            | Command::Mirror(_)
            | Command::Brush(_)
            | Command::Level
            | Command::Fit
            | Command::LookFrom(_)
            | Command::Lens
            | Command::Turn(..)
            | Command::Zoom(_)
            | Command::Cut
            | Command::Layers(_)
            | Command::AskViewCopy
            | Command::Fold(_)
            | Command::Show(_)
            | Command::NextLook => open,
            Command::Mend => self.can_mend(),
            Command::Stand(_) => self.can_stand_otherwise(),
            Command::Undo => self.doc.as_ref().is_some_and(|d| d.undo_label().is_some()),
            Command::Redo => self.doc.as_ref().is_some_and(|d| d.redo_label().is_some()),
            // The base region covers everything: it stays, and stays at the bottom.
            Command::Delete => !locked && region.is_some_and(|r| r > 0),
            Command::Hide | Command::Duplicate => region.is_some_and(|r| r > 0),
            Command::Raise => region.is_some_and(|r| r > 0 && r + 1 < regions),
            Command::Lower => region.is_some_and(|r| r > 1),
            Command::Combine => !locked && region.is_some_and(|r| r > 1),
            Command::Grow(_) | Command::Smooth | Command::Invert => {
                !locked && region.is_some_and(|r| r > 0)
            }
            Command::Rename => !locked && region.is_some(),
            Command::Lock => region.is_some(),
            Command::ChooseAbove | Command::ChooseBelow => regions > 1,
            Command::WeaveIt | Command::WeaveAnyway => {
                open && self.toolpath.draft.can_weave() && !self.is_on_toolpath()
            }
            Command::TryOptions | Command::CompareWays => {
                open && self.toolpath.draft.can_try() && !self.is_on_toolpath()
            }
            Command::OwnColours(_) => self.may_have_own_colours() && !self.own_colours.is_working(),
            Command::FlatColours(_) => self.can_use_flat_colours(),
            Command::Run(errand) => self.can_run(*errand),
            Command::ReadPhoto => !self.photographs.is_working(),
            Command::WritePhotoTable => self.can_write_photo_table(),
            Command::ReadFinished => self.can_read_finished(),
            Command::WriteRecord => self.can_write_record(),
            Command::TraceFinished => self.finished.read().is_some() && self.can_run(Errand::Trace),
            Command::ReadBack => self.can_read_woven(),
            Command::Follow => self.toolpath.follow.is_some() || self.can_read_woven(),
            Command::Moves(_) | Command::MoveAtShare(_) | Command::EnterLayer(_) => {
                let follow = self.toolpath.follow.as_ref();
                follow.is_some_and(|f| f.now().is_some())
            }
            Command::DabAtMiddle => {
                open && (self.tools.tool != Tool::Turn || self.view.section.asks_facet)
            }
            Command::Section(cutting) => open && self.can_cut(cutting),
            Command::CopyView(order) => self.can_copy_view(&order.to),
            _ => true,
        }
    }

    fn can_read_woven(&self) -> bool {
        self.doc.is_some() && self.toolpath.draft.has_woven() && !self.is_on_toolpath()
    }

    /// Does what a command says, if that makes sense now. Tells whether the window may look
    /// different for it.
    pub fn apply(&mut self, command: Command) -> bool {
        if !self.can(&command) {
            return false;
        }
        if self.tools.outline.is_some() && command.moves_view() {
            return self.step_outline(&command);
        }
        match command {
            Command::Lay { window, stage, fit } => {
                let before = (self.view.window, self.view.stage, self.view.camera);
                self.lay(window, stage, fit);
                before != (self.view.window, self.view.stage, self.view.camera)
            }
            Command::Hover(hover) => {
                let seen = |s: &Self| (s.view.hover_mm, s.marked_height_mm());
                let before = seen(self);
                self.hover(hover);
                before != seen(self)
            }
            Command::LiftRegion(region) => {
                let before = std::mem::replace(&mut self.view.lift_region, region);
                before != region
            }
            command => {
                self.apply_to_files(command);
                true
            }
        }
    }

    fn apply_to_files(&mut self, command: Command) {
        match command {
            Command::Open => self.ask_open(),
            Command::OpenFile(file) => self.open(file),
            Command::OpenDemo(name) => self.open_demo(&name),
            Command::OpenLeft(left) => self.open_left(left),
            Command::DiscardLeft(left) => self.discard_left(&left),
            Command::ForgetRecent(file) => self.forget_recent(&file),
            Command::DrawCards => self.draw_cards(),
            Command::Save => self.save(),
            Command::SaveAs => self.ask_save_as(None),
            Command::SaveTo(file, then) => self.save_to(&file, then),
            Command::SaveThen(then) => self.save_then(Some(then)),
            Command::SaveOver(file, then) => self.save_over(&file, then),
            Command::TakeTheirs => self.take_theirs(),
            Command::KeepMine => self.keep_mine(),
            Command::CompareWithTheirs => self.compare_with_theirs(),
            Command::DropUnsaved(then) => self.drop_unsaved(then),
            Command::Prepare => self.ask_prepare(),
            Command::Bodies => self.show_bodies(),
            Command::CutBodies(options) => self.cut_bodies(options),
            Command::BodiesIn(folder) => self.write_bodies(&folder),
            Command::PrepareIn(folder) => self.prepare(&folder),
            Command::Mend => self.mend(),
            Command::Stand(place) => self.stand_otherwise(place),
            Command::KeepUnit => self.size_is_odd = false,
            Command::AskViewCopy => self.ask_view_copy(),
            Command::CopyView(order) => self.copy_view(order),
            Command::Browse(what) => self.browse(what),
            Command::Close => self.ask_to(After::Close),
            Command::Quit => self.ask_to(After::Quit),
            command => self.apply_to_toolpath(command),
        }
    }

    fn apply_to_toolpath(&mut self, command: Command) {
        match command {
            Command::Weave => self.show_drawer(Drawer::Weave),
            Command::TakeToolpath(file) => self.take_toolpath(&file),
            Command::SetDraft(draft) => self.toolpath.draft = *draft,
            Command::WeaveIt => self.weave_if_whole(),
            Command::WeaveAnyway => self.weave(),
            Command::TryOptions => self.try_options(false),
            Command::CompareWays => self.compare_ways(),
            Command::TakeWay(means) => self.take_way(&means),
            Command::ReadBack => {
                self.show_drawer(Drawer::Weave);
                self.read_back();
            }
            Command::CancelToolpathWork => self.cancel_toolpath_work(),
            Command::LookAt(miss) => self.look_at_miss(&miss),
            Command::Follow => self.toggle_follow(),
            Command::Moves(by) => self.step_moves(by),
            Command::MoveAtShare(share) => self.go_to_share(share),
            Command::EnterLayer(entering) => self.enter_layer(entering),
            command => self.apply_to_job(command),
        }
    }

    fn apply_to_job(&mut self, command: Command) {
        match command {
            Command::Job => self.show_drawer(Drawer::Job),
            Command::SetForms(forms) => self.errands.forms = *forms,
            Command::Run(errand) => self.run_errand(errand),
            Command::CancelRun => self.cancel_errand(),
            Command::OpenOutside(path) => self.open_outside(&path),
            Command::Photograph => self.show_photograph(),
            Command::SetPhotoForm(form) => self.set_photo_form(*form),
            Command::ReadPhoto => self.read_photograph(),
            Command::CancelPhoto => self.photographs.cancel(),
            Command::WritePhotoTable => self.write_photo_table(),
            Command::FinishedPart => self.show_finished_part(),
            Command::SetFinishedForm(form) => self.set_finished_form(*form),
            Command::ReadFinished => self.read_finished(),
            Command::CancelFinished => self.finished.cancel(),
            Command::WriteRecord => self.write_record(),
            Command::TraceFinished => self.trace_finished(),
            command => self.apply_to_plan(command),
        }
    }

    fn apply_to_plan(&mut self, command: Command) {
        match command {
            Command::Undo => self.undo(),
            Command::Redo => self.redo(),
            Command::Edit(edit) => {
                self.edit(*edit);
            }
            Command::EditOn(edit) => self.edit_dragged(*edit, false),
            Command::EditDone => self.end_edit(),
            Command::ChooseRegion(region) => self.choose_region(region),
            Command::ChooseToo(region) => self.choose_too(region),
            Command::ChooseUpTo(region) => self.choose_up_to(region),
            Command::ShowRegion(region) => self.show_region(region),
            Command::TypeName(text) => {
                if let Some((_, name)) = &mut self.chosen.naming {
                    *name = text;
                }
            }
            Command::TakeName => self.take_name(),
            Command::MoveRegion { from, to } => self.move_region(from, to),
            Command::AddBand => self.add_band_at_cursor(),
            Command::AddBandBetween(from_mm, to_mm) => self.add_band(from_mm, to_mm),
            Command::MoveEdge {
                region,
                edge,
                to_mm,
            } => self.move_band_edge(region, edge, to_mm, false),
            Command::NewArea => {
                self.tools.new_area = true;
                if !self.tools.tool.has_radius() {
                    self.tools.take(Tool::Brush);
                }
            }
            Command::OwnColours(blends) => self.use_own_colours(blends),
            Command::AskPicture => self.ask_picture(),
            Command::PutPicture(file, at) => self.put_picture(file, at),
            Command::PutLetters => self.put_letters(),
            Command::SetImprint(mask) => self.set_imprint(*mask),
            Command::SetLetters(text) => self.set_letters(text),
            Command::FadeAlongGreys => self.fade_along_greys(),
            Command::FlatColours(blends) => self.use_flat_colours(blends),
            Command::LayStraight => self.lay_otherwise(Way::Straight),
            Command::LayRound => self.lay_otherwise(Way::Round),
            Command::LayOnSkin => self.lay_otherwise(Way::OnSkin),
            command => self.apply_to_region(command),
        }
    }

    /// What is done to the chosen region.
    fn apply_to_region(&mut self, command: Command) {
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let (Some(region), Some(chosen)) = (self.chosen.region, self.chosen_region()) else {
            return self.apply_to_blend(command);
        };
        match command {
            Command::ChooseAbove => self.choose_region((region + 1) % regions),
            Command::ChooseBelow => self.choose_region((region + regions - 1) % regions),
            Command::Rename => self.chosen.naming = Some((region, chosen.name.clone())),
            Command::Duplicate => {
                if self.edit(Edit::DuplicateRegion { region }) {
                    self.choose_region(region + 1);
                }
            }
            Command::Delete => self.delete_selected(),
            Command::Raise => self.move_selected(true),
            Command::Lower => self.move_selected(false),
            Command::Hide => self.hide_selected(),
            Command::Grow(by_mm) => self.grow(by_mm),
            Command::Smooth => self.smooth(),
            Command::Invert => self.invert(),
            Command::Lock => {
                let locked = !chosen.locked;
                self.edit(Edit::LockRegion { region, locked });
            }
            Command::Combine => self.combine(region),
            command => self.apply_to_blend(command),
        }
    }

    fn apply_to_blend(&mut self, command: Command) {
        match command {
            Command::ChooseStop(stop) => {
                self.chosen.stop = Some(stop);
                self.keep_chosen_in_range();
            }
            Command::MakeFade => self.make_fade(),
            Command::MakeFixed => self.make_fixed(),
            Command::FadeAlong(region, along) => self.set_along(region, along),
            Command::MoveField(region, along) => self.set_along_dragged(region, along, false),
            Command::AddStop(region) => self.add_stop(region),
            Command::RemoveStop(region, stop) => self.remove_stop(region, stop),
            Command::MoveStop {
                region,
                stop,
                to_mm,
            } => self.move_stop(region, stop, to_mm, false),
            Command::SetShare { component, share } => self.set_share(component, share, false),
            Command::HoldShare(component) => {
                if let Some(held) = self.chosen.held.get_mut(component) {
                    *held = !*held;
                }
            }
            Command::SetBlend(shares) => self.set_edited_blend(shares, true),
            Command::PickOnRibbon {
                layer,
                dose,
                height_mm,
            } => self.pick_on_ribbon(layer, dose, height_mm),
            Command::UseBlend(name) => self.use_blend(&name),
            Command::NameBlend => self.name_blend(),
            Command::RenameBlend { from, to } => self.rename_blend(from, to),
            Command::DropBlend(name) => self.drop_blend(&name),
            Command::OwnBlend => self.own_blend(),
            Command::FreeShares(free) => self.free_shares = free,
            Command::Want(wanted) => self.wanted = wanted,
            Command::AddSpool => self.add_spool(),
            Command::AskSpoolFile => self.ask_spool_file(),
            Command::TakeSpoolFile(file) => self.take_spool_file(file),
            Command::OwnSpools => self.own_spools(),
            Command::UseFit => self.use_fitted(),
            Command::DropFit => {
                *self.fitted = None;
                self.page = None;
            }
            command => self.apply_to_tools(command),
        }
    }

    fn apply_to_tools(&mut self, command: Command) {
        let tools = &mut self.tools;
        match command {
            Command::Take(tool) => tools.take(tool),
            Command::NextMirror => tools.mirror = tools.mirror.next(),
            Command::Mirror(mirror) => tools.mirror = mirror,
            Command::Brush(factor) => tools.set_brush_mm(tools.brush_mm * factor),
            Command::BrushRadius(radius_mm) => tools.set_brush_mm(radius_mm),
            Command::SmoothBy(length_mm) => tools.set_smooth_mm(length_mm),
            Command::Crease(_) | Command::Flatness(_) | Command::FillBy(_) | Command::NextFill => {
                self.set_fill(&command);
            }
            Command::Through
            | Command::TakeOff
            | Command::BeginOutline(_)
            | Command::GoOnOutline(_)
            | Command::EndOutline => self.apply_to_outline(&command),
            Command::StraightTo(at) => self.straight_to(at),
            Command::BeginStroke(at) => self.begin_stroke(at),
            Command::GoOnStroke(at) => self.go_on_stroke(at),
            Command::EndStroke => self.end_stroke(),
            Command::BeginPlacing(at) => self.begin_placing(at),
            Command::GoOnPlacing(at, steps) => self.go_on_placing(at, steps),
            Command::EndPlacing => self.end_placing(),
            Command::ClickTool(at) => self.click_with(self.tools.tool, at),
            Command::DabAtMiddle if self.view.section.asks_facet => {
                self.section_along_facet(self.view.stage.center());
            }
            Command::DabAtMiddle => self.use_tool_at_middle(),
            command => self.apply_to_view(command),
        }
    }

    pub(super) fn apply_to_window(&mut self, command: Command) {
        match command {
            Command::ShowDrawer(drawer) => self.show_drawer(drawer),
            Command::Fold(panel) => self.fold(panel),
            Command::ShowPage(page) => self.page = Some(page),
            Command::ClosePage => self.page = None,
            Command::Appearance => {
                self.settings.appearance = match self.settings.appearance {
                    Appearance::Light => Appearance::Dark,
                    Appearance::Dark => Appearance::Light,
                };
                self.keep_settings();
            }
            Command::Larger => self.set_scale(self.settings.scale + 0.25),
            Command::Smaller => self.set_scale(self.settings.scale - 0.25),
            Command::PlainSize => self.set_scale(1.0),
            Command::Help => self.toggle_page(Page::Help),
            Command::Keys => self.toggle_page(Page::Keys),
            Command::Find => self.toggle_page(Page::Find {
                text: String::new(),
            }),
            Command::Dismiss => self.leave_off(),
            Command::CloseNotice(index) => self.notices.close(index),
            Command::CancelWork => self.stop_work(),
            _ => {}
        }
    }

    /// Shows a page of the drawer, also where it was folded.
    pub(super) fn show_drawer(&mut self, drawer: Drawer) {
        self.drawer = drawer;
        if std::mem::take(&mut self.settings.drawer_folded) {
            self.keep_settings();
        }
    }

    fn fold(&mut self, panel: SidePanel) {
        let folded = match panel {
            SidePanel::Drawer => &mut self.settings.drawer_folded,
            SidePanel::Ribbon => &mut self.settings.ribbon_folded,
        };
        *folded = !*folded;
        self.view.lift_region = None;
        self.keep_settings();
    }

    /// Sets the size of text and controls.
    fn set_scale(&mut self, scale: f32) {
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
        if std::mem::take(&mut self.view.section.asks_facet) || self.give_back_held() {
            return;
        }
        if self.tools.drop_begun() {
            self.clear_preview();
        } else if self.tools.new_area {
            self.tools.new_area = false;
        } else {
            self.tools.take(Tool::Turn);
        }
    }
}
