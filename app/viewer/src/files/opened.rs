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
    plan: PathBuf,
    notes: Notes,
    /// Held as long as the plan is open.
    _lock: File,
}

/// Where windows note that they have a plan open, and which note is this window's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notes {
    own: PathBuf,
    key: String,
}

/// How often a note is tried: another window may clear it away before it is locked.
const TRIES: usize = 8;

impl Opened {
    /// Notes that a plan is open, in a folder that all windows share.
    ///
    /// # Errors
    /// In words, when the note can't be made.
    pub fn note(folder: &Path, plan: &Path) -> Result<Self, String> {
        let failed = |e: &dyn std::fmt::Display| format!("{}: {e}", folder.display());
        fs::create_dir_all(folder).map_err(|e| failed(&e))?;
        let (key, pid) = (key(plan), std::process::id());
        let name = |more: usize| folder.join(format!("{key}-{}-{pid}-{more}", now_s()));
        let mut why = String::new();
        for own in (0..).map(name).filter(|file| !file.exists()).take(TRIES) {
            let lock = File::create(&own).map_err(|e| failed(&e))?;
            match lock.try_lock() {
                // One that was cleared away just before is a note to nobody.
                Ok(()) if own.exists() => {
                    return Ok(Self {
                        plan: plan.to_owned(),
                        notes: Notes {
                            key: key.clone(),
                            own,
                        },
                        _lock: lock,
                    });
                }
                Ok(()) => why = failed(&"the note is gone"),
                Err(e) => why = failed(&e),
            }
        }
        Err(why)
    }

    /// The plan that is open.
    pub fn plan(&self) -> &Path {
        &self.plan
    }

    /// Where other windows' notes are looked for.
    pub fn notes(&self) -> &Notes {
        &self.notes
    }
}

impl Notes {
    /// Whether another window has the same plan open. Notes of windows that are gone are cleared
    /// away.
    pub fn has_others(&self) -> bool {
        let folder = self.own.parent().unwrap_or(Path::new(""));
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let notes = entries.map(|e| e.path()).filter(|file| {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            name.starts_with(&self.key) && *file != self.own
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
        let _ = fs::remove_file(&self.notes.own);
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
        assert!(!one.notes().has_others());
        let roundabout = home.path().join(".").join("bollard.plan.ron");
        let other = Opened::note(&notes, &roundabout).expect("a note");
        assert!(one.notes().has_others() && other.notes().has_others());
        let third = Opened::note(&notes, &home.path().join("other.plan.ron")).expect("a note");
        assert!(!third.notes().has_others());
        drop(other);
        assert!(!one.notes().has_others());
        // What a window that was killed has left holds no lock.
        let left = notes.join(format!("{}-0-1-0", key(&plan)));
        fs::write(&left, "").expect("written");
        assert!(!one.notes().has_others());
        assert!(!left.exists());
    }
}
