//! Copies of unsaved plans, so that a crash or a power cut costs seconds of work.
//!
//! Each open window has a folder of its own beneath the recovery folder and holds a lock on
//! a file in it. Whoever finds a folder whose lock is free knows that its window is gone, and
//! offers what it left.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use project::text_file::{LONGEST_TEXT, read_text};
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
        project::write::bytes(&self.folder.join(PLAN), plan_text.as_bytes())
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
    let plan_text = match plan_text(&folder.join(PLAN)) {
        Ok(text) if !text.trim().is_empty() => text,
        // It may be read another time.
        Err(error) if error.kind() != io::ErrorKind::NotFound => return None,
        _ => {
            let _ = fs::remove_dir_all(&folder);
            return None;
        }
    };
    let about = read_text(&folder.join(ABOUT))
        .ok()
        .and_then(|text| ron::from_str(&text).ok());
    Some(Left {
        about: about.unwrap_or_else(|| about_unknown(&folder, &plan_text)),
        plan_text,
        folder,
    })
}

/// The text of a copy, also where it is damaged: it is still worth a look.
fn plan_text(file: &Path) -> io::Result<String> {
    if fs::metadata(file)?.len() > LONGEST_TEXT {
        return Err(io::ErrorKind::FileTooLarge.into());
    }
    Ok(String::from_utf8_lossy(&fs::read(file)?).into_owned())
}

/// What can be told of a copy whose own note is lost: the plan is still somebody's work.
fn about_unknown(folder: &Path, plan_text: &str) -> About {
    let title = match plan::Plan::from_ron(plan_text) {
        Ok(plan) if !plan.title.trim().is_empty() => plan.title,
        _ => "A plan without a known name".to_owned(),
    };
    let made = fs::metadata(folder.join(PLAN)).and_then(|data| data.modified());
    About {
        title,
        plan_file: None,
        mesh_file: None,
        demo: None,
        at_s: made.map_or(0, seconds),
    }
}

impl Left {
    /// The file that holds the plan's text.
    pub fn plan_copy(&self) -> PathBuf {
        self.folder.join(PLAN)
    }

    /// Throws it away.
    pub fn discard(&self) {
        let _ = fs::remove_dir_all(&self.folder);
    }
}

/// Now, in seconds since 1970.
pub fn now_s() -> u64 {
    seconds(SystemTime::now())
}

fn seconds(time: SystemTime) -> u64 {
    time.duration_since(SystemTime::UNIX_EPOCH)
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

    /// What is found of a copy once one of its files is cut off.
    fn cut_off(name: &str, length: usize, plan_text: &str) -> Vec<Left> {
        let home = tempfile::tempdir().expect("a folder");
        let keeper = Keeper::new(home.path()).expect("kept");
        keeper.keep(&about(7), plan_text).expect("written");
        let file = keeper.folder.join(name);
        drop(keeper);
        let whole = fs::read(&file).expect("there");
        fs::write(&file, &whole[..length.min(whole.len())]).expect("cut");
        let left = find_left(home.path());
        let on_disk = fs::read_dir(home.path()).expect("listed").count();
        assert_eq!(left.len(), on_disk, "what is not offered is not kept");
        left
    }

    #[test]
    fn a_note_cut_off_anywhere_costs_no_work() {
        let text = "(version: 1, title: \"Pfosten \u{e4}\")";
        let whole = ron::ser::to_string_pretty(&about(7), Default::default()).expect("written");
        for length in 0..whole.len() + 8 {
            let left = cut_off(ABOUT, length, text);
            assert_eq!(left.len(), 1, "cut at {length}");
            assert_eq!(left[0].plan_text, text);
            assert!(!left[0].about.title.is_empty());
        }
    }

    #[test]
    fn a_plan_cut_off_anywhere_is_offered_as_far_as_it_goes() {
        let text = "(version: 1, title: \"Pfosten \u{e4}\u{1f6e5}\")";
        for length in 0..=text.len() {
            let left = cut_off(PLAN, length, text);
            assert_eq!(left.len(), usize::from(length > 0), "cut at {length}");
            if let Some(left) = left.first() {
                assert_eq!(left.about, about(7));
                assert!(left.plan_text.starts_with(&text[..length.min(20)]));
            }
        }
    }

    #[test]
    fn a_note_that_is_missing_is_made_up_from_the_plan() {
        let home = tempfile::tempdir().expect("a folder");
        let demos = demo_models::all().expect("demonstrations");
        fs::write(home.path().join(PLAN), demos[0].plan_ron).expect("written");
        fs::write(home.path().join(LOCK), "").expect("written");
        let left = open_left(home.path().to_owned()).expect("a plan");
        let plan = plan::Plan::from_ron(demos[0].plan_ron).expect("a plan");
        assert_eq!(left.about.title, plan.title);
        assert!(left.about.at_s > 0 && left.about.plan_file.is_none());
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
