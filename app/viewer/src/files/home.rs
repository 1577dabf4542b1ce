//! The folder in which the window keeps its own files.

use std::path::{Path, PathBuf};

use etcetera::{AppStrategy, AppStrategyArgs, choose_app_strategy};

/// Names a folder that takes the place of the usual one.
pub const HOME_VARIABLE: &str = "TINTFALL_HOME";

/// The folder for settings and recovery copies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Home(PathBuf);

impl Home {
    /// The folder that `TINTFALL_HOME` names, or else the usual one for this system; `None`
    /// when the system tells of none, and then nothing is kept.
    pub fn find() -> Option<Self> {
        if let Some(folder) = std::env::var_os(HOME_VARIABLE).filter(|f| !f.is_empty()) {
            return Some(Self(PathBuf::from(folder)));
        }
        let usual = choose_app_strategy(AppStrategyArgs {
            top_level_domain: String::new(),
            author: String::new(),
            app_name: "tintfall".to_owned(),
        });
        usual.ok().map(|folders| Self(folders.data_dir()))
    }

    /// A given folder.
    pub fn at(folder: impl Into<PathBuf>) -> Self {
        Self(folder.into())
    }

    /// Where settings are kept.
    pub fn settings_file(&self) -> PathBuf {
        self.0.join("settings.ron")
    }

    /// Where the list of recent files is kept.
    pub fn recent_file(&self) -> PathBuf {
        self.0.join("recent.ron")
    }

    /// Where recovery copies are kept.
    pub fn recovery_folder(&self) -> PathBuf {
        self.0.join("recovery")
    }

    /// Where windows note which plans they have open.
    pub fn open_folder(&self) -> PathBuf {
        self.0.join("open")
    }

    /// The folder itself.
    pub fn folder(&self) -> &Path {
        &self.0
    }
}
