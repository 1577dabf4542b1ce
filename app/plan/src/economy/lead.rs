//! Where commands have to stand so that each blend has settled when it is first seen.
//!
//! One place decides it for both sides: the layout asks how much has to be flushed, and the
//! commands are then sent as that was worked out. So a flush is as large as what is really sent
//! needs, also where a change can't be sent ahead: at the beginning of a print, and right after
//! another change.

use blend::Shares;

use super::flush::Settling;
use crate::Machine;
use crate::delivery::Command;

/// Less than this is not worth a flush: rounding.
pub(crate) const ENOUGH_MM3: f64 = 1e-6;

/// Commands sent ahead of their place, change by change.
#[derive(Clone, Debug)]
pub(crate) struct Lead {
    dead_mm3: f64,
    mixed_mm3: f64,
    apart_mm3: f64,
    sent: Vec<Sent>,
}

/// A command, and what it is for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Sent {
    pub command: Command,
    pub what: What,
}

/// What a command is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum What {
    /// The blend that the chamber is full of at the beginning.
    Start,
    /// A change that has its flush, or the beginning of one that feeds beyond its aim.
    Flushed,
    /// The end of feeding beyond the aim.
    Eased,
    /// A change without room to settle unseen.
    Open,
}

/// A change with its flush, worked out but not sent.
struct Planned {
    /// How many of the commands so far stay.
    kept: usize,
    at_mm3: f64,
    /// From the last plastic that is seen in the old blend to the first in the new one.
    volume_mm3: f64,
}

impl Lead {
    /// Begins with a chamber full of a blend.
    pub(crate) fn new(machine: &Machine, first: Shares) -> Self {
        Self {
            dead_mm3: machine.chamber.dead_mm3,
            mixed_mm3: machine.chamber.mixed_mm3,
            apart_mm3: machine.least_between_changes_mm3(),
            sent: vec![Sent {
                command: Command {
                    at_mm3: 0.0,
                    shares: first,
                },
                what: What::Start,
            }],
        }
    }

    /// What was sent, in order.
    pub(crate) fn sent(&self) -> &[Sent] {
        &self.sent
    }

    /// What has to be laid, from the last plastic that is seen in the old blend on, before the
    /// new blend may be seen, mm³.
    pub(crate) fn needed_mm3(&self, settling: &Settling, ends_mm3: f64) -> f64 {
        self.planned(settling, ends_mm3).volume_mm3
    }

    /// Sends a change that has the plastic it needs.
    pub(crate) fn flush(&mut self, settling: &Settling, to: Shares, ends_mm3: f64) {
        let planned = self.planned(settling, ends_mm3);
        self.sent.truncate(planned.kept);
        let mut send = |at_mm3: f64, shares: Shares, what: What| {
            let command = Command { at_mm3, shares };
            self.sent.push(Sent { command, what });
        };
        send(planned.at_mm3, settling.first, What::Flushed);
        if settling.beyond_mm3 > 0.0 {
            send(planned.at_mm3 + settling.beyond_mm3, to, What::Eased);
        }
    }

    /// Sends a change that is seen while it happens: with its middle where it belongs, or as
    /// soon as may be. Steps of a fade that come too soon for the machine are left out.
    pub(crate) fn open(&mut self, to: Shares, ends_mm3: f64, seen_mm3: f64) {
        let ahead = (seen_mm3 - ends_mm3).max(self.mixed_mm3);
        let wanted = seen_mm3 - self.dead_mm3 - ahead;
        let earliest = self.earliest();
        match self.sent.last_mut() {
            Some(last) if last.what == What::Open && wanted < earliest => {
                last.command.shares = to;
            }
            _ => self.sent.push(Sent {
                command: Command {
                    at_mm3: wanted.max(earliest),
                    shares: to,
                },
                what: What::Open,
            }),
        }
    }

    fn earliest(&self) -> f64 {
        let last = self.sent.last().map_or(0.0, |s| s.command.at_mm3);
        last + self.apart_mm3
    }

    fn planned(&self, settling: &Settling, ends_mm3: f64) -> Planned {
        let wanted = ends_mm3 - self.dead_mm3;
        // Feeding beyond an aim needs no end where the next change comes sooner.
        let kept = match self.sent.split_last() {
            Some((last, before)) if last.what == What::Eased && last.command.at_mm3 >= wanted => {
                before.len()
            }
            _ => self.sent.len(),
        };
        let last = kept.checked_sub(1).and_then(|i| self.sent.get(i));
        let earliest = last.map_or(0.0, |s| s.command.at_mm3) + self.apart_mm3;
        let at_mm3 = wanted.max(earliest);
        Planned {
            kept,
            at_mm3,
            volume_mm3: (at_mm3 + self.dead_mm3 + settling.volume_mm3 - ends_mm3).max(0.0),
        }
    }
}
