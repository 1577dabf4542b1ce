//! The files that were open lately, newest first.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::settings::write_ron;

/// How many are kept.
const KEPT: usize = 12;

/// The list.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Recent {
    /// The files, newest first.
    pub files: Vec<PathBuf>,
}

impl Recent {
    /// Reads the list; an unreadable one is empty.
    pub fn read(file: &Path) -> Self {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        ron::from_str(&text).unwrap_or_default()
    }

    /// Puts a file at the head.
    pub fn opened(&mut self, file: &Path) {
        let file = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
        self.files.retain(|f| *f != file);
        self.files.insert(0, file);
        self.files.truncate(KEPT);
    }

    /// Takes a file out of the list.
    pub fn forget(&mut self, file: &Path) {
        self.files.retain(|f| f != file);
    }

    /// Writes the list.
    ///
    /// # Errors
    /// In words, when the file can't be written.
    pub fn write(&self, file: &Path) -> Result<(), String> {
        write_ron(file, self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_is_first_and_none_is_listed_twice() {
        let mut recent = Recent::default();
        for n in 0..20 {
            recent.opened(Path::new(&format!("/plans/{n}.ron")));
        }
        recent.opened(Path::new("/plans/15.ron"));
        assert_eq!(recent.files.len(), KEPT);
        assert_eq!(recent.files[0], Path::new("/plans/15.ron"));
        assert_eq!(recent.files[1], Path::new("/plans/19.ron"));
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("recent.ron");
        recent.write(&file).expect("written");
        assert_eq!(Recent::read(&file), recent);
        recent.forget(Path::new("/plans/15.ron"));
        assert!(!recent.files.contains(&PathBuf::from("/plans/15.ron")));
    }
}
