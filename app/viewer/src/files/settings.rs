//! What a person has set for the window, whatever part is open.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::model::camera::Lens;

/// Version of the settings file.
const VERSION: u32 = 1;

/// The least and the greatest scale of the window's contents.
pub const SCALE_RANGE: (f32, f32) = (0.75, 3.0);

/// Light or dark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Appearance {
    /// Dark grey, for a dim workshop.
    Dark,
    /// Light grey, for a bright one.
    #[default]
    Light,
}

/// The settings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Version of this format.
    pub version: u32,
    /// Light or dark; older settings call it `shade`.
    #[serde(alias = "shade")]
    pub appearance: Appearance,
    /// Size of text and controls relative to the system's scale.
    pub scale: f32,
    /// How depth is shown.
    pub lens: Lens,
    /// Brush radius, mm.
    pub brush_mm: f64,
    /// Whether the drawer is folded.
    pub drawer_folded: bool,
    /// Whether the ribbon is folded.
    pub ribbon_folded: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            version: VERSION,
            appearance: Appearance::default(),
            scale: 1.0,
            lens: Lens::default(),
            brush_mm: 4.0,
            drawer_folded: false,
            ribbon_folded: false,
        }
    }
}

impl Settings {
    /// Reads them. What can't be read is left at its default: settings are never a reason
    /// not to start.
    pub fn read(file: &Path) -> Self {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        let read: Self = ron::from_str(&text).unwrap_or_default();
        read.sound()
    }

    /// Writes them.
    ///
    /// # Errors
    /// In words, when the file can't be written.
    pub fn write(&self, file: &Path) -> Result<(), String> {
        write_ron(file, self)
    }

    /// Values that a wrong file could bring are pulled into range.
    fn sound(mut self) -> Self {
        let fresh = Self::default();
        self.version = VERSION;
        if !self.scale.is_finite() {
            self.scale = fresh.scale;
        }
        self.scale = self.scale.clamp(SCALE_RANGE.0, SCALE_RANGE.1);
        if !(self.brush_mm.is_finite() && self.brush_mm > 0.0) {
            self.brush_mm = fresh.brush_mm;
        }
        self
    }
}

/// Writes a value as RON, whole or not at all, in a folder that is made if need be.
pub(super) fn write_ron(file: &Path, value: &impl Serialize) -> Result<(), String> {
    let failed = |why: &dyn std::fmt::Display| format!("{}: {why}", file.display());
    if let Some(folder) = file.parent() {
        std::fs::create_dir_all(folder).map_err(|e| failed(&e))?;
    }
    let text = ron::ser::to_string_pretty(value, ron::ser::PrettyConfig::default())
        .map_err(|e| failed(&e))?;
    project::write::bytes(file, text.as_bytes()).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_set_comes_back() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("deep/settings.ron");
        let set = Settings {
            appearance: Appearance::Dark,
            scale: 1.5,
            brush_mm: 0.8,
            ribbon_folded: true,
            ..Settings::default()
        };
        set.write(&file).expect("written");
        assert_eq!(Settings::read(&file), set);
        std::fs::write(&file, "(shade: Dark)").expect("written");
        assert_eq!(
            Settings::read(&file).appearance,
            Appearance::Dark,
            "the old name"
        );
    }

    #[test]
    fn a_broken_file_gives_the_defaults_and_wild_values_are_held() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("settings.ron");
        assert_eq!(Settings::read(&file), Settings::default());
        std::fs::write(&file, "(((").expect("written");
        assert_eq!(Settings::read(&file), Settings::default());
        std::fs::write(&file, "(scale: 900.0, brush_mm: -1.0)").expect("written");
        let read = Settings::read(&file);
        assert_eq!(read.scale, SCALE_RANGE.1);
        assert_eq!(read.brush_mm, Settings::default().brush_mm);
    }
}
