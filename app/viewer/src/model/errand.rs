//! The steps of the whole job beside colouring: what each needs, and what was typed for it.

use std::path::{Path, PathBuf};

use calibrate::Options;
use report::panel_table::Outside;

use super::document::Origin;
use super::finished_form::Photographed;
use super::names::file_name;

/// A step of the job that is one piece of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Errand {
    /// Write a test print of the spools.
    Swatch,
    /// Write a test print that shows the lag.
    LagTest,
    /// Fit the chamber to the readings of that.
    LagFit,
    /// Compare the plan with another.
    Compare,
    /// Write the review page.
    Review,
    /// Sign the plan.
    Sign,
    /// Send the plan back.
    SendBack,
    /// Tell what has changed since the plan was signed.
    Changes,
    /// Make the table to key in.
    KeyIn,
    /// Write a hand-off.
    HandOff,
    /// Check a hand-off.
    CheckHandOff,
    /// Write the list to watch by.
    Watch,
    /// Look for the cause of what was seen.
    Trace,
}

impl Errand {
    /// All of them, in the order of the job.
    pub const ALL: [Self; 13] = [
        Self::Swatch,
        Self::LagTest,
        Self::LagFit,
        Self::Compare,
        Self::Review,
        Self::Sign,
        Self::SendBack,
        Self::Changes,
        Self::KeyIn,
        Self::HandOff,
        Self::CheckHandOff,
        Self::Watch,
        Self::Trace,
    ];

    /// What it is called while it runs.
    pub fn title(self) -> &'static str {
        match self {
            Self::Swatch => "Writing the test print of the spools",
            Self::LagTest => "Writing the lag test",
            Self::LagFit => "Fitting the melt chamber",
            Self::Compare => "Comparing the plans",
            Self::Review => "Writing the review page",
            Self::Sign => "Signing",
            Self::SendBack => "Sending back",
            Self::Changes => "Comparing with the signed plan",
            Self::KeyIn => "Making the table to key in",
            Self::HandOff => "Writing the hand-off",
            Self::CheckHandOff => "Checking the hand-off",
            Self::Watch => "Writing the watch list",
            Self::Trace => "Looking for the cause",
        }
    }

    /// Whether it is about the saved files, so that nothing unsaved may be open.
    pub fn is_of_files(self) -> bool {
        matches!(
            self,
            Self::Review
                | Self::Sign
                | Self::SendBack
                | Self::Changes
                | Self::KeyIn
                | Self::HandOff
        )
    }
}

/// What was seen at a height, as it is typed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SeenRow {
    /// The height, mm.
    pub height_mm: String,
    /// Turns of each drive from the start.
    pub turns: Vec<String>,
    /// The colour as #rrggbb.
    pub hex: String,
}

/// What was typed for the steps.
#[derive(Clone, Debug, PartialEq)]
pub struct Forms {
    /// Folder of the test print of the spools.
    pub swatch_folder: String,
    /// Steps that mix each pair.
    pub between: usize,
    /// The tallest bar, mm.
    pub tallest_mm: f64,
    /// Folder of the lag test.
    pub lag_folder: String,
    /// The plan that was printed for the lag.
    pub lag_plan: String,
    /// Its readings.
    pub lag_readings: String,
    /// The machine file to write.
    pub machine_file: String,
    /// The plan to compare with.
    pub other_plan: String,
    /// The picture of the differences; none is drawn without a name.
    pub differences: String,
    /// The review page.
    pub review_page: String,
    /// The record of a print for it, for the hand-off and for preparing; none without a name.
    pub record: String,
    /// Who signs.
    pub reviewer: String,
    /// What the next person should know.
    pub note: String,
    /// Fades that the firmware takes.
    pub fades: usize,
    /// Blends that it stores.
    pub stored: usize,
    /// What it prints outside of its fades.
    pub outside: Outside,
    /// The file for the table to key in.
    pub key_in_file: String,
    /// The hand-off to write.
    pub handoff: String,
    /// The hand-off to check.
    pub received: String,
    /// Either must be signed.
    pub needs_review: bool,
    /// Folder of the watch list.
    pub watch_folder: String,
    /// Height between its rows, mm.
    pub every_mm: f64,
    /// What was seen.
    pub seen: Vec<SeenRow>,
    /// A file of what was seen, in place of the table.
    pub seen_file: String,
    /// What was read of photographs of the part, in place of either.
    pub photographed: Option<Photographed>,
    /// The usual error of a colour reading, ΔE00.
    pub colour_error_de00: f64,
}

impl Default for Forms {
    fn default() -> Self {
        Self::suggested(&Origin::default(), 2, 8)
    }
}

impl Forms {
    /// What is proposed for a part.
    pub fn suggested(origin: &Origin, spools: usize, stored: usize) -> Self {
        let near = origin.folder();
        let beside = |name: &str| near.join(name).display().to_string();
        let of_part = |ending: &str| origin.beside(ending).display().to_string();
        let handoff = of_part("-handoff.zip");
        Self {
            swatch_folder: beside("swatch"),
            between: Options::for_spools(spools).between,
            tallest_mm: Options::for_spools(spools).tallest_mm,
            lag_folder: beside("lag"),
            lag_plan: beside("lag/lag-test.plan.ron"),
            lag_readings: beside("lag/ends.csv"),
            machine_file: beside("machine.ron"),
            other_plan: String::new(),
            differences: of_part("-differences.png"),
            review_page: of_part("-review.html"),
            record: String::new(),
            reviewer: String::new(),
            note: String::new(),
            fades: 4,
            stored: stored.max(1),
            outside: Outside::default(),
            key_in_file: of_part("-key-in.txt"),
            received: handoff.clone(),
            handoff,
            needs_review: false,
            watch_folder: of_part("-watch"),
            every_mm: report::watch::EVERY_MM,
            seen: vec![SeenRow::of(spools); 3],
            seen_file: String::new(),
            photographed: None,
            colour_error_de00: 1.5,
        }
    }

    /// What was seen as the table that is read: columns with names, empty rows left out.
    pub fn seen_table(&self, spools: usize) -> String {
        let mut text = String::from("height_mm");
        for i in 1..=spools {
            text.push_str(&format!(",turns_{i}"));
        }
        text.push_str(",hex\n");
        for row in self.seen.iter().filter(|row| !row.is_empty()) {
            text.push_str(&cell(&row.height_mm));
            for i in 0..spools {
                text.push(',');
                text.push_str(&cell(row.turns.get(i).map_or("", |t| t)));
            }
            text.push(',');
            text.push_str(&cell(&row.hex));
            text.push('\n');
        }
        text
    }
}

impl SeenRow {
    /// An empty one.
    pub fn of(spools: usize) -> Self {
        Self {
            turns: vec![String::new(); spools],
            ..Self::default()
        }
    }

    /// Sets the turns of a drive; there may be more drives than when the row was made.
    pub fn set_turns(&mut self, drive: usize, turns: String) {
        if self.turns.len() <= drive {
            self.turns.resize(drive + 1, String::new());
        }
        if let Some(cell) = self.turns.get_mut(drive) {
            *cell = turns;
        }
    }

    fn is_empty(&self) -> bool {
        let cells = self.turns.iter().chain([&self.height_mm, &self.hex]);
        cells.into_iter().all(|cell| cell.trim().is_empty())
    }
}

/// A cell of a table, quoted where it must be (RFC 4180).
fn cell(text: &str) -> String {
    let text = text.trim();
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    }
}

/// A field for a file or a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FormFile {
    /// Folder of the test print of the spools.
    SwatchFolder,
    /// Folder of the lag test.
    LagFolder,
    /// The plan that was printed for the lag.
    LagPlan,
    /// Its readings.
    LagReadings,
    /// The machine file to write.
    MachineFile,
    /// The plan to compare with.
    OtherPlan,
    /// The picture of the differences.
    Differences,
    /// The review page.
    ReviewPage,
    /// The record of a print for it, for the hand-off and for preparing.
    Record,
    /// The file for the table to key in.
    KeyIn,
    /// The hand-off to write.
    HandOff,
    /// The hand-off to check.
    Received,
    /// Folder of the watch list.
    WatchFolder,
    /// What was seen.
    SeenFile,
}

/// What is chosen for a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A folder, there or to be made.
    Folder,
    /// A file that is there.
    File,
    /// A file to be written.
    NewFile,
}

impl FormFile {
    /// What is chosen for it.
    pub fn kind(self) -> Kind {
        match self {
            Self::SwatchFolder | Self::LagFolder | Self::WatchFolder | Self::Record => Kind::Folder,
            Self::LagPlan
            | Self::LagReadings
            | Self::OtherPlan
            | Self::Received
            | Self::SeenFile => Kind::File,
            Self::MachineFile
            | Self::Differences
            | Self::ReviewPage
            | Self::KeyIn
            | Self::HandOff => Kind::NewFile,
        }
    }

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::SwatchFolder => "Folder of the test print",
            Self::LagFolder => "Folder of the lag test",
            Self::LagPlan => "Plan that was printed",
            Self::LagReadings => "Table of readings",
            Self::MachineFile => "Machine file to write",
            Self::OtherPlan => "Other plan",
            Self::Differences => "Picture of the differences",
            Self::ReviewPage => "File of the page",
            Self::Record => "Folder of a print's record",
            Self::KeyIn => "File for the table",
            Self::HandOff => "Hand-off, a folder or a .zip",
            Self::Received => "Hand-off to check",
            Self::WatchFolder => "Folder of the watch list",
            Self::SeenFile => "Table of what you saw",
        }
    }

    /// Its text.
    pub fn field(self, forms: &mut Forms) -> &mut String {
        match self {
            Self::SwatchFolder => &mut forms.swatch_folder,
            Self::LagFolder => &mut forms.lag_folder,
            Self::LagPlan => &mut forms.lag_plan,
            Self::LagReadings => &mut forms.lag_readings,
            Self::MachineFile => &mut forms.machine_file,
            Self::OtherPlan => &mut forms.other_plan,
            Self::Differences => &mut forms.differences,
            Self::ReviewPage => &mut forms.review_page,
            Self::Record => &mut forms.record,
            Self::KeyIn => &mut forms.key_in_file,
            Self::HandOff => &mut forms.handoff,
            Self::Received => &mut forms.received,
            Self::WatchFolder => &mut forms.watch_folder,
            Self::SeenFile => &mut forms.seen_file,
        }
    }
}

/// A line of an answer.
#[derive(Clone, Debug, PartialEq)]
pub enum Line {
    /// Running text.
    Text(String),
    /// Something that holds.
    Holds(String),
    /// A warning or a fault.
    Warning(String),
    /// A table in columns.
    Table(String),
    /// A file that was written, and what it is.
    File(String, String),
}

/// What came of an errand.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The plan's revision.
    pub revision: Option<u64>,
    /// What to read.
    pub lines: Vec<Line>,
    /// A file or folder to open.
    pub opens: Option<PathBuf>,
}

impl Answer {
    /// One that begins with what was written.
    pub fn wrote(path: &Path) -> Self {
        Self {
            revision: None,
            lines: vec![Line::Holds(format!("Wrote {}", path.display()))],
            opens: Some(path.to_owned()),
        }
    }

    /// What the button that opens it says.
    pub fn open_name(&self) -> Option<String> {
        let path = self.opens.as_deref()?;
        Some(match path.is_dir() {
            true => format!("Open the folder {}", file_name(path)),
            false => format!("Open {}", file_name(path)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calibrate::observations::read_print;

    #[test]
    fn what_was_typed_is_the_table_that_is_read() {
        let mut forms = Forms {
            seen: vec![SeenRow::of(2), SeenRow::of(2), SeenRow::of(2)],
            ..Forms::default()
        };
        assert!(read_print(&forms.seen_table(2), 2, 60.0).is_err());
        forms.seen[0].height_mm = " 12.5 ".to_owned();
        forms.seen[0].turns[1] = "3.25".to_owned();
        forms.seen[2].height_mm = "40".to_owned();
        forms.seen[2].hex = "#80a0c0".to_owned();
        let sighting = read_print(&forms.seen_table(2), 2, 60.0).expect("read");
        assert_eq!(sighting.seen.len(), 2);
        // What would break the table is told, with its line.
        forms.seen[1].height_mm = "8,5".to_owned();
        forms.seen[1].hex = "\"".to_owned();
        let error = read_print(&forms.seen_table(2), 2, 60.0).expect_err("no number");
        assert!(error.to_string().contains("line 3"), "{error}");
    }

    #[test]
    fn files_are_proposed_beside_the_plan() {
        let origin = Origin {
            plan_file: Some("works/cup.plan.ron".into()),
            ..Origin::default()
        };
        let forms = Forms::suggested(&origin, 3, 6);
        assert_eq!(
            Path::new(&forms.handoff),
            Path::new("works/cup-handoff.zip")
        );
        assert_eq!((forms.between, forms.stored), (5, 6));
        assert_eq!(forms.seen[0].turns.len(), 3);
    }
}
