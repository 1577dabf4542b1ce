//! A field for a path: it takes the keyboard when its page opens, and says what is wrong with
//! what was typed.

use std::path::{Path, PathBuf};

use egui::{Key, TextEdit, Ui, WidgetType};

use super::widgets::{named, note};

/// What a path must name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Wants {
    /// A file that is there.
    File,
    /// A file to be written.
    NewFile,
    /// A folder, there or to be made.
    Folder,
}

/// A field for a path.
pub(super) struct PathField<'a> {
    /// What stands before it.
    pub name: &'a str,
    /// What it must name.
    pub wants: Wants,
    /// Whether its page has just been opened.
    pub fresh: bool,
}

/// What was done in the field.
pub(super) struct Told {
    /// What stands in it now.
    pub text: String,
    /// Whether that names what is wanted.
    pub usable: bool,
    /// The system's dialog is wanted.
    pub browse: bool,
    /// Enter was pressed.
    pub entered: bool,
}

impl Told {
    /// The path.
    pub(super) fn path(&self) -> PathBuf {
        PathBuf::from(self.text.trim())
    }
}

/// Why a path can't be used; `None` when it can.
pub(super) fn trouble(path: &str, wants: Wants) -> Option<String> {
    let path = Path::new(path.trim());
    if path.as_os_str().is_empty() {
        return Some("Type a path, or drop a file on the window.".to_owned());
    }
    match wants {
        Wants::Folder if path.is_file() => Some("This is a file, not a folder.".to_owned()),
        Wants::NewFile if path.is_dir() => Some("This is a folder: add a file name.".to_owned()),
        Wants::File if path.is_dir() => Some("This is a folder: choose a file in it.".to_owned()),
        Wants::File if !path.is_file() => Some("This file does not exist.".to_owned()),
        _ => None,
    }
}

impl PathField<'_> {
    /// Shows it.
    pub(super) fn show(&self, ui: &mut Ui, path: &str) -> Told {
        let mut told = Told {
            text: path.to_owned(),
            usable: false,
            browse: false,
            entered: false,
        };
        ui.horizontal(|ui| {
            ui.label(self.name);
            let field = TextEdit::singleline(&mut told.text).desired_width(420.0);
            let response = ui.add(field);
            named(&response, WidgetType::TextEdit, self.name);
            told.entered = response.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
            // Enter that led nowhere must not leave a field that looks ready and is not.
            let stays = told.entered && trouble(&told.text, self.wants).is_some();
            if self.fresh || stays {
                response.request_focus();
            }
            told.browse = ui
                .button("Browse…")
                .on_hover_text("Choose with the system's own dialog.")
                .clicked();
        });
        let why = trouble(&told.text, self.wants);
        told.usable = why.is_none();
        note(ui, why.unwrap_or_else(|| " ".to_owned()));
        told
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_that_can_not_be_used_says_why() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("part.stl");
        std::fs::write(&file, "solid").expect("written");
        let text = |p: &Path| p.display().to_string();
        let wants = Wants::File;
        assert_eq!(trouble(&text(&file), wants), None);
        for (path, wants, why) in [
            (text(folder.path()), wants, "This is a folder"),
            (text(&folder.path().join("x.stl")), wants, "does not exist"),
            (" ".to_owned(), wants, "Type a path"),
            (text(&file), Wants::Folder, "This is a file"),
            (text(folder.path()), Wants::NewFile, "add a file name"),
        ] {
            let said = trouble(&path, wants).expect("trouble");
            assert!(said.contains(why), "{path}: {said}");
        }
    }
}
