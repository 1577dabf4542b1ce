//! The file `record.ron`.

use blend::{Lab, ciede2000};
use plan::TextError;
use plan::document::sha256_hex;
use plan::ron_text::{self, Document, Path, Problem};
use ron::ser::path_meta::Field;
use serde::{Deserialize, Serialize};

use super::names::{MOST_PHOTOGRAPHS, file_names};
use crate::signoff::Seal;

/// No part is so tall, mm.
const TALLEST_MM: f64 = 10_000.0;

/// The least and the most height that is read together, mm.
const EVERY_MM: std::ops::RangeInclusive<f64> = 0.1..=100.0;

/// Heights are written with two decimals, mm.
const HEIGHT_ROUNDING_MM: f64 = 0.006;

/// A figure of the summary may be written by a program that rounds otherwise, ΔE00.
const ROUNDING: f64 = 0.011;

/// What was seen of a print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// Version of this format.
    pub version: u32,
    /// What the part is.
    pub title: String,
    /// When the photographs were read, in UTC.
    pub at: String,
    /// The program's version.
    pub made_by: String,
    /// The plan's state that what is seen was compared with.
    pub seal: Seal,
    /// The photographs, in the order of their numbers from 1.
    pub photographs: Vec<Photograph>,
    /// What lay on the card.
    pub references: Vec<Reference>,
    /// Height that was read together, mm.
    pub every_mm: f64,
    /// How far off it is; `None` if no height could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub summary: Option<Summary>,
    /// The names of the plan's regions, in their order.
    pub regions: Vec<String>,
    /// What was seen, by region and height.
    pub rows: Vec<Row>,
    /// Every other file of the record.
    pub files: Vec<FileHash>,
    /// SHA-256 over all of the above, so that a later change of it is noticed.
    pub sha256: String,
}

/// A photograph that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Photograph {
    /// Its file's name.
    pub name: String,
    /// Its SHA-256.
    pub sha256: String,
}

/// A neutral reference on the card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// Its place: A, B or C.
    pub place: String,
    /// The share of the light that it reflects.
    pub reflectance: f64,
}

/// How far what was seen is off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Summary {
    /// Seen against as printed, the mean of all rows, ΔE00.
    pub mean_de00: f64,
    /// The same where it is most, ΔE00.
    pub worst_de00: f64,
    /// Where that is, mm.
    pub worst_at_mm: f64,
    /// Seen against requested, the mean of all rows, ΔE00.
    pub mean_off_requested_de00: f64,
    /// How far seen colours may be off by the camera and the shading: the mean of the rows' one
    /// standard error, ΔE00.
    pub uncertainty_de00: f64,
}

/// A region at a height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// Index of the region, from 0.
    pub region: usize,
    /// Which height, from 0: each is [`Record::every_mm`] tall.
    pub slot: usize,
    /// The mean height of what was seen, mm.
    pub height_mm: f64,
    /// Pixels that show it.
    pub pixels: usize,
    /// Photographs that show it.
    pub photographs: usize,
    /// The colour requested.
    pub requested: Lab,
    /// The colour that should have come out.
    pub printed: Lab,
    /// The colour seen.
    pub seen: Lab,
    /// How far the seen colour may be off, one standard error, ΔE00.
    pub uncertainty_de00: f64,
}

/// A file of the record and its hash.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileHash {
    /// Its name.
    pub name: String,
    /// Its SHA-256.
    pub sha256: String,
}

/// What was taken from photographs, before it is a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// What the part is.
    pub title: String,
    /// The photographs.
    pub photographs: Vec<Photograph>,
    /// What lay on the card.
    pub references: Vec<Reference>,
    /// Height that was read together, mm.
    pub every_mm: f64,
    /// The names of the plan's regions.
    pub regions: Vec<String>,
    /// What was seen.
    pub rows: Vec<Row>,
}

impl Row {
    /// Seen against as printed, ΔE00.
    pub fn off_printed_de00(&self) -> f64 {
        ciede2000(self.seen, self.printed)
    }

    /// Seen against requested, ΔE00.
    pub fn off_requested_de00(&self) -> f64 {
        ciede2000(self.seen, self.requested)
    }

    /// With as many decimals as are worth writing.
    fn rounded(self) -> Self {
        let lab = |lab: Lab| Lab {
            l: hundredths(lab.l),
            a: hundredths(lab.a),
            b: hundredths(lab.b),
        };
        Self {
            height_mm: hundredths(self.height_mm),
            requested: lab(self.requested),
            printed: lab(self.printed),
            seen: lab(self.seen),
            uncertainty_de00: hundredths(self.uncertainty_de00),
            ..self
        }
    }
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

impl Summary {
    /// Of rows; `None` of none.
    pub fn of(rows: &[Row]) -> Option<Self> {
        let off = Row::off_printed_de00;
        let worst = rows.iter().max_by(|a, b| off(a).total_cmp(&off(b)))?;
        let mean = |of: fn(&Row) -> f64| {
            let sum: f64 = rows.iter().map(of).sum();
            hundredths(sum / rows.len() as f64)
        };
        Some(Self {
            mean_de00: mean(off),
            worst_de00: hundredths(off(worst)),
            worst_at_mm: worst.height_mm,
            mean_off_requested_de00: mean(Row::off_requested_de00),
            uncertainty_de00: mean(|row| row.uncertainty_de00),
        })
    }

    /// Whether it says the same, but for rounding.
    fn is_near(&self, other: &Self) -> bool {
        let both = [
            (self.mean_de00, other.mean_de00),
            (self.worst_de00, other.worst_de00),
            (self.mean_off_requested_de00, other.mean_off_requested_de00),
            (self.uncertainty_de00, other.uncertainty_de00),
        ];
        both.iter().all(|(a, b)| (a - b).abs() < ROUNDING)
    }
}

impl Record {
    /// Version of the format that is read and written here.
    pub const VERSION: u32 = 1;

    /// A record of what was taken, at a time as [`utc`](crate::signoff::utc) has it.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn new(
        taken: Taken,
        seal: Seal,
        at: String,
        files: Vec<FileHash>,
    ) -> Result<Self, ron::Error> {
        let rows: Vec<Row> = taken.rows.into_iter().map(Row::rounded).collect();
        let mut record = Self {
            version: Self::VERSION,
            title: taken.title,
            at,
            made_by: format!("Tintfall {}", env!("CARGO_PKG_VERSION")),
            seal,
            photographs: taken.photographs,
            references: taken.references,
            every_mm: taken.every_mm,
            summary: Summary::of(&rows),
            regions: taken.regions,
            rows,
            files,
            sha256: String::new(),
        };
        record.sha256 = record.hash()?;
        Ok(record)
    }

    /// The day on which the photographs were read.
    pub fn day(&self) -> &str {
        self.at.split('T').next().unwrap_or(&self.at)
    }

    /// Reads a record.
    ///
    /// # Errors
    /// [`TextError`] with line and column; a record that was changed after it was written is an
    /// error, too.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a record; [`Record::from_ron`] of it gives the same one.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }

    fn hash(&self) -> Result<String, ron::Error> {
        let mut bare = self.clone();
        bare.sha256.clear();
        Ok(sha256_hex(ron_text::canonical(&bare)?.as_bytes()))
    }

    fn rows_at_fault(&self) -> Vec<Problem> {
        let rows = Path::field("rows");
        let mut found = Vec::new();
        for (i, row) in self.rows.iter().enumerate() {
            if row.region >= self.regions.len() {
                let what = format!(
                    "region {} is not among the {} regions; the first is 0",
                    row.region,
                    self.regions.len()
                );
                found.push(Problem::new(rows.at(i).then("region"), what));
            }
            if !(0.0..=TALLEST_MM).contains(&row.height_mm) {
                let what = format!("a height lies between 0 and {TALLEST_MM} mm");
                found.push(Problem::new(rows.at(i).then("height_mm"), what));
            }
            let above_mm = row.height_mm - row.slot as f64 * self.every_mm;
            let within = -HEIGHT_ROUNDING_MM..=self.every_mm + HEIGHT_ROUNDING_MM;
            if !within.contains(&above_mm) {
                let what = format!(
                    "a height of {} mm does not lie in slot {}: each is {} mm tall, and the first \
                     is 0",
                    row.height_mm, row.slot, self.every_mm
                );
                found.push(Problem::new(rows.at(i).then("slot"), what));
            }
        }
        found
    }

    /// What does not belong to each other, or was changed.
    fn whole_at_fault(&self) -> Option<Problem> {
        let count = self.photographs.len();
        if !(1..=MOST_PHOTOGRAPHS).contains(&count) {
            let what = format!(
                "a record is of 1 to {MOST_PHOTOGRAPHS} photographs, and this one of {count}"
            );
            return Some(Problem::new(Path::field("photographs"), what));
        }
        let names = self.files.iter().map(|file| file.name.as_str());
        let wanted = file_names(count);
        if !names.eq(wanted.iter().map(String::as_str)) {
            let what = format!(
                "the files of a record of {count} photographs are, in this order: {}",
                wanted.join(", ")
            );
            return Some(Problem::new(Path::field("files"), what));
        }
        let summary = match (&self.summary, &Summary::of(&self.rows)) {
            (Some(own), Some(of_rows)) => own.is_near(of_rows),
            (own, of_rows) => own.is_none() && of_rows.is_none(),
        };
        if !summary || self.hash().ok().as_ref() != Some(&self.sha256) {
            let what = "the record was changed after it was written, so it is void; read the \
                        photographs again with `tintfall seen`";
            return Some(Problem::new(Path::field("sha256"), what));
        }
        None
    }
}

impl Document for Record {
    const KIND: &'static str = "record of a print";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        if !EVERY_MM.contains(&self.every_mm) {
            let what = format!(
                "every_mm is a height from {} to {} mm",
                EVERY_MM.start(),
                EVERY_MM.end()
            );
            return vec![Problem::new(Path::field("every_mm"), what)];
        }
        let found = self.rows_at_fault();
        match found.is_empty() {
            true => self.whole_at_fault().into_iter().collect(),
            false => found,
        }
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            fields.field("seal").with_doc(
                "Written by `tintfall seen`. A record that is edited by hand is void.\n\
                 The state of the plan that what is seen was compared with, as in signatures.",
            );
            fields.field("rows").with_doc(
                "Colours are CIELAB, D65, 2°; seen ones from photographs. Heights are mm from\n\
                 the bed. uncertainty_de00 is one standard error.",
            );
        });
        top
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;

    pub(in crate::record) fn seal() -> Seal {
        Seal {
            whole_sha256: sha256_hex(b"whole"),
            plan_file_sha256: sha256_hex(b"plan"),
            mesh_file_sha256: sha256_hex(b"mesh"),
            spools_file_sha256: None,
            machine_file_sha256: None,
            picture_files_sha256: Default::default(),
            files_of_mesh_sha256: Default::default(),
            contents_sha256: sha256_hex(b"contents"),
        }
    }

    pub(in crate::record) fn taken(title: &str, seen: &[(f64, f64)]) -> Taken {
        let lab = |l: f64| Lab { l, a: 2.5, b: -3.0 };
        let rows = seen.iter().enumerate().map(|(slot, &(l, off))| Row {
            region: 0,
            slot,
            height_mm: slot as f64 + 0.501,
            pixels: 300 + slot,
            photographs: 1,
            requested: lab(l),
            printed: lab(l + 1.0),
            seen: lab(l + 1.0 + off),
            uncertainty_de00: 1.5,
        });
        Taken {
            title: title.to_owned(),
            photographs: vec![Photograph {
                name: "photo.jpg".to_owned(),
                sha256: sha256_hex(b"photo"),
            }],
            references: vec![Reference {
                place: "A".to_owned(),
                reflectance: 0.18,
            }],
            every_mm: 1.0,
            regions: vec!["Body".to_owned()],
            rows: rows.collect(),
        }
    }

    pub(in crate::record) fn record(title: &str, seen: &[(f64, f64)]) -> Record {
        let hash = |name: String| FileHash {
            sha256: sha256_hex(name.as_bytes()),
            name,
        };
        let files = file_names(1).into_iter().map(hash).collect();
        let at = "2026-03-01T09:30:00Z".to_owned();
        Record::new(taken(title, seen), seal(), at, files).unwrap()
    }

    #[test]
    fn a_summary_says_how_far_off_and_where() {
        let record = record("Post", &[(40.0, 0.0), (50.0, 4.0), (60.0, 1.0)]);
        let summary = record.summary.unwrap();
        let off = |l: f64, by: f64| {
            let lab = |l: f64| Lab { l, a: 2.5, b: -3.0 };
            ciede2000(lab(l + by), lab(l))
        };
        let mean = (off(51.0, 4.0) + off(61.0, 1.0)) / 3.0;
        assert!((summary.mean_de00 - mean).abs() < 0.01, "{summary:?}");
        assert!((summary.worst_de00 - off(51.0, 4.0)).abs() < 0.01);
        assert_eq!(summary.worst_at_mm, 1.5);
        assert_eq!(
            (summary.uncertainty_de00, record.day()),
            (1.5, "2026-03-01")
        );
    }

    #[test]
    fn what_was_changed_and_what_is_none_is_refused_in_words() {
        let text = record("Post", &[(40.0, 0.0), (50.0, 4.0)])
            .to_ron()
            .unwrap();
        let refused = |from: &str, to: &str| {
            assert!(text.contains(from), "{from} in\n{text}");
            let changed = text.replacen(from, to, 1);
            Record::from_ron(&changed).unwrap_err().to_string()
        };
        let changed = refused("l: 55", "l: 54");
        assert!(
            changed.contains("changed after it was written"),
            "{changed}"
        );
        assert!(changed.contains("line "), "{changed}");
        assert!(refused("Post", "Pole").contains("void"));
        assert!(refused("version: 1", "version: 2").contains("newer program"));
        assert!(refused("region: 0", "region: 1").contains("not among the 1 regions"));
        assert!(refused("height_mm: 0.5", "height_mm: -5").contains("between 0 and"));
        assert!(refused("views-1.png", "../evil.png").contains("in this order"));
        assert!(refused("every_mm: 1", "every_mm: 0").contains("from 0.1 to 100"));
        assert!(refused("slot: 1", "slot: 7").contains("does not lie in slot 7"));
        let foreign = Record::from_ron("(version: 1, signatures: [])").unwrap_err();
        assert!(foreign.to_string().contains("signatures"), "{foreign}");
        assert!(Record::from_ron("height_mm,l,a,b\n1,2,3,4\n").is_err());
        let (half, _) = text.split_at(text.len() / 2);
        assert!(Record::from_ron(half).is_err());
    }

    proptest! {
        #[test]
        fn it_reads_back_equal(
            title in "\\PC{0,30}",
            seen in prop::collection::vec((0.0..100.0, -9.0..9.0), 0..6),
        ) {
            let record = record(&title, &seen);
            let text = record.to_ron().unwrap();
            prop_assert_eq!(Record::from_ron(&text).unwrap(), record);
        }
    }
}
