//! Saving plans.

use std::path::{Path, PathBuf};

use geometry::mask::Imprint;
use plan::Plan;

use super::Session;
use crate::files::{Contents, OnDisk, Stamp};
use crate::jobs::toolpath_file::same_file;
use crate::model::document::Document;
use crate::model::names::{PLAN_ENDING, folder_of, plan_stem, relative, with_plan_ending};
use crate::model::page::{After, Page};

impl Session {
    /// Saves where the plan came from, or asks where.
    pub fn save(&mut self) {
        self.save_then(None);
    }

    /// Saves, and then does what waited for it.
    pub fn save_then(&mut self, then: Option<After>) {
        let Some(doc) = &self.doc else { return };
        match doc.origin.plan_file.clone() {
            Some(file) => self.save_to(&file, then),
            None => self.ask_save_as(then),
        }
    }

    /// Asks where to save.
    pub fn ask_save_as(&mut self, then: Option<After>) {
        let Some(doc) = &self.doc else { return };
        let path = suggested_file(doc).display().to_string();
        self.page = Some(Page::SaveAs { path, then });
    }

    /// Saves to a file. A part that has no mesh file yet gets one beside the plan. Asks first
    /// if the file holds what was not read or written here.
    pub fn save_to(&mut self, file: &Path, then: Option<After>) {
        let file = with_plan_ending(file);
        let there = Contents::of(&file);
        let own = self
            .own_plan_file()
            .is_some_and(|own| same_file(own, &file));
        let known = own && there == self.on_disk.plan;
        if there.is_some() && !known {
            let changed = own;
            self.page = Some(Page::Overwrite {
                file,
                changed,
                then,
            });
            return;
        }
        self.save_over(&file, then);
    }

    fn own_plan_file(&self) -> Option<&Path> {
        self.doc.as_ref()?.origin.plan_file.as_deref()
    }

    /// Saves to a file, whatever it holds.
    pub(super) fn save_over(&mut self, file: &Path, then: Option<After>) {
        if let Err(why) = self.try_save(file) {
            return self.notices.error(why);
        }
        self.page = None;
        self.autosave.clear();
        self.note_opened();
        // Signatures are bound to files, and this may be another.
        self.review.of = None;
        self.review.leave();
        self.note_recent(file);
        self.notices.done(format!("Saved {}", file.display()));
        if let Some(why) = self.mesh_trouble() {
            self.notices.error(why);
        }
        if let Some(then) = then {
            self.after(then);
        }
    }

    /// What is wrong with the mesh's file: the plan means nothing without it.
    pub(super) fn mesh_trouble(&self) -> Option<String> {
        let mesh_file = self.doc.as_ref()?.origin.mesh_file.as_deref()?;
        let name = mesh_file.display();
        match Stamp::of(mesh_file) {
            None => Some(format!(
                "The mesh {name} is missing. Put it back: without it the plan can't be opened."
            )),
            now if now != self.on_disk.mesh => Some(format!(
                "The mesh {name} was changed since it was opened here. Open the plan again to use \
                 the new mesh."
            )),
            _ => None,
        }
    }

    fn try_save(&mut self, file: &Path) -> Result<(), String> {
        let Some(doc) = &mut self.doc else {
            return Err("there is nothing to save".to_owned());
        };
        let folder = folder_of(file);
        std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        let mut plan = doc.plan().clone();
        let mesh_file = match &doc.origin.mesh_file {
            Some(mesh_file) => mesh_file.clone(),
            None => {
                let stem = plan_stem(file);
                let mesh_file = folder.join(format!("{stem}.stl"));
                write_mesh(doc, &mesh_file)?;
                mesh_file
            }
        };
        plan.mesh.file = relative(&mesh_file, &folder);
        // Files that the plan names from its old folder are named from the new one.
        if let Some(old) = doc.origin.plan_file.as_deref().map(folder_of) {
            let named = [&mut plan.spools.file, &mut plan.machine.file];
            for name in named.into_iter().flatten() {
                *name = relative(&old.join(&*name), &folder);
            }
        }
        let old = doc.origin.plan_file.as_deref().map(folder_of);
        bring_pictures(&mut plan, &old.unwrap_or_default(), &folder)?;
        let text = plan.to_ron().map_err(|e| e.to_string())?;
        project::write::bytes(file, text.as_bytes()).map_err(|e| e.to_string())?;
        let mesh = match &doc.origin.mesh_file {
            Some(_) => self.on_disk.mesh,
            None => Stamp::of(&mesh_file),
        };
        doc.was_saved(file.to_owned(), mesh_file, plan);
        self.on_disk = OnDisk {
            plan: Some(Contents::of_bytes(text.as_bytes())),
            mesh,
        };
        Ok(())
    }
}

/// Names a plan's pictures and fonts from a folder. Those that lie elsewhere are copied beside
/// the plan, so that it is whole wherever its folder goes.
fn bring_pictures(plan: &mut Plan, old: &Path, folder: &Path) -> Result<(), String> {
    let mut fault = None;
    let mut bring = |name: &mut String| {
        let file = old.join(&*name);
        let from_here = relative(&file, folder);
        if Path::new(&from_here).is_relative() {
            *name = from_here;
            return;
        }
        match copy_beside(&file, folder) {
            Ok(copy) => *name = copy,
            Err(why) => fault = Some(why),
        }
    };
    plan.each_imprint(&mut |imprint| match imprint {
        Imprint::Picture(picture) => bring(&mut picture.file),
        Imprint::Letters(letters) => letters.font.iter_mut().for_each(&mut bring),
        // A model has files of its own beside it, and stays with them.
        Imprint::Colour(colour) => colour.file = relative(&old.join(&colour.file), folder),
    });
    fault.map_or(Ok(()), Err)
}

/// Copies a file into a folder under its own name, or with a number if another has that; gives
/// the name.
fn copy_beside(file: &Path, folder: &Path) -> Result<String, String> {
    let told = |file: &Path, why: std::io::Error| format!("{}: {why}", file.display());
    let bytes = std::fs::read(file).map_err(|why| told(file, why))?;
    let part = |of: Option<&std::ffi::OsStr>| of.unwrap_or_default().to_string_lossy().into_owned();
    let (stem, ending) = (part(file.file_stem()), part(file.extension()));
    for number in 1.. {
        let name = match number {
            1 => format!("{stem}.{ending}"),
            n => format!("{stem}-{n}.{ending}"),
        };
        let copy = folder.join(&name);
        match std::fs::read(&copy) {
            Ok(there) if there == bytes => return Ok(name),
            Ok(_) => {}
            Err(why) if why.kind() == std::io::ErrorKind::NotFound => {
                project::write::bytes(&copy, &bytes).map_err(|e| e.to_string())?;
                return Ok(name);
            }
            Err(why) => return Err(told(&copy, why)),
        }
    }
    Ok(file.display().to_string())
}

fn write_mesh(doc: &Document, file: &Path) -> Result<(), String> {
    let bytes = geometry::read::mesh_to_stl(doc.mesh());
    project::write::bytes(file, &bytes).map_err(|e| e.to_string())
}

/// Where a part that was never saved is likely to be wanted.
fn suggested_file(doc: &Document) -> PathBuf {
    if let Some(file) = &doc.origin.plan_file {
        return file.clone();
    }
    if let Some(mesh) = &doc.origin.mesh_file {
        let stem = mesh
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        return mesh.with_file_name(format!("{stem}{PLAN_ENDING}"));
    }
    let name = doc.origin.demo.clone().unwrap_or_else(|| "part".to_owned());
    let folder = std::env::current_dir().unwrap_or_default();
    folder.join(&name).join(format!("{name}{PLAN_ENDING}"))
}
