//! The machine: what its hotend and drives can and can't do.

use blend::{ShareLimits, Shares};
use serde::{Deserialize, Serialize};

use crate::ron_text::{Document, Path, Problem};

/// Limits of the machine that the plan must keep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Machine {
    /// Version of this format.
    pub version: u32,
    /// The user's name for it.
    pub name: String,
    /// Nozzle bore, mm.
    pub nozzle_mm: f64,
    /// The smallest step in which a share can be set.
    pub share_step: f64,
    /// The least share of a component that is in use at all.
    pub least_share: f64,
}

impl Default for Machine {
    fn default() -> Self {
        Self {
            version: Self::VERSION,
            name: "Mixing hotend".to_owned(),
            nozzle_mm: 0.4,
            share_step: 0.01,
            least_share: 0.0,
        }
    }
}

impl Machine {
    /// Version of the machine format that is read and written here.
    pub const VERSION: u32 = 1;

    /// What it can feed of shares.
    pub fn share_limits(&self) -> ShareLimits {
        ShareLimits {
            share_step: self.share_step,
            least_share: self.least_share,
        }
    }

    /// The blend nearest to the one asked for that it can feed.
    pub fn fed(&self, asked: &Shares) -> Shares {
        asked.within(self.share_limits())
    }

    /// Everything wrong with the machine, told by paths below `at`.
    pub(crate) fn problems_at(&self, at: &Path) -> Vec<Problem> {
        let mut found = Vec::new();
        if self.version != Self::VERSION {
            let what = format!(
                "machine of version {}; write {}",
                self.version,
                Self::VERSION
            );
            found.push(Problem::new(at.then("version"), what));
        }
        let mut outside = |name: &'static str, value: f64, low: f64, high: f64| {
            if !(value >= low && value <= high) {
                let what = format!("{name} is {value}; it must be from {low} to {high}");
                found.push(Problem::new(at.then(name), what));
            }
        };
        outside("nozzle_mm", self.nozzle_mm, 0.05, 5.0);
        outside("share_step", self.share_step, 0.0001, 0.5);
        outside("least_share", self.least_share, 0.0, 0.4);
        found
    }
}

impl Document for Machine {
    const KIND: &'static str = "machine file";
    const VERSION: u32 = Self::VERSION;

    fn problems(&self) -> Vec<Problem> {
        self.problems_at(&Path::default())
    }
}
