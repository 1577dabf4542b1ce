//! What each drive should have done by each height: a table to hold beside the printer.
//!
//! Put a mark on each drive's gear, or on the filament a hand's breadth above it, and compare
//! as the print grows. The first row that does not agree tells from where on a drive is at
//! fault.

use serde::{Deserialize, Serialize};

use crate::economy::Heights;
use crate::{AsPrinted, Plan, Schedule};

/// The most rows: a table of one page.
const MOST_ROWS: usize = 60;

/// The table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Watch {
    /// Names of the spools, one for each drive.
    pub spools: Vec<String>,
    /// Rows from the bed upwards, each at the top of a layer.
    pub rows: Vec<WatchRow>,
}

/// What should have happened by a height.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WatchRow {
    /// The height, mm: the top of a layer.
    pub height_mm: f64,
    /// How many layers are then done.
    pub layers: usize,
    /// Minutes from the beginning, at the machine's usual flow.
    pub minutes: f64,
    /// Each drive.
    pub drives: Vec<WatchDrive>,
}

/// One drive by a height.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WatchDrive {
    /// Turns of its gear from the beginning of the print.
    pub turns: f64,
    /// Turns since the row before.
    pub turns_since: f64,
    /// Filament that it has fed from the beginning, mm.
    pub filament_mm: f64,
    /// Filament since the row before: how far a mark on the filament moves, mm.
    pub filament_since_mm: f64,
}

impl Watch {
    /// Makes a table with a row about every `every_mm` of height, 5 or 10 mm for most parts, and
    /// one at the top. A tall part gets fewer rows, so that the table stays on a page.
    pub fn new(plan: &Plan, schedule: &Schedule, printed: &AsPrinted, every_mm: f64) -> Self {
        let heights = Heights::new(&printed.extrusion, schedule);
        let every_mm = every_mm.max(heights.top_mm() / MOST_ROWS as f64).max(1e-3);
        let tops: Vec<f64> = schedule.layers.iter().map(|l| l.span.top_mm).collect();
        let mut rows: Vec<WatchRow> = Vec::new();
        let mut before = vec![WatchDrive::default(); plan.spools.len()];
        let mut wanted = every_mm;
        for (i, &top) in tops.iter().enumerate() {
            if top < wanted - 1e-6 && i + 1 < tops.len() {
                continue;
            }
            wanted = (top / every_mm + 1e-6).floor() * every_mm + every_mm;
            let laid_mm3 = heights.laid_mm3(top);
            let fed = printed
                .compensation
                .commands
                .fed_mm3(laid_mm3, plan.spools.len());
            let drives: Vec<WatchDrive> = fed
                .iter()
                .enumerate()
                .map(|(component, &fed)| {
                    let filament_mm = plan.spools[component].length_mm(fed);
                    let turns = plan.machine.drive(component).turns(filament_mm);
                    WatchDrive {
                        turns,
                        turns_since: turns - before[component].turns,
                        filament_mm,
                        filament_since_mm: filament_mm - before[component].filament_mm,
                    }
                })
                .collect();
            before.clone_from(&drives);
            rows.push(WatchRow {
                height_mm: top,
                layers: i + 1,
                minutes: plan.machine.minutes(laid_mm3),
                drives,
            });
        }
        Self {
            spools: plan.spools.iter().map(|s| s.name.clone()).collect(),
            rows,
        }
    }
}
