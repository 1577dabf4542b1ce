//! The copy for recovery.

use std::time::{Duration, Instant};

use crate::files::recovery::{About, find_left, now_s};
use crate::files::{Home, Keeper, Left};
use crate::model::document::Document;

/// The copy is renewed when nothing has changed for this long,
pub(super) const CALM: Duration = Duration::from_secs(2);
/// or at the latest this long after the first change.
const LATEST: Duration = Duration::from_secs(15);

/// Keeps the copy.
#[derive(Debug, Default)]
pub(super) struct Autosave {
    keeper: Option<Keeper>,
    pub(super) recovery_folder: Option<std::path::PathBuf>,
    /// The revision in the copy.
    pub(super) kept: Option<u64>,
    /// The revision seen last, when it was first seen, and since when the copy is behind.
    seen: Option<(u64, Instant)>,
    pub(super) behind_since: Option<Instant>,
}

impl Autosave {
    /// Keeps copies in a home, or none.
    pub(super) fn new(home: Option<&Home>) -> Self {
        Self {
            recovery_folder: home.map(Home::recovery_folder),
            ..Self::default()
        }
    }

    pub(super) fn find_left(&self) -> Vec<Left> {
        self.recovery_folder
            .as_deref()
            .map(find_left)
            .unwrap_or_default()
    }

    /// Drops the copy.
    pub(super) fn clear(&mut self) {
        if let Some(keeper) = &self.keeper {
            keeper.clear();
        }
        self.kept = None;
        self.seen = None;
        self.behind_since = None;
    }

    /// Whether the copy is due.
    pub(super) fn due(&mut self, revision: u64, now: Instant) -> bool {
        if self.kept == Some(revision) {
            self.behind_since = None;
            return false;
        }
        let behind_since = *self.behind_since.get_or_insert(now);
        let seen_since = match self.seen {
            Some((seen, since)) if seen == revision => since,
            _ => {
                self.seen = Some((revision, now));
                now
            }
        };
        now.duration_since(seen_since) >= CALM || now.duration_since(behind_since) >= LATEST
    }

    pub(super) fn keep(&mut self, doc: &Document) -> Result<(), String> {
        let Some(folder) = &self.recovery_folder else {
            return Ok(());
        };
        if self.keeper.is_none() {
            self.keeper = Some(Keeper::new(folder)?);
        }
        let text = doc.plan().to_ron().map_err(|e| e.to_string())?;
        let about = About {
            title: doc.title(),
            plan_file: doc.origin.plan_file.clone(),
            mesh_file: doc.origin.mesh_file.clone(),
            demo: doc.origin.demo.clone(),
            at_s: now_s(),
        };
        if let Some(keeper) = &self.keeper {
            keeper.keep(&about, &text)?;
        }
        self.kept = Some(doc.revision());
        self.behind_since = None;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_copy_waits_for_calm_but_not_for_ever() {
        let mut autosave = Autosave::default();
        let start = Instant::now();
        let at = |s: f32| start + Duration::from_secs_f32(s);
        assert!(!autosave.due(1, at(0.0)));
        assert!(!autosave.due(1, at(1.9)));
        assert!(autosave.due(1, at(2.1)));
        autosave.kept = Some(1);
        assert!(!autosave.due(1, at(9.0)));
        // A change every second: the copy comes after fifteen of them.
        let due: Vec<u64> = (0..30)
            .filter(|s| autosave.due(2 + s, at(20.0 + *s as f32)))
            .collect();
        assert_eq!(due.first(), Some(&15));
    }
}
