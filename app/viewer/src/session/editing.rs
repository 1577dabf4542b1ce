//! Changes to the plan: all of them go through the plan's own list of edits.

use plan::{Edit, Paint, Region};

use super::Session;
use crate::model::document::Document;

impl Session {
    /// Makes a change; a refusal is shown.
    pub fn edit(&mut self, edit: Edit) -> bool {
        let Some(doc) = &mut self.doc else {
            return false;
        };
        match doc.edit(edit) {
            Ok(()) => {
                self.refresh_model();
                self.notices.settle();
                self.keep_chosen_in_range();
                true
            }
            Err(why) => {
                self.notices.error(why.to_string());
                false
            }
        }
    }

    /// Takes the last change back.
    pub fn undo(&mut self) {
        self.tools.drop_begun();
        if let Some(name) = self.doc.as_mut().and_then(Document::undo) {
            self.notices.done(format!("Undone: {name}"));
        }
        self.keep_chosen_in_range();
    }

    /// Makes the change again that was taken back.
    pub fn redo(&mut self) {
        self.tools.drop_begun();
        if let Some(name) = self.doc.as_mut().and_then(Document::redo) {
            self.notices.done(format!("Redone: {name}"));
        }
        self.keep_chosen_in_range();
    }

    pub(super) fn keep_chosen_in_range(&mut self) {
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let last = regions.checked_sub(1);
        self.chosen.region = match (self.chosen.region, last) {
            (Some(region), Some(last)) => Some(region.min(last)),
            (_, None) => None,
            (None, last) => last,
        };
        let chosen = self.chosen.region;
        let also = &mut self.chosen.also;
        also.retain(|r| *r < regions && Some(*r) != chosen);
        self.view.lift_region = self.view.lift_region.filter(|r| *r < regions);
        let stops = self.chosen_region().map_or(0, |r| match &r.paint {
            Paint::Fade { fade, .. } => fade.stops.len(),
            Paint::Fixed(_) | Paint::Blend(_) => 0,
        });
        self.chosen.stop = self.chosen.stop.filter(|s| *s < stops);
        if let Some((region, _)) = &self.chosen.naming
            && *region >= regions
        {
            self.chosen.naming = None;
        }
        let components = self.doc.as_ref().map_or(0, |d| d.plan().spools.len());
        self.chosen.held.resize(components, false);
    }

    /// The chosen region.
    pub fn chosen_region(&self) -> Option<&Region> {
        let doc = self.doc.as_ref()?;
        doc.plan().regions.get(self.chosen.region?)
    }

    /// Chooses a region.
    pub fn choose_region(&mut self, region: usize) {
        if self.chosen.region != Some(region) {
            self.chosen.stop = None;
            self.chosen.naming = None;
        }
        self.chosen.also.clear();
        self.choose_main(region);
    }

    /// Chooses the region whose blend is shown; what is selected with it stays.
    pub(super) fn choose_main(&mut self, region: usize) {
        self.chosen.region = Some(region);
        self.keep_chosen_in_range();
    }

    /// A change that belongs to a drag: all of one drag count as one step of undo.
    pub fn edit_dragged(&mut self, edit: Edit, done: bool) {
        let made = self.doc.as_mut().map(|doc| doc.edit_dragged(edit, done));
        match made {
            Some(Ok(())) => {
                self.refresh_model();
                self.keep_chosen_in_range();
            }
            Some(Err(why)) => self.notices.error(why.to_string()),
            None => {}
        }
    }

    /// What was dragged was let go.
    pub(super) fn end_edit(&mut self) {
        if let Some(doc) = &mut self.doc {
            doc.end_drag();
        }
    }

    /// Takes the name that was typed for a region.
    pub(super) fn take_name(&mut self) {
        let Some((region, text)) = self.chosen.naming.take() else {
            return;
        };
        let to = text.trim().to_owned();
        if !to.is_empty() {
            self.edit(Edit::RenameRegion { region, to });
        }
    }
}
