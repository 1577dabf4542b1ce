//! How the nozzle goes from plastic to plastic.

use toolpath::{MachineState, Move};

use super::stood::Stood;

/// Heights nearer than this are one layer's, mm.
pub(super) const SAME_HEIGHT_MM: f64 = 1e-4;

/// Ways shorter than this are never drawn back for, mm.
const SHORT_MM: f64 = 0.5;

/// What is left of a strand that counts as drawn back, mm.
const BACK_MM: f64 = 1e-4;

/// Plastic fed at one spot may differ by this much in all, mm.
const PRIMED_MM: f64 = 1e-3;

/// What was seen of the ways of a file.
#[derive(Debug)]
pub(super) struct Ways {
    /// Filament fed at one spot beyond what was drawn back, mm.
    primed_mm: f64,
    /// Since the last plastic: length gone with the strand out, lowest place, firmware's hold.
    dry_mm: f64,
    lowest_mm: f64,
    held: bool,
    /// It draws the strand back somewhere.
    draws: bool,
    last: Option<[f64; 3]>,
    /// The longest way with the strand out, mm, and the line that ended it.
    pub longest_dry_mm: f64,
    longest_line: u64,
    /// The first line before which the nozzle went beneath what is laid.
    dips: Option<u64>,
    /// It went nowhere since the strand was drawn back.
    idle: bool,
    /// How often the strand was drawn back and given again at one spot, and the first line.
    idles: u64,
    idle_line: u64,
    /// What stands, and how near the nozzle came to it.
    stood: Stood,
}

impl Default for Ways {
    fn default() -> Self {
        Self {
            primed_mm: 0.0,
            dry_mm: 0.0,
            lowest_mm: f64::INFINITY,
            held: false,
            draws: false,
            last: None,
            longest_dry_mm: 0.0,
            longest_line: 0,
            dips: None,
            idle: false,
            idles: 0,
            idle_line: 0,
            stood: Stood::default(),
        }
    }
}

impl Ways {
    /// From now on, the nozzle is to keep so far from what stands, mm.
    pub(super) fn keep_away(&mut self, around_mm: f64) {
        self.stood.keep_away(around_mm);
    }

    /// A move that lays nothing.
    pub(super) fn go(&mut self, step: &Move, after: &MachineState, line: u64) {
        self.stood.go(step, line);
        if step.fresh_mm > 0.0 {
            self.primed_mm += step.fresh_mm;
        }
        let out = after.fed_mm() > after.most_fed_mm() - BACK_MM;
        if step.travels() {
            self.idle = false;
        } else if step.extruded_mm < 0.0 {
            self.drawn();
        } else if step.extruded_mm > 0.0 {
            self.given(line);
        }
        if out && !self.held && step.extruded_mm == 0.0 {
            self.dry_mm += level(step.from, step.to);
        }
        self.lowest_mm = self.lowest_mm.min(step.from[2]).min(step.to[2]);
    }

    /// The firmware draws the strand back.
    pub(super) fn hold(&mut self) {
        self.held = true;
        self.drawn();
    }

    /// The firmware gives it again.
    pub(super) fn let_go(&mut self, line: u64) {
        self.held = false;
        self.given(line);
    }

    fn drawn(&mut self) {
        self.draws = true;
        self.idle = true;
    }

    fn given(&mut self, line: u64) {
        if self.idle {
            self.idles += 1;
            if self.idle_line == 0 {
                self.idle_line = line;
            }
        }
        self.idle = false;
    }

    /// Ends a way at a move that lays plastic.
    pub(super) fn arrive(&mut self, step: &Move, line: u64) {
        self.stood.lay(step, line);
        if let Some(last) = self.last {
            // From layer to layer every file goes as it likes.
            let level = (last[2] - step.from[2]).abs() < SAME_HEIGHT_MM;
            if level && self.dry_mm > self.longest_dry_mm {
                self.longest_dry_mm = self.dry_mm;
                self.longest_line = line;
            }
            if self.lowest_mm < last[2].min(step.from[2]) - SAME_HEIGHT_MM {
                self.dips.get_or_insert(line);
            }
        }
        self.last = Some(step.to);
        self.dry_mm = 0.0;
        self.lowest_mm = f64::INFINITY;
    }

    /// The law that the ways of the file from before break against these, if any.
    pub(super) fn fault(&self, was: &Self) -> Option<String> {
        if let Some(line) = self.dips.filter(|_| was.dips.is_none()) {
            return Some(format!(
                "before line {line} the nozzle goes below printed plastic"
            ));
        }
        if let Some(fault) = self.stood.fault(&was.stood) {
            return Some(fault);
        }
        // A file that never draws back has no length from which on it does.
        if was.draws && self.longest_dry_mm > was.longest_dry_mm.max(SHORT_MM) + 0.01 {
            return Some(format!(
                "before line {} the nozzle travels {:.1} mm without retraction; the sliced file \
                 travels at most {:.1} mm this way",
                self.longest_line, self.longest_dry_mm, was.longest_dry_mm
            ));
        }
        if (self.primed_mm - was.primed_mm).abs() > PRIMED_MM {
            return Some(format!(
                "{:+.4} mm of filament is fed at one spot",
                self.primed_mm - was.primed_mm
            ));
        }
        if self.idles > was.idles {
            return Some(format!(
                "the strand is drawn back and given again at one spot {} times, and {} times in \
                 the sliced file; the first is at line {}",
                self.idles, was.idles, self.idle_line
            ));
        }
        None
    }
}

fn level(a: [f64; 3], b: [f64; 3]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}
