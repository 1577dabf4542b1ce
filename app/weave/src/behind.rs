//! Plastic behind the outermost line: it shows through the line before it, but less than that
//! line itself.
//!
//! How much is worked out by the plan's own colour model, as a wall of the line's width over
//! thick plastic: an opaque white lets a trace through, a dark blend nothing at all, and a
//! translucent spool so much that the plastic behind has to be as right as the skin.

use std::collections::HashMap;

use blend::{Behind as Backing, Lab, Shares, ciede2000};
use plan::Painted;
use plan::economy::FlushTable;

/// Blends nearer than this follow on each other without a purge, ΔE00: the steps of a fade,
/// which a command sent ahead lays exactly.
pub(crate) const CALM_DE00: f64 = 5.0;

/// What has to pass between two blends before the second may be laid behind its own skin.
pub(crate) struct Behind<'a> {
    painted: &'a Painted,
    known: HashMap<(u32, u32), f64>,
}

impl<'a> Behind<'a> {
    pub(crate) fn new(painted: &'a Painted) -> Self {
        Self {
            painted,
            known: HashMap::new(),
        }
    }

    /// Plastic after the last of one blend, before the other may lie behind its own skin, mm³.
    /// It is never more than what has to pass before the skin itself.
    pub(crate) fn room_mm3(&mut self, blends: &[Shares], from: u32, to: u32) -> f64 {
        if let Some(known) = self.known.get(&(from, to)) {
            return *known;
        }
        let pair = (blends.get(from as usize), blends.get(to as usize));
        let (Some(first), Some(second)) = pair else {
            return f64::INFINITY;
        };
        let room = self.worked_out(first, second);
        self.known.insert((from, to), room);
        room
    }

    fn worked_out(&self, from: &Shares, to: &Shares) -> f64 {
        let (model, machine) = (self.painted.model(), &self.painted.plan().machine);
        // Steps of a fade are laid exactly by commands sent ahead.
        if ciede2000(model.mix(from).to_lab(), model.mix(to).to_lab()) <= CALM_DE00 {
            return f64::INFINITY;
        }
        let line_mm = 1.125 * machine.nozzle_mm;
        let wall = |behind: Shares| -> Lab {
            let through = model.wall(to, line_mm, Backing::Blend(behind));
            through.to_lab()
        };
        let whole = wall(*to);
        let shows = |rest: f64| ciede2000(wall(to.toward(from, rest)), whole);
        let rest = largest(|rest| shows(rest) <= machine.flush.allowed_de00);
        let off = ciede2000(
            model.mix(&to.toward(from, rest)).to_lab(),
            model.mix(to).to_lab(),
        );
        let allowed = off.max(machine.flush.allowed_de00);
        FlushTable::new(machine, model, true)
            .allowing(allowed)
            .volume_mm3(from, to)
    }
}

/// The largest part of 0 to 1 for which something holds, where it holds below it.
pub(crate) fn largest(holds: impl Fn(f64) -> bool) -> f64 {
    if holds(1.0) {
        return 1.0;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        match holds(middle) {
            true => low = middle,
            false => high = middle,
        }
    }
    low
}
