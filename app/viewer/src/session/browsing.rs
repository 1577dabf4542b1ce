//! The system's dialogs for files.

use std::path::{Path, PathBuf};
use std::time::Instant;

use rfd::FileDialog;

use super::Session;
use super::dialog::{Dialog, Picked};
use crate::commands::Browse;
use crate::jobs::{Job, Outcome};
use crate::model::errand::Kind;
use crate::model::finished_form::FinishedFile;
use crate::model::names::{PHOTO_ENDINGS, PICTURE_ENDINGS, TOOLPATH_ENDINGS, file_name};
use crate::model::page::Page;
use crate::model::photo_form::PhotoFile;

impl Session {
    /// Opens the system's dialog.
    pub(super) fn browse(&mut self, what: Browse) {
        if self.dialog.is_some() {
            return;
        }
        let folder = self.toolpath_folder();
        let woven = self.toolpath.draft.woven_file();
        let ask = {
            let what = what.clone();
            move || dialog(&what, folder.as_deref(), woven.as_deref())
        };
        let job = Job::start("Choosing a file", &self.waker, move |_| {
            let opened = Instant::now();
            Ok(Picked::after(ask(), opened.elapsed()))
        });
        self.dialog = Some(Dialog { what, job });
    }

    pub(super) fn take_dialog(&mut self) {
        let Some(dialog) = &mut self.dialog else {
            return;
        };
        let Some(outcome) = dialog.job.poll() else {
            return;
        };
        let what = dialog.what.clone();
        self.dialog = None;
        match outcome {
            Outcome::Done(picked) => self.take_picked(what, picked),
            Outcome::Failed(why) => self.no_dialog(&why),
            Outcome::Cancelled => {}
        }
    }

    /// Takes what a dialog gave.
    pub fn take_picked(&mut self, what: Browse, picked: Picked) {
        match picked {
            Picked::File(file) => self.take_chosen_file(what, file),
            Picked::NoDialog => self.no_dialog(""),
            Picked::Nothing => {}
        }
    }

    fn no_dialog(&mut self, why: &str) {
        let text = "The system has no file dialog. Type the path instead, or drop the file on the \
                    window.";
        self.notices.warning(format!("{text} {why}").trim_end());
    }

    fn take_chosen_file(&mut self, what: Browse, file: PathBuf) {
        let text = file.display().to_string();
        match (what, &mut self.page) {
            (Browse::Open, _) => {
                self.page = None;
                self.open(file);
            }
            (Browse::Spools, _) => self.take_spool_file(file),
            (Browse::Picture, _) => self.put_picture(file, None),
            (Browse::Toolpath, _) => self.take_toolpath(&file),
            (Browse::Woven, _) => self.toolpath.draft.woven = text,
            (Browse::Dialect, _) => {
                self.toolpath.draft.built_in = None;
                self.toolpath.draft.dialect_file = text;
            }
            (Browse::Form(of), _) => self.take_form_file(of, text),
            (Browse::Photo(of), _) => self.take_photo_file(of, text),
            (Browse::Finished(of), _) => self.take_finished_file(of, text),
            (Browse::Save(_), Some(Page::SaveAs { path, .. })) => *path = text,
            (Browse::ViewCopy(_), Some(Page::ViewCopy(form))) => form.path = text,
            (Browse::Folder, Some(Page::Prepare { folder } | Page::Bodies { folder, .. })) => {
                *folder = text;
            }
            (Browse::Save(_) | Browse::ViewCopy(_) | Browse::Folder, _) => {}
        }
    }
}

/// Shows a dialog and waits for it.
fn dialog(what: &Browse, toolpaths: Option<&Path>, woven: Option<&Path>) -> Option<PathBuf> {
    let titled = |title: &str| FileDialog::new().set_title(title);
    match what {
        Browse::Open => titled("Open a mesh or a plan")
            .add_filter(
                "Meshes and plans",
                &["stl", "obj", "ply", "off", "3mf", "gltf", "glb", "ron"],
            )
            .pick_file(),
        Browse::Spools => titled("Spools, or the readings of a test print")
            .add_filter("Spools and readings", &["ron", "csv"])
            .pick_file(),
        Browse::Picture => titled("A picture for the part")
            .add_filter("Pictures", &PICTURE_ENDINGS)
            .pick_file(),
        Browse::Save(path) => {
            let folder = path.parent().filter(|f| f.is_dir());
            in_folder(titled("Save the plan as"), folder)
                .set_file_name(file_name(path))
                .save_file()
        }
        Browse::ViewCopy(path) => {
            let folder = path.parent().filter(|f| f.is_dir());
            in_folder(titled("Picture of the view"), folder)
                .add_filter("Pictures", &["png"])
                .set_file_name(file_name(path))
                .save_file()
        }
        Browse::Folder => titled("Folder for the printer's files").pick_folder(),
        Browse::Toolpath => {
            let dialog = titled("Your sliced toolpath")
                .add_filter("Toolpaths", &TOOLPATH_ENDINGS)
                .add_filter("All files", &["*"]);
            in_folder(dialog, toolpaths).pick_file()
        }
        Browse::Woven => in_folder(titled("The woven file"), toolpaths)
            .set_file_name(woven.map(file_name).unwrap_or_default())
            .save_file(),
        Browse::Form(of) => {
            let dialog = in_folder(titled(of.name()), toolpaths);
            match of.kind() {
                Kind::Folder => dialog.pick_folder(),
                Kind::File => dialog.pick_file(),
                Kind::NewFile => dialog.save_file(),
            }
        }
        Browse::Photo(of) => {
            let dialog = in_folder(titled(of.name()), toolpaths);
            match of {
                PhotoFile::Photo => a_photograph(dialog),
                PhotoFile::Plan => dialog.add_filter("Plans", &["ron"]).pick_file(),
                PhotoFile::Table => dialog.save_file(),
            }
        }
        Browse::Finished(of) => {
            let dialog = in_folder(titled(&of.name()), toolpaths);
            match of {
                FinishedFile::Photo(_) => a_photograph(dialog),
                FinishedFile::Folder => dialog.pick_folder(),
            }
        }
        Browse::Dialect => titled("A dialect file")
            .add_filter("Dialects", &["ron"])
            .pick_file(),
    }
}

fn a_photograph(dialog: FileDialog) -> Option<PathBuf> {
    let dialog = dialog.add_filter("Photographs", &PHOTO_ENDINGS);
    dialog.pick_file()
}

fn in_folder(dialog: FileDialog, folder: Option<&Path>) -> FileDialog {
    match folder {
        Some(folder) => dialog.set_directory(folder),
        None => dialog,
    }
}
