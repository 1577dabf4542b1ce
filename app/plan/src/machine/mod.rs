//! The machine: what its hotend and drives can and can't do.
//!
//! Time inside the melt chamber is counted in extruded volume (mm³), never in seconds: how
//! fast the printer moves then drops out of the question what the nozzle lays down.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod chamber;
mod check;
mod clearance;
mod drive;

use blend::{ShareLimits, Shares};
use ron::ser::path_meta::Field;
use serde::{Deserialize, Serialize};

use crate::ron_text::{self, Document, Path, Problem, TextError};

pub use chamber::Chamber;
pub(crate) use chamber::gamma_p;
pub use clearance::Clearance;
pub use drive::Drive;

/// A printer with a mixing hotend. Every field may be left out of a file and then has the
/// default that stands with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Machine {
    /// Version of this format.
    pub version: u32,
    /// The user's name for it.
    pub name: String,
    /// Nozzle bore, mm. Default 0.4 (common practice, no source).
    pub nozzle_mm: f64,
    /// The thinnest layer that it lays well, mm. Default a fifth of the usual nozzle, 0.08
    /// (common practice, no source).
    pub least_layer_mm: f64,
    /// The thickest layer that it lays well, mm. Default three quarters of the usual nozzle,
    /// 0.3 (common practice, no source).
    pub most_layer_mm: f64,
    /// The melt chamber.
    pub chamber: Chamber,
    /// The smallest step in which a share can be set. Default 0.001: firmware commonly takes
    /// decimal fractions of three places (common practice, no source).
    pub share_step: f64,
    /// The least share of a component that is in use at all: below it a drive turns too slowly
    /// to feed evenly. Default 0.005: a drive of 93 microsteps for each mm of 1.75 mm filament
    /// then makes a microstep about every 5 mm³, a sixth of what the default chamber stirs (our
    /// reckoning, no source).
    pub least_share: f64,
    /// Whether every component must always have the least share at least, so that none stands
    /// still in the heat, cooks and oozes. Default false.
    pub keep_all_moving: bool,
    /// How many blends the firmware can store, if it only takes stored ones. Default none: the
    /// shares are sent with each change.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stored_blends: Option<usize>,
    /// The most changes of blend in a minute. Default 60: commands then can't crowd the queue
    /// (our assumption, no source).
    pub changes_per_minute: f64,
    /// How much plastic it usually lays, and can lay at most.
    pub flow: Flow,
    /// How blends are flushed out.
    pub flush: Flush,
    /// The drives, one for each component, or one that stands for all of them.
    pub drives: Vec<Drive>,
    /// Stepper drivers that move the printer's axes. Default 3; a second motor on an axis may
    /// need another.
    pub motion_drivers: usize,
    /// Stepper drivers on the board in all, if known; for the list of checks before the first
    /// print.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub board_drivers: Option<usize>,
    /// Room that the tool head needs beside what already stands, where copies are printed one
    /// after another. Default none: it is not known, and no purge block is then put beside such
    /// copies.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance: Option<Clearance>,
}

/// Flow of plastic, mm³/s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Flow {
    /// Usual flow, by which volumes are turned into minutes. Default 4: a line of 0.4 × 0.2 mm
    /// at 50 mm/s (common practice, no source).
    pub usual_mm3_s: f64,
    /// The most that the hotend melts through. Default 10 (common practice for a plain hotend
    /// with PLA, no source).
    pub most_mm3_s: f64,
}

impl Default for Flow {
    fn default() -> Self {
        Self {
            usual_mm3_s: 4.0,
            most_mm3_s: 10.0,
        }
    }
}

/// How blends are flushed out where a layer has several.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Flush {
    /// How far a blend may be off, ΔE00, when its region begins. Default 2: seen side by side,
    /// not at a glance (common practice, no source).
    pub allowed_de00: f64,
    /// Whether plastic deeper than colour reaches is laid with what has to be flushed, before
    /// any goes to waste. Default true.
    pub inside_first: bool,
}

impl Default for Flush {
    fn default() -> Self {
        Self {
            allowed_de00: 2.0,
            inside_first: true,
        }
    }
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            version: Self::VERSION,
            name: "Mixing hotend".to_owned(),
            nozzle_mm: 0.4,
            least_layer_mm: 0.08,
            most_layer_mm: 0.3,
            chamber: Chamber::default(),
            share_step: 0.001,
            least_share: 0.005,
            keep_all_moving: false,
            stored_blends: None,
            changes_per_minute: 60.0,
            flow: Flow::default(),
            flush: Flush::default(),
            drives: vec![Drive::default()],
            motion_drivers: 3,
            board_drivers: None,
            clearance: None,
        }
    }
}

impl Machine {
    /// Version of the machine format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Reads a machine file.
    ///
    /// # Errors
    /// [`TextError`] with every fault found, each with line, column and what to do.
    ///
    /// ```
    /// use plan::Machine;
    /// let machine = Machine::from_ron("(version: 1, chamber: (dead_mm3: 12.0))")?;
    /// assert_eq!(machine.chamber.dead_mm3, 12.0);
    /// assert_eq!(machine.nozzle_mm, 0.4);
    /// let error = Machine::from_ron("(version: 1, nozzle_mm: -0.4)").expect_err("negative");
    /// assert!(error.to_string().starts_with("line 1, column 25: "));
    /// # Ok::<(), plan::TextError>(())
    /// ```
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a machine file with comments; [`Machine::from_ron`] of it gives the same machine.
    ///
    /// # Errors
    /// None for a machine without problems.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }

    /// What it can feed of shares.
    pub fn share_limits(&self) -> ShareLimits {
        ShareLimits {
            share_step: self.share_step,
            least_share: self.least_share,
        }
    }

    /// The blend nearest to the one asked for that it can feed.
    pub fn fed(&self, asked: &Shares) -> Shares {
        let asked = match self.keep_all_moving {
            true => raised(asked, self.least_in_steps()),
            false => *asked,
        };
        asked.within(self.share_limits())
    }

    /// The least share, counted up to a whole step.
    pub fn least_in_steps(&self) -> f64 {
        match self.share_step > 0.0 {
            true => (self.least_share / self.share_step - 1e-9).ceil() * self.share_step,
            false => self.least_share,
        }
    }

    /// The drive of a component.
    pub fn drive(&self, component: usize) -> Drive {
        let own = self.drives.get(component);
        own.or(self.drives.first()).copied().unwrap_or_default()
    }

    /// The least volume between two changes of blend, mm³, at the usual flow.
    pub fn least_between_changes_mm3(&self) -> f64 {
        60.0 * self.flow.usual_mm3_s / self.changes_per_minute
    }

    /// Minutes in which a volume is laid at the usual flow.
    pub fn minutes(&self, volume_mm3: f64) -> f64 {
        volume_mm3 / self.flow.usual_mm3_s / 60.0
    }
}

/// The nearest blend of which every component has the least share.
fn raised(asked: &Shares, least: f64) -> Shares {
    let count = asked.count() as f64;
    let least = least.min(1.0 / count);
    let above: f64 = asked.as_slice().iter().map(|s| (s - least).max(0.0)).sum();
    let spare = 1.0 - least * count;
    let weights: Vec<f64> = asked
        .as_slice()
        .iter()
        .map(|s| match above > 0.0 {
            true => least + (s - least).max(0.0) / above * spare,
            false => 1.0,
        })
        .collect();
    Shares::from_weights(&weights).unwrap_or(*asked)
}

impl Document for Machine {
    const KIND: &'static str = "machine file";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        self.problems_at(&Path::default())
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            for (name, comment) in COMMENTS {
                fields.field(*name).with_doc(*comment);
            }
        });
        top
    }
}

const COMMENTS: &[(&str, &str)] = &[
    ("nozzle_mm", "Nozzle bore, mm."),
    (
        "least_layer_mm",
        "The thinnest and thickest layers that it prints well, mm.",
    ),
    (
        "chamber",
        "The melt chamber, mm³: the dead volume and the stirred volume. A lag test measures them.",
    ),
    (
        "share_step",
        "The smallest step in which a share can be set.",
    ),
    (
        "least_share",
        "The least share of a component that is in use at all.",
    ),
    (
        "keep_all_moving",
        "Whether every component must keep moving in the heat.",
    ),
    (
        "stored_blends",
        "How many blends the firmware can store, if it only takes stored ones.",
    ),
    (
        "changes_per_minute",
        "The most changes of blend in a minute.",
    ),
    ("flow", "Usual and greatest flow of plastic, mm³/s."),
    (
        "flush",
        "How far a blend may be off (ΔE00) when its region begins, and whether flushed plastic\n\
         goes inside the part first.",
    ),
    (
        "drives",
        "The drives, one for each spool or one for all. A turn is one turn of the gear that you\n\
         mark.",
    ),
    ("motion_drivers", "Stepper drivers of the axes."),
    ("board_drivers", "Stepper drivers on the board in all."),
    (
        "clearance",
        "Room that the tool head needs beside copies that stand already, mm: to each side of the\n\
         nozzle, and under the carriage.",
    ),
];
