//! The person's toolpath: its files chosen, and what of it is going on.

use std::path::{Path, PathBuf};

use super::Session;
use crate::jobs::toolpath_file::{Part, is_woven};
use crate::model::names::file_name;
use crate::model::page::Drawer;

impl Session {
    /// Takes a toolpath that was dropped or chosen: one that is woven to be checked and
    /// followed, any other to be woven into.
    pub fn take_toolpath(&mut self, file: &Path) {
        if self.doc.is_none() {
            self.notices.warning(format!(
                "{} is a toolpath. Open its part or plan first, then drop it again.",
                file_name(file)
            ));
            return;
        }
        self.show_drawer(Drawer::Weave);
        self.toolpath.trouble = None;
        if is_woven(file) {
            self.toolpath.draft.woven = file.display().to_string();
        } else {
            self.toolpath.draft.choose_sliced(file);
        }
    }

    /// Whether a file of the toolpath is being worked on that a person waits for.
    pub fn is_on_toolpath(&self) -> bool {
        self.toolpath.progress().is_some()
    }

    /// That work: its title, its stage, and how far it is.
    pub fn toolpath_work(&self) -> Option<(String, String, f32)> {
        self.toolpath.told()
    }

    /// Stops that work.
    pub fn cancel_toolpath_work(&mut self) {
        if let Some(progress) = self.toolpath.progress() {
            progress.cancel();
        }
    }

    pub(super) fn part_as_it_stands(&self) -> Option<Part> {
        let doc = self.doc.as_ref()?;
        Some(Part {
            revision: doc.revision(),
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            before: self.painted.clone(),
            model: self.model()?,
        })
    }

    /// The toolpath's file as a person knows it.
    pub fn toolpath_folder(&self) -> Option<PathBuf> {
        let draft = &self.toolpath.draft;
        let file = draft.sliced_file().or(draft.woven_file());
        let origin = self.doc.as_ref().map(|d| &d.origin);
        let plan = origin.and_then(|o| o.plan_file.clone().or(o.mesh_file.clone()));
        let folder = file.or(plan)?.parent()?.to_owned();
        folder.is_dir().then_some(folder)
    }

    pub(super) fn take_toolpath_results(&mut self) {
        self.take_foreseen();
        self.take_compared();
        self.take_woven();
        self.take_read_back();
        self.take_opened();
        self.take_layer();
    }
}
