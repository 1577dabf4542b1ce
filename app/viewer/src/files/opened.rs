//! Which plans are open in windows, so that two windows on one plan know of each other.
//!
//! Each window holds a lock on a small file whose name tells the plan. A file whose lock is free
//! was left by a window that is gone.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use plan::document::sha256_hex;

use super::recovery::now_s;

/// The note that a plan is open here; it goes with this value.
#[derive(Debug)]
pub struct Opened {
    file: PathBuf,
    plan: PathBuf,
    /// Held as long as the plan is open.
    _lock: File,
}

impl Opened {
    /// Notes that a plan is open, in a folder that all windows share.
    ///
    /// # Errors
    /// In words, when the note can't be made.
    pub fn note(folder: &Path, plan: &Path) -> Result<Self, String> {
        let failed = |e: std::io::Error| format!("{}: {e}", folder.display());
        fs::create_dir_all(folder).map_err(failed)?;
        let (key, pid) = (key(plan), std::process::id());
        let name = |more: usize| folder.join(format!("{key}-{}-{pid}-{more}", now_s()));
        let free = (0..).map(name).find(|file| !file.exists());
        let file = free.unwrap_or_else(|| folder.join(&key));
        let lock = File::create(&file).map_err(failed)?;
        lock.try_lock()
            .map_err(|e| format!("{}: {e}", file.display()))?;
        Ok(Self {
            file,
            plan: plan.to_owned(),
            _lock: lock,
        })
    }

    /// The plan that is open.
    pub fn plan(&self) -> &Path {
        &self.plan
    }

    /// Whether another window has the same plan open. Notes of windows that are gone are cleared
    /// away.
    pub fn has_others(&self) -> bool {
        let key = key(&self.plan);
        let folder = self.file.parent().unwrap_or(Path::new(""));
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let notes = entries.map(|e| e.path()).filter(|file| {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            name.starts_with(&key) && *file != self.file
        });
        let held: Vec<bool> = notes.map(|file| is_held(&file)).collect();
        held.contains(&true)
    }
}

fn is_held(file: &Path) -> bool {
    let Ok(lock) = File::open(file) else {
        return false;
    };
    let held = lock.try_lock().is_err();
    if !held {
        // One that can't be removed is only looked at once more.
        let _ = fs::remove_file(file);
    }
    held
}

impl Drop for Opened {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.file);
    }
}

/// What stands for a plan in the names of notes.
fn key(plan: &Path) -> String {
    let full = fs::canonicalize(plan).or_else(|_| std::path::absolute(plan));
    let full = full.unwrap_or_else(|_| plan.to_owned());
    let mut key = sha256_hex(full.to_string_lossy().as_bytes());
    key.truncate(24);
    key
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_windows_on_one_plan_know_of_each_other() {
        let home = tempfile::tempdir().expect("a folder");
        let plan = home.path().join("bollard.plan.ron");
        fs::write(&plan, "()").expect("written");
        let notes = home.path().join("open");
        let one = Opened::note(&notes, &plan).expect("a note");
        assert!(!one.has_others());
        let roundabout = home.path().join(".").join("bollard.plan.ron");
        let other = Opened::note(&notes, &roundabout).expect("a note");
        assert!(one.has_others() && other.has_others());
        let third = Opened::note(&notes, &home.path().join("other.plan.ron")).expect("a note");
        assert!(!third.has_others());
        drop(other);
        assert!(!one.has_others());
        // What a window that was killed has left holds no lock.
        let left = notes.join(format!("{}-0-1-0", key(&plan)));
        fs::write(&left, "").expect("written");
        assert!(!one.has_others());
        assert!(!left.exists());
    }
}
