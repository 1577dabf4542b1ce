//! Copies of unsaved plans, so that a crash or a power cut costs seconds of work.
//!
//! Each open window has a folder of its own beneath the recovery folder and holds a lock on
//! a file in it. Whoever finds a folder whose lock is free knows that its window is gone, and
//! offers what it left.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use handoff::job::read_text;
use serde::{Deserialize, Serialize};

use super::settings::write_ron;

const LOCK: &str = "lock";
const ABOUT: &str = "about.ron";
const PLAN: &str = "plan.ron";

/// What a copy is a copy of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct About {
    /// The part's title.
    pub title: String,
    /// The file that the plan was opened from or last saved to, if any.
    pub plan_file: Option<PathBuf>,
    /// The mesh, as a full path; none when the part is a demonstration.
    pub mesh_file: Option<PathBuf>,
    /// Name of the demonstration, if it is one.
    pub demo: Option<String>,
    /// When the copy was made, seconds since 1970.
    pub at_s: u64,
}

/// Keeps the copy of this window's plan.
#[derive(Debug)]
pub struct Keeper {
    folder: PathBuf,
    /// Held as long as the window lives.
    _lock: File,
}

/// What a window that is gone has left.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// What it is.
    pub about: About,
    /// The plan's text.
    pub plan_text: String,
    folder: PathBuf,
}

impl Keeper {
    /// Makes a folder for this window and locks it.
    ///
    /// # Errors
    /// In words, when the folder can't be made.
    pub fn new(recovery_folder: &Path) -> Result<Self, String> {
        let failed = |e: std::io::Error| format!("{}: {e}", recovery_folder.display());
        let own = format!("{}-{}", now_s(), std::process::id());
        let mut folder = recovery_folder.join(&own);
        let mut more = 1;
        while folder.exists() {
            folder = recovery_folder.join(format!("{own}-{more}"));
            more += 1;
        }
        fs::create_dir_all(&folder).map_err(failed)?;
        let lock = File::create(folder.join(LOCK)).map_err(failed)?;
        lock.try_lock()
            .map_err(|e| format!("{}: {e}", folder.display()))?;
        Ok(Self {
            folder,
            _lock: lock,
        })
    }

    /// Makes or renews the copy.
    ///
    /// # Errors
    /// In words, when it can't be written.
    pub fn keep(&self, about: &About, plan_text: &str) -> Result<(), String> {
        handoff::write::bytes(&self.folder.join(PLAN), plan_text.as_bytes())
            .map_err(|e| e.to_string())?;
        write_ron(&self.folder.join(ABOUT), about)
    }

    /// Drops the copy: the plan is saved, or its owner does not want it.
    pub fn clear(&self) {
        // A copy that can't be removed is only offered once more.
        let _ = fs::remove_file(self.folder.join(ABOUT));
        let _ = fs::remove_file(self.folder.join(PLAN));
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        if !self.folder.join(ABOUT).exists() {
            let _ = fs::remove_dir_all(&self.folder);
        }
    }
}

/// Finds what windows that are gone have left, newest first. Empty folders are cleared away.
pub fn find_left(recovery_folder: &Path) -> Vec<Left> {
    let Ok(entries) = fs::read_dir(recovery_folder) else {
        return Vec::new();
    };
    let folders = entries.filter_map(|e| e.ok().map(|e| e.path()));
    let mut left: Vec<Left> = folders
        .filter(|f| f.is_dir())
        .filter_map(open_left)
        .collect();
    left.sort_by_key(|l| std::cmp::Reverse(l.about.at_s));
    left
}

fn open_left(folder: PathBuf) -> Option<Left> {
    let lock = File::open(folder.join(LOCK)).ok()?;
    lock.try_lock().ok()?;
    let read = |name| read_text(&folder.join(name)).ok();
    let about = read(ABOUT).and_then(|text| ron::from_str(&text).ok());
    match (about, read(PLAN)) {
        (Some(about), Some(plan_text)) => Some(Left {
            about,
            plan_text,
            folder,
        }),
        _ => {
            let _ = fs::remove_dir_all(&folder);
            None
        }
    }
}

impl Left {
    /// Throws it away.
    pub fn discard(&self) {
        let _ = fs::remove_dir_all(&self.folder);
    }
}

/// Now, in seconds since 1970.
pub fn now_s() -> u64 {
    std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |d| d.as_secs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn about(at_s: u64) -> About {
        About {
            title: "Harbour bollard".to_owned(),
            plan_file: Some(PathBuf::from("bollard.plan.ron")),
            mesh_file: None,
            demo: None,
            at_s,
        }
    }

    #[test]
    fn what_a_dead_window_left_is_found_and_a_live_one_is_let_be() {
        let home = tempfile::tempdir().expect("a folder");
        let dead = Keeper::new(home.path()).expect("kept");
        dead.keep(&about(7), "(version: 1)").expect("written");
        let live = Keeper::new(home.path()).expect("kept");
        live.keep(&about(9), "(version: 1)").expect("written");
        assert!(find_left(home.path()).is_empty(), "both windows live");

        drop(dead);
        let left = find_left(home.path());
        assert_eq!(left.len(), 1);
        assert_eq!(left[0].about, about(7));
        assert_eq!(left[0].plan_text, "(version: 1)");
        left[0].discard();
        assert!(find_left(home.path()).is_empty());
    }

    #[test]
    fn a_window_that_saved_leaves_nothing() {
        let home = tempfile::tempdir().expect("a folder");
        let keeper = Keeper::new(home.path()).expect("kept");
        keeper.keep(&about(7), "(version: 1)").expect("written");
        keeper.clear();
        drop(keeper);
        assert!(find_left(home.path()).is_empty());
        assert_eq!(fs::read_dir(home.path()).expect("listed").count(), 0);
    }
}
