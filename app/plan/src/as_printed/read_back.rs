//! The figures of a toolpath with the plan woven in, in place of those of the plan's own layout.

use crate::Plan;
use crate::delivery::Commands;
use crate::economy::{Purpose, Waste};

use super::AsPrinted;

/// What was read back of a toolpath with the plan woven in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadBack {
    /// The commands in it, by extruded volume of the whole file.
    pub commands: Commands,
    /// Mean ΔE00 between printed and requested colours at the skin.
    pub mean_de00: f64,
    /// The same, estimated, without compensation: every command at its place.
    pub at_their_place_de00: f64,
    /// ΔE00 that 95 % of the skin stays within.
    pub p95_de00: f64,
    /// Greatest ΔE00 anywhere at the skin.
    pub worst_de00: f64,
    /// Plastic of the whole file, mm³.
    pub volume_mm3: f64,
    /// What of it is purged beside the part, mm³,
    pub purged_mm3: f64,
    /// in so many changes,
    pub purges: usize,
    /// and what of the part takes up changes where nobody sees it, mm³.
    pub hidden_mm3: f64,
}

impl AsPrinted {
    /// The same part with the figures, the commands and the waste of a toolpath that the plan
    /// was woven into. Its schedule must count that toolpath's plastic
    /// ([`Laid`](crate::schedule::Laid)).
    #[must_use]
    pub fn read_back(mut self, plan: &Plan, found: &ReadBack) -> Self {
        // The schedule's plastic is the whole file's, with what is purged.
        self.extrusion
            .stretches
            .retain(|stretch| stretch.purpose != Purpose::Waste);
        self.delivery.mean_de00 = found.mean_de00;
        self.delivery.p95_de00 = found.p95_de00;
        self.delivery.worst_de00 = found.worst_de00;
        self.compensation.commands = found.commands.clone();
        self.compensation.before_de00 = found.at_their_place_de00;
        self.compensation.after_de00 = found.mean_de00;
        let spool = plan.spools.first();
        let part_mm3 = (found.volume_mm3 - found.purged_mm3).max(1e-9);
        self.waste = Waste {
            volume_mm3: found.purged_mm3,
            mass_g: spool.map_or(0.0, |s| s.mass_g(found.purged_mm3)),
            length_m: spool.map_or(0.0, |s| s.length_mm(found.purged_mm3) / 1000.0),
            minutes: plan.machine.minutes(found.purged_mm3),
            ratio: found.purged_mm3 / part_mm3,
            flushes: found.purges,
            inside_mm3: found.hidden_mm3,
        };
        // What would save some is told by comparing ways to weave.
        self.suggestions.clear();
        self.jump_offer = None;
        self.warnings.clear();
        self
    }
}
