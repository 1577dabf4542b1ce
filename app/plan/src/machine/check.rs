//! What can be wrong with a machine.

use blend::MAX_COMPONENTS;

use super::{Chamber, Machine};
use crate::ron_text::{Path, Problem};

impl Machine {
    /// Everything wrong with the machine, told by paths below `at`.
    pub(crate) fn problems_at(&self, at: &Path) -> Vec<Problem> {
        let mut found = Vec::new();
        if self.version != Self::VERSION {
            let what = format!(
                "this machine has version {}; write {}",
                self.version,
                Self::VERSION
            );
            found.push(Problem::new(at.then("version"), what));
        }
        let (flow, chamber) = (at.then("flow"), at.then("chamber"));
        let mut outside = |path: Path, value: f64, low: f64, high: f64, unit: &str| {
            if !(value >= low && value <= high) {
                let what = format!("this is {value}; it must be from {low} to {high}{unit}");
                found.push(Problem::new(path, what));
            }
        };
        outside(at.then("nozzle_mm"), self.nozzle_mm, 0.05, 5.0, " mm");
        outside(
            at.then("least_layer_mm"),
            self.least_layer_mm,
            0.001,
            5.0,
            " mm",
        );
        outside(
            at.then("most_layer_mm"),
            self.most_layer_mm,
            0.001,
            5.0,
            " mm",
        );
        outside(
            chamber.then("dead_mm3"),
            self.chamber.dead_mm3,
            0.0,
            1e5,
            " mm³",
        );
        outside(
            chamber.then("mixed_mm3"),
            self.chamber.mixed_mm3,
            0.0,
            1e5,
            " mm³",
        );
        let tanks = self.chamber.tanks as f64;
        outside(
            chamber.then("tanks"),
            tanks,
            1.0,
            Chamber::MOST_TANKS as f64,
            "",
        );
        outside(at.then("share_step"), self.share_step, 0.0001, 0.5, "");
        outside(at.then("least_share"), self.least_share, 0.0, 0.4, "");
        outside(
            at.then("changes_per_minute"),
            self.changes_per_minute,
            0.01,
            1e5,
            "",
        );
        outside(
            flow.then("usual_mm3_s"),
            self.flow.usual_mm3_s,
            0.01,
            1000.0,
            " mm³/s",
        );
        outside(
            flow.then("most_mm3_s"),
            self.flow.most_mm3_s,
            0.01,
            1000.0,
            " mm³/s",
        );
        outside(
            at.then("flush").then("allowed_de00"),
            self.flush.allowed_de00,
            0.1,
            100.0,
            "",
        );
        for (i, drive) in self.drives.iter().enumerate() {
            let path = at.then("drives").at(i);
            outside(path.then("steps_per_mm"), drive.steps_per_mm, 0.1, 1e6, "");
            outside(
                path.then("steps_per_turn"),
                drive.steps_per_turn,
                1.0,
                1e8,
                "",
            );
        }
        if let Some(clearance) = self.clearance {
            let path = at.then("clearance");
            let around_mm = clearance.around_mm;
            outside(path.then("around_mm"), around_mm, 1.0, 1000.0, " mm");
            let under_mm = clearance.under_mm;
            outside(path.then("under_mm"), under_mm, 1.0, 1000.0, " mm");
        }
        self.check_together(at, &mut found);
        found
    }

    fn check_together(&self, at: &Path, found: &mut Vec<Problem>) {
        if self.least_layer_mm > self.most_layer_mm {
            let what = "the thinnest layer is thicker than the thickest; swap the two";
            found.push(Problem::new(at.then("least_layer_mm"), what));
        }
        if self.flow.usual_mm3_s > self.flow.most_mm3_s {
            let what = "the usual flow is above the greatest; lower it";
            found.push(Problem::new(at.then("flow").then("usual_mm3_s"), what));
        }
        if self.drives.is_empty() || self.drives.len() > MAX_COMPONENTS {
            let what = format!(
                "there are {} drives; write one for all spools, or one for each (at most \
                 {MAX_COMPONENTS})",
                self.drives.len()
            );
            found.push(Problem::new(at.then("drives"), what));
        }
        if self.stored_blends.is_some_and(|n| n < 2) {
            let what = "a firmware that stores blends must store at least 2; leave this out if \
                        shares are sent with each change";
            found.push(Problem::new(at.then("stored_blends"), what));
        }
    }
}
