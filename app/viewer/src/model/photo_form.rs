//! Reading a photograph of a test print: what was typed and dragged for it.

use std::path::{Path, PathBuf};

use photograph::laid::Frame;
use photograph::reference::Reference;

use super::references;

/// What the table to write is called at first.
const TABLE: &str = "readings.csv";

/// What was typed and dragged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PhotoForm {
    /// The photograph.
    pub photo: String,
    /// The plan of the test print.
    pub plan: String,
    /// The reflectance of what lies on each place of the card; empty for nothing.
    pub references: [String; 3],
    /// Where the print's face is, as a person has dragged it.
    pub frame: Option<Frame>,
    /// The table to write.
    pub table: String,
}

/// A field of the page for a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoFile {
    /// The photograph.
    Photo,
    /// The plan of the test print.
    Plan,
    /// The table to write.
    Table,
}

impl PhotoFile {
    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Photo => "Photograph",
            Self::Plan => "Plan of the test print",
            Self::Table => "Table to write",
        }
    }

    /// Its text.
    pub fn field(self, form: &mut PhotoForm) -> &mut String {
        match self {
            Self::Photo => &mut form.photo,
            Self::Plan => &mut form.plan,
            Self::Table => &mut form.table,
        }
    }
}

impl PhotoForm {
    /// The same with what goes with a change: a frame belongs to its photograph, and the table
    /// is proposed beside the plan until another is named.
    pub fn changed_to(&self, mut to: Self) -> Self {
        if to.photo.trim() != self.photo.trim() {
            to.frame = None;
        }
        let proposed = self.table.is_empty() || self.table == table_beside(&self.plan);
        if to.plan != self.plan && to.table == self.table && proposed {
            to.table = table_beside(&to.plan);
        }
        to
    }

    /// Whether another form reads the same from the same photograph.
    pub fn reads_as(&self, other: &Self) -> bool {
        let with_its_table = Self {
            table: other.table.clone(),
            ..self.clone()
        };
        with_its_table == *other
    }

    /// What lies on the card's places.
    ///
    /// # Errors
    /// A reflectance is none, or there is none at all: what to do.
    pub fn references(&self) -> Result<Vec<Reference>, String> {
        references::read(&self.references)
    }

    /// The table to write, once it is named.
    pub fn table_file(&self) -> Option<PathBuf> {
        let table = self.table.trim();
        (!table.is_empty()).then(|| PathBuf::from(table))
    }
}

/// The table that is proposed for a plan.
pub fn table_beside(plan: &str) -> String {
    match plan.trim() {
        "" => String::new(),
        plan => Path::new(plan).with_file_name(TABLE).display().to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> PhotoForm {
        PhotoForm {
            photo: "a.jpg".to_owned(),
            plan: "swatch/swatch.plan.ron".to_owned(),
            frame: Some(Frame([(1.0, 1.0), (2.0, 1.0), (2.0, 9.0), (1.0, 9.0)])),
            table: table_beside("swatch/swatch.plan.ron"),
            ..PhotoForm::default()
        }
    }

    #[test]
    fn a_frame_goes_with_its_photograph_and_a_table_with_its_plan() {
        let one = form();
        let other = PhotoForm {
            photo: "b.jpg".to_owned(),
            ..one.clone()
        };
        assert_eq!(one.changed_to(other).frame, None);
        let other = PhotoForm {
            plan: "lag/lag-test.plan.ron".to_owned(),
            ..one.clone()
        };
        let changed = one.changed_to(other.clone());
        assert_eq!(Path::new(&changed.table), Path::new("lag/readings.csv"));
        assert_eq!(changed.frame, one.frame);
        assert!(!changed.reads_as(&one));
        // A table that was named stays.
        let named = PhotoForm {
            table: "mine.csv".to_owned(),
            ..one.clone()
        };
        assert!(named.reads_as(&one));
        let other = PhotoForm {
            table: named.table.clone(),
            ..other
        };
        assert_eq!(named.changed_to(other).table, "mine.csv");
    }
}
