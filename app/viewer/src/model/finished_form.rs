//! Reading the finished part from photographs: what was typed for it.

use std::path::PathBuf;

use calibrate::finished::Rest;
use calibrate::finished::reading::{Order, Shot, USUAL_EVERY_MM};
use project::record::{MOST_PHOTOGRAPHS, PictureOf};

use super::references;

/// What was typed and chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct FinishedForm {
    /// The photographs.
    pub photos: Vec<PhotoRow>,
    /// The reflectance of what lies on each place of the card; empty for nothing.
    pub references: [String; 3],
    /// What the part rests on.
    pub rest: Rest,
    /// Height that is read together, mm.
    pub every_mm: f64,
    /// The folder for the record.
    pub folder: String,
    /// What is shown of what was read.
    pub shows: Shows,
}

/// A photograph, as it is typed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PhotoRow {
    /// Its file.
    pub file: String,
    /// About how the part is turned in it, degrees; empty where the outline tells.
    pub turn: String,
}

/// What is shown of what was read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Shows {
    /// Which photograph.
    pub photo: usize,
    /// The part's views from the camera's place, or else the photograph itself.
    pub views: bool,
}

/// A field of the page for a file or a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FinishedFile {
    /// A photograph by its place in the list.
    Photo(usize),
    /// The folder for the record.
    Folder,
}

impl FinishedFile {
    /// What it is called.
    pub fn name(self) -> String {
        match self {
            Self::Photo(i) => format!("Photograph {}", i + 1),
            Self::Folder => "Folder for the record".to_owned(),
        }
    }

    /// Its text; none if the photograph is no longer in the list.
    pub fn field(self, form: &mut FinishedForm) -> Option<&mut String> {
        match self {
            Self::Photo(i) => form.photos.get_mut(i).map(|row| &mut row.file),
            Self::Folder => Some(&mut form.folder),
        }
    }
}

/// All of them with their names, in the order they are offered.
pub const RESTS: [(Rest, &str); 6] = [
    (Rest::Standing, "its foot, as it was printed"),
    (Rest::Back, "its back"),
    (Rest::Front, "its front"),
    (Rest::Left, "its left side"),
    (Rest::Right, "its right side"),
    (Rest::Top, "its top, upside down"),
];

/// What a view of the part is called.
pub fn name_of(view: PictureOf) -> &'static str {
    match view {
        PictureOf::Requested => "Requested",
        PictureOf::Printed => "As printed",
        PictureOf::Seen => "Seen",
        PictureOf::Off => "Seen against as printed",
    }
}

impl Default for FinishedForm {
    fn default() -> Self {
        Self {
            photos: vec![PhotoRow::default()],
            references: Default::default(),
            rest: Rest::default(),
            every_mm: USUAL_EVERY_MM,
            folder: String::new(),
            shows: Shows::default(),
        }
    }
}

impl FinishedForm {
    /// Whether another form reads the same from the same photographs.
    pub fn reads_as(&self, other: &Self) -> bool {
        let with_its_folder = Self {
            folder: other.folder.clone(),
            shows: other.shows,
            ..self.clone()
        };
        with_its_folder == *other
    }

    /// Whether another form names the same photographs.
    pub fn names_as(&self, other: &Self) -> bool {
        let files = |form: &Self| -> Vec<String> {
            let files = form.photos.iter().map(|row| row.file.trim().to_owned());
            files.filter(|file| !file.is_empty()).collect()
        };
        files(self) == files(other)
    }

    /// What to read.
    ///
    /// # Errors
    /// What is missing or can't be read as a number, and what to do.
    pub fn order(&self) -> Result<Order, String> {
        let rows = self.photos.iter().enumerate();
        let rows = rows.filter(|(_, row)| !row.file.trim().is_empty());
        let shots = rows
            .map(|(i, row)| {
                Ok(Shot {
                    file: PathBuf::from(row.file.trim()),
                    turn_deg: turn(&row.turn)
                        .map_err(|why| format!("Photograph {}, turn {why}", i + 1))?,
                })
            })
            .collect::<Result<Vec<Shot>, String>>()?;
        match shots.len() {
            0 => Err("Choose a photograph of the part.".to_owned()),
            count if count > MOST_PHOTOGRAPHS => Err(format!(
                "{count} photographs: a record holds {MOST_PHOTOGRAPHS} at most. Read the others \
                 into a folder of their own."
            )),
            _ => Ok(Order {
                shots,
                references: references::read(&self.references)?,
                rest: self.rest,
                every_mm: self.every_mm,
            }),
        }
    }

    /// Adds photographs: into empty rows first.
    pub fn add(&mut self, files: &[PathBuf]) {
        for file in files {
            let file = file.display().to_string();
            let empty = self.photos.iter_mut().find(|r| r.file.trim().is_empty());
            match empty {
                Some(row) => row.file = file,
                None => self.photos.push(PhotoRow {
                    file,
                    turn: String::new(),
                }),
            }
        }
    }

    /// Takes a photograph out of the list, which keeps one row.
    pub fn remove(&mut self, i: usize) {
        if i < self.photos.len() {
            self.photos.remove(i);
        }
        if self.photos.is_empty() {
            self.photos.push(PhotoRow::default());
        }
    }

    /// The folder for the record, once it is named.
    pub fn record_folder(&self) -> Option<PathBuf> {
        let folder = self.folder.trim();
        (!folder.is_empty()).then(|| PathBuf::from(folder))
    }
}

/// A turn that was typed; none where nothing was.
fn turn(text: &str) -> Result<Option<f64>, String> {
    let text = text.trim().trim_end_matches('°').trim_end();
    if text.is_empty() {
        return Ok(None);
    }
    match text.parse::<f64>() {
        Ok(turn) if turn.is_finite() => Ok(Some(turn)),
        _ => Err(format!(
            "{text}: type degrees, such as 90, or leave it empty where the outline tells it."
        )),
    }
}

/// Colours that were read of photographs, for tracing.
#[derive(Clone, Debug, PartialEq)]
pub struct Photographed {
    /// Which photographs.
    pub names: String,
    /// Their colours by height, as the table that is read.
    pub table: String,
    /// The plan's revision that they were read with.
    pub revision: u64,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> FinishedForm {
        let mut form = FinishedForm {
            references: ["0.9", "", "0.04"].map(str::to_owned),
            ..FinishedForm::default()
        };
        form.add(&["a.jpg".into(), "b.jpg".into()]);
        form
    }

    #[test]
    fn photographs_are_read_with_their_turns() {
        let mut form = form();
        form.photos[1].turn = " 180° ".to_owned();
        form.photos.push(PhotoRow::default());
        let order = form.order().unwrap();
        let turns: Vec<_> = order.shots.iter().map(|shot| shot.turn_deg).collect();
        assert_eq!(turns, [None, Some(180.0)]);
        assert_eq!(order.references.len(), 2);
        form.photos[1].turn = "half".to_owned();
        let why = form.order().unwrap_err();
        assert!(
            why.contains("Photograph 2") && why.contains("half"),
            "{why}"
        );
        form.photos[1].turn = "NaN".to_owned();
        assert!(form.order().is_err());
    }

    #[test]
    fn what_is_missing_is_said() {
        let none = FinishedForm::default().order().unwrap_err();
        assert!(none.contains("Choose a photograph"));
        let mut form = form();
        form.references = Default::default();
        assert!(form.order().unwrap_err().contains("grey card"));
        form.add(&vec![PathBuf::from("c.jpg"); MOST_PHOTOGRAPHS]);
        assert!(form.order().unwrap_err().contains("40 at most"));
    }

    #[test]
    fn folder_and_what_is_shown_change_nothing_of_what_is_read() {
        let one = form();
        let mut other = one.clone();
        other.folder = "elsewhere".to_owned();
        other.shows.views = true;
        assert!(one.reads_as(&other));
        other.every_mm = 2.0;
        assert!(!one.reads_as(&other) && one.names_as(&other));
        other.photos[1].file = "c.jpg".to_owned();
        assert!(!one.names_as(&other));
        other.remove(0);
        other.remove(0);
        other.remove(0);
        assert_eq!(other.photos, [PhotoRow::default()]);
    }
}
