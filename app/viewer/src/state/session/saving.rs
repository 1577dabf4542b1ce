//! Saving plans.

use std::path::{Path, PathBuf};

use super::{After, Page, Session};
use crate::state::document::Document;

/// What plan files end in.
pub const PLAN_ENDING: &str = ".plan.ron";

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

    /// Saves to a file. A part that has no mesh file yet gets one beside the plan.
    pub fn save_to(&mut self, file: &Path, then: Option<After>) {
        let file = with_plan_ending(file);
        match self.try_save(&file) {
            Ok(()) => {
                self.page = None;
                self.autosave.clear();
                // Signatures are bound to files, and this may be another.
                self.review.of = None;
                self.work.leave_review();
                self.recent.opened(&file);
                if let Some(home) = &self.home
                    && let Err(why) = self.recent.write(&home.recent_file())
                {
                    self.notices.warning(why);
                }
                self.notices.done(format!("Saved {}", file.display()));
                if let Some(then) = then {
                    self.after(then);
                }
            }
            Err(why) => self.notices.error(why),
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
        let text = plan.to_ron().map_err(|e| e.to_string())?;
        handoff::write::bytes(file, text.as_bytes()).map_err(|e| e.to_string())?;
        doc.was_saved(file.to_owned(), mesh_file, plan);
        Ok(())
    }
}

fn write_mesh(doc: &Document, file: &Path) -> Result<(), String> {
    let bytes = geometry::read::mesh_to_stl(doc.mesh());
    handoff::write::bytes(file, &bytes).map_err(|e| e.to_string())
}

pub(super) fn folder_of(file: &Path) -> PathBuf {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
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

/// The name of a plan without its ending.
pub fn plan_stem(file: &Path) -> String {
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    for ending in [PLAN_ENDING, ".ron"] {
        if let Some(stem) = name.strip_suffix(ending) {
            return stem.to_owned();
        }
    }
    name
}

fn with_plan_ending(file: &Path) -> PathBuf {
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    match name.ends_with(".ron") {
        true => file.to_owned(),
        false => file.with_file_name(format!("{name}{PLAN_ENDING}")),
    }
}

/// A file as it is named from a folder: relative when it lies in or below it, else in full.
pub(super) fn relative(file: &Path, folder: &Path) -> String {
    let full = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_owned());
    let (file, folder) = (full(file), full(folder));
    let path = file.strip_prefix(&folder).unwrap_or(&file);
    path.to_string_lossy().replace('\\', "/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_get_their_ending_once() {
        assert_eq!(
            with_plan_ending(Path::new("a/cup")),
            Path::new("a/cup.plan.ron")
        );
        assert_eq!(
            with_plan_ending(Path::new("a/cup.plan.ron")),
            Path::new("a/cup.plan.ron")
        );
        assert_eq!(
            with_plan_ending(Path::new("a/cup.ron")),
            Path::new("a/cup.ron")
        );
        assert_eq!(plan_stem(Path::new("a/cup.plan.ron")), "cup");
        assert_eq!(plan_stem(Path::new("a/cup.ron")), "cup");
    }

    #[test]
    fn a_mesh_beside_the_plan_is_named_relative_to_it() {
        assert_eq!(
            relative(Path::new("/a/b/cup.stl"), Path::new("/a/b")),
            "cup.stl"
        );
        assert_eq!(
            relative(Path::new("/a/b/c/cup.stl"), Path::new("/a/b")),
            "c/cup.stl"
        );
        assert_eq!(
            relative(Path::new("/x/cup.stl"), Path::new("/a/b")),
            "/x/cup.stl"
        );
    }
}
