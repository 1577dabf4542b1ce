//! Commands sent ahead of their place, before any is sharpened.

use blend::MixModel;

use crate::Machine;
use crate::delivery::{Change, Commands, changes};
use crate::economy::{ENOUGH_MM3, Extrusion, FlushTable, Lead, Sent};

/// Commands sent ahead, and the changes that are seen while they happen.
pub(super) struct Led {
    lead: Option<Lead>,
    pub open: Vec<Change>,
    /// How many changes have the flush that they need.
    pub flushed: usize,
}

impl Led {
    /// Sends every change of an extrusion ahead: one that has room to settle unseen is begun
    /// where the old blend was last seen, any other one has its middle at its place.
    pub(super) fn of(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Self {
        let mut table = FlushTable::new(machine, model, true);
        let mut led = Self {
            lead: None,
            open: Vec::new(),
            flushed: 0,
        };
        for change in changes(extrusion) {
            let (from, to) = (machine.fed(&change.from), machine.fed(&change.to));
            let Some(lead) = &mut led.lead else {
                led.lead = Some(Lead::new(machine, to));
                continue;
            };
            if from == to {
                continue;
            }
            let gap_mm3 = change.seen_mm3 - change.ends_mm3;
            match table.settling(&from, &to) {
                Some(settling)
                    if lead.needed_mm3(&settling, change.ends_mm3) <= gap_mm3 + ENOUGH_MM3 =>
                {
                    lead.flush(&settling, to, change.ends_mm3);
                    led.flushed += 1;
                }
                _ => {
                    lead.open(to, change.ends_mm3, change.seen_mm3);
                    led.open.push(change);
                }
            }
        }
        led
    }

    /// What is sent, in order.
    pub(super) fn sent(&self) -> &[Sent] {
        self.lead.as_ref().map_or(&[], Lead::sent)
    }

    /// As commands.
    pub(super) fn commands(&self, machine: &Machine) -> Commands {
        Commands::tidy(self.sent().iter().map(|s| s.command).collect(), machine)
    }
}
