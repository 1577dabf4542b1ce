//! Whether the nozzle keeps clear of what stands higher than it is: where copies are printed one after
//! another, it comes down beside those that are done.

use std::collections::{HashMap, HashSet};

use toolpath::Move;

/// Squares in which the height of plastic is noted, mm: to be hit, and to be near.
const FINE_MM: f64 = 0.5;
const COARSE_MM: f64 = 2.0;

/// Plastic that is so much higher than the nozzle's tip is in its way, mm: lines that prime lie a
/// little higher than a first layer.
const HIGHER_MM: f64 = 0.25;

/// What is no higher than this above the bed is beneath all of the head but the tip, mm (our rule, no
/// source).
const LOW_MM: f64 = 1.0;

/// Heights of the nozzle nearer than this are looked at once, mm.
const HEIGHT_MM: f64 = 0.1;

/// A distance between squares may be so much less than that of what is in them, mm.
const SLACK_MM: f64 = 4.3;

type Square = (i32, i32);

/// What was laid, and how near to higher places of it the nozzle came.
#[derive(Debug, Default)]
pub(super) struct Stood {
    fine: HashMap<Square, f64>,
    coarse: HashMap<Square, f64>,
    last: Option<(Square, f64)>,
    highest_mm: f64,
    /// The room about the nozzle that is asked for, mm.
    around_mm: f64,
    /// The line of the first move through plastic.
    hit: Option<u64>,
    /// How near it came beside that, mm, and at which line.
    nearest: Option<(f64, u64)>,
    looked: HashSet<(Square, i32)>,
    last_mm: f64,
}

impl Stood {
    /// From now on, looks whether the nozzle keeps so far from what stands, mm.
    pub(super) fn keep_away(&mut self, around_mm: f64) {
        self.around_mm = around_mm;
    }

    /// A move that lays plastic.
    pub(super) fn lay(&mut self, step: &Move, line: u64) {
        self.go(step, line);
        let top_mm = step.from[2].max(step.to[2]);
        self.highest_mm = self.highest_mm.max(top_mm);
        for [x, y, _] in places(step, FINE_MM) {
            let square = square([x, y], FINE_MM);
            if self.last == Some((square, top_mm)) {
                continue;
            }
            self.last = Some((square, top_mm));
            let fine = self.fine.entry(square).or_insert(top_mm);
            *fine = fine.max(top_mm);
            let coarse = self.coarse.entry(self::square([x, y], COARSE_MM));
            let coarse = coarse.or_insert(top_mm);
            *coarse = coarse.max(top_mm);
        }
    }

    /// Any move: looks at what is higher than it.
    pub(super) fn go(&mut self, step: &Move, line: u64) {
        let low_mm = step.from[2].min(step.to[2]);
        if low_mm < self.last_mm - HIGHER_MM {
            // What was laid since may be in the way now.
            self.looked.clear();
        }
        self.last_mm = step.to[2];
        if low_mm + HIGHER_MM >= self.highest_mm {
            return;
        }
        for at in places(step, FINE_MM) {
            let [x, y, z] = at;
            let higher = |laid: &f64| *laid > z + HIGHER_MM;
            let through = self.fine.get(&square([x, y], FINE_MM)).is_some_and(higher);
            if through {
                self.hit.get_or_insert(line);
            }
            if self.around_mm > 0.0 {
                self.look_around(at, line);
            }
        }
    }

    fn look_around(&mut self, [x, y, z]: [f64; 3], line: u64) {
        let own = square([x, y], COARSE_MM);
        let height = (z / HEIGHT_MM).round().clamp(-1e6, 1e6) as i32;
        if !self.looked.insert((own, height)) {
            return;
        }
        let reach = (self.around_mm / COARSE_MM).ceil() as i32;
        let higher = |laid: &f64| *laid > z.max(LOW_MM) + HIGHER_MM;
        let found = (-reach..=reach)
            .flat_map(|i| (-reach..=reach).map(move |j| (i, j)))
            .filter(|(i, j)| {
                let there = (own.0.saturating_add(*i), own.1.saturating_add(*j));
                self.coarse.get(&there).is_some_and(higher)
            })
            .map(|(i, j)| COARSE_MM * f64::from(i).hypot(f64::from(j)))
            .min_by(f64::total_cmp);
        if let Some(mm) = found
            && self.nearest.is_none_or(|(nearest_mm, _)| mm < nearest_mm)
        {
            self.nearest = Some((mm, line));
        }
    }

    /// The law that this file breaks and the one from before does not, if any.
    pub(super) fn fault(&self, was: &Self) -> Option<String> {
        if let Some(line) = self.hit.filter(|_| was.hit.is_none()) {
            return Some(format!(
                "at line {line} the nozzle goes through plastic that stands"
            ));
        }
        let before_mm = was.nearest.map_or(f64::INFINITY, |(mm, _)| mm);
        let least_mm = before_mm.min(self.around_mm) - SLACK_MM;
        let (mm, line) = self.nearest.filter(|(mm, _)| *mm < least_mm)?;
        Some(format!(
            "at line {line} the nozzle comes within {mm:.0} mm of what stands; its head needs \
             {:.1} mm",
            self.around_mm
        ))
    }
}

/// Places along a move, no farther apart than this, mm, its ends among them.
fn places(step: &Move, apart_mm: f64) -> impl Iterator<Item = [f64; 3]> {
    let count = (step.length_mm() / apart_mm).ceil().clamp(1.0, 1e5) as u32;
    (0..=count).map(move |i| step.at(f64::from(i) / f64::from(count)))
}

fn square(place: [f64; 2], side_mm: f64) -> Square {
    let cell = |v: f64| (v / side_mm).floor().clamp(-1e9, 1e9) as i32;
    (cell(place[0]), cell(place[1]))
}
