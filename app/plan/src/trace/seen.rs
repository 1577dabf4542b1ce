//! What a person saw of a print.

use blend::SpoolColour;
use serde::{Deserialize, Serialize};

use crate::ron_text::{self, Document, Path, Problem, TextError};

/// All that was seen of a print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sighting {
    /// Version of this format.
    pub version: u32,
    /// The usual error of a colour reading, ΔE00. Default 1.5: a hand-held colorimeter on
    /// printed plastic (our assumption, no source).
    #[serde(default = "hand_held")]
    pub colour_error_de00: f64,
    /// The usual error of turns, as a part of them. Default 0.02.
    #[serde(default = "two_per_cent")]
    pub turns_error: f64,
    /// The usual error of a length of filament, as a part of it. Default 0.02.
    #[serde(default = "two_per_cent")]
    pub filament_error: f64,
    /// What was seen.
    pub seen: Vec<Seen>,
}

/// One thing that was seen. Drives count from 1, in the order of the plan's spools.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Seen {
    /// The colour at a height, where the layer shows its largest region.
    Colour {
        /// The height, mm.
        height_mm: f64,
        /// What it looks like.
        colour: SpoolColour,
    },
    /// How often a drive's gear had turned when the print had reached a height.
    Turns {
        /// The height, mm.
        height_mm: f64,
        /// Which drive, from 1.
        drive: usize,
        /// Turns since the beginning.
        turns: f64,
    },
    /// How much filament had gone into a drive when the print had reached a height.
    Filament {
        /// The height, mm.
        height_mm: f64,
        /// Which drive, from 1.
        drive: usize,
        /// Filament since the beginning, mm.
        filament_mm: f64,
    },
}

fn hand_held() -> f64 {
    1.5
}

fn two_per_cent() -> f64 {
    0.02
}

impl Sighting {
    /// Version of the format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Sightings with the usual errors.
    pub fn new(seen: Vec<Seen>) -> Self {
        Self {
            version: Self::VERSION,
            colour_error_de00: hand_held(),
            turns_error: two_per_cent(),
            filament_error: two_per_cent(),
            seen,
        }
    }

    /// Reads what was seen from RON.
    ///
    /// # Errors
    /// [`TextError`] with line, column and what to do.
    ///
    /// ```
    /// use plan::trace::Sighting;
    /// let text = r##"(version: 1, seen: [
    ///     Colour(height_mm: 20.0, colour: Hex("#8090a0")),
    ///     Turns(height_mm: 20.0, drive: 1, turns: 12.5),
    /// ])"##;
    /// assert_eq!(Sighting::from_ron(text)?.seen.len(), 2);
    /// let wrong = text.replace("drive: 1", "drive: 0");
    /// let error = Sighting::from_ron(&wrong).expect_err("no such drive");
    /// assert!(error.to_string().starts_with("line 3, column "));
    /// # Ok::<(), plan::TextError>(())
    /// ```
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }
}

impl Document for Sighting {
    const KIND: &'static str = "file of sightings";
    const VERSION: u32 = Self::VERSION;

    fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        for (name, value) in [
            ("colour_error_de00", self.colour_error_de00),
            ("turns_error", self.turns_error),
            ("filament_error", self.filament_error),
        ] {
            if !(value.is_finite() && value > 0.0) {
                let what = format!("{name} is {value}; it must be a number above 0");
                found.push(Problem::new(Path::field(name), what));
            }
        }
        for (i, seen) in self.seen.iter().enumerate() {
            let path = Path::field("seen").at(i);
            let (height, drive, amount) = match seen {
                Seen::Colour { height_mm, .. } => (*height_mm, 1, ("colour", 0.0)),
                Seen::Turns {
                    height_mm,
                    drive,
                    turns,
                } => (*height_mm, *drive, ("turns", *turns)),
                Seen::Filament {
                    height_mm,
                    drive,
                    filament_mm,
                } => (*height_mm, *drive, ("filament_mm", *filament_mm)),
            };
            if !(height.is_finite() && height >= 0.0) {
                let what = format!("a height of {height} mm; it must be 0 or more");
                found.push(Problem::new(path.then("height_mm"), what));
            }
            if drive == 0 {
                let what = "drives count from 1, in the order of the plan's spools";
                found.push(Problem::new(path.then("drive"), what));
            }
            let (name, value) = amount;
            if !(value.is_finite() && value >= 0.0) {
                let what = format!("{name} is {value}; it must be 0 or more");
                found.push(Problem::new(path.then(name), what));
            }
        }
        found
    }
}
