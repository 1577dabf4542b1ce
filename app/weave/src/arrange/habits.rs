//! How the file itself goes from one run to the next: learnt, so that new ways are gone alike.

use std::collections::HashMap;

use super::lines::{Held, Kind};

/// How the strand is drawn back before a way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) enum Back {
    /// It isn't.
    #[default]
    Not,
    /// By the firmware's own amount: G10 and G11.
    Firmware,
    /// By a length, at a speed each way.
    Length {
        mm: f64,
        back_mm_min: f64,
        again_mm_min: f64,
    },
}

/// What was learnt.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Habits {
    pub back: Back,
    /// Ways longer than this are gone with the strand drawn back, mm.
    pub dry_mm: f64,
    /// How far the nozzle is lifted on such ways, mm.
    pub hop_mm: f64,
    pub travel_mm_min: f64,
    /// Travels are G0.
    pub rapid: bool,
    /// The speed at which most plastic is laid.
    pub print_mm_min: f64,
}

/// Ways are told apart to this, mm; speeds to a mm/min.
const GRAIN_MM: f64 = 1e-3;

/// A count of values, of which the most frequent is wanted.
#[derive(Clone, Debug, Default)]
struct Counts(HashMap<i64, f64>);

impl Counts {
    fn add(&mut self, value: f64, weight: f64) {
        let key = (value / GRAIN_MM).round().clamp(-1e15, 1e15) as i64;
        // More different values than this are no habit.
        if self.0.len() < 4096 || self.0.contains_key(&key) {
            *self.0.entry(key).or_default() += weight;
        }
    }

    fn most(&self) -> Option<f64> {
        let best = self
            .0
            .iter()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
        best.map(|(key, _)| *key as f64 * GRAIN_MM)
    }
}

/// Learns line by line, in the file's order.
#[derive(Clone, Debug, Default)]
pub(super) struct Learner {
    back_mm: Counts,
    back_feed: Counts,
    again_feed: Counts,
    travel_feed: Counts,
    print_feed: Counts,
    hop: Counts,
    rapid: [u64; 2],
    firmware: u64,
    by_length: u64,
    /// The longest way that was gone without drawing back, and the shortest with it, mm.
    longest_dry_mm: f64,
    shortest_held_mm: Option<f64>,
    /// Since the last plastic.
    way: Option<Way>,
}

#[derive(Clone, Debug)]
struct Way {
    from: [f64; 3],
    back_mm: f64,
    firmware: bool,
    highest_mm: f64,
}

impl Learner {
    pub(super) fn line(&mut self, held: &Held) {
        match &held.kind {
            Kind::Print(step) => {
                self.print_feed.add(step.feed_mm_min, step.fresh_mm);
                if let Some(way) = self.way.take() {
                    self.arrived(&way, step.from);
                }
                self.way = Some(Way {
                    from: step.to,
                    back_mm: 0.0,
                    firmware: false,
                    highest_mm: step.to[2],
                });
            }
            Kind::Go(step) => {
                if let Some(way) = &mut self.way {
                    if step.extruded_mm < 0.0 {
                        way.back_mm -= step.extruded_mm;
                        self.back_feed.add(step.feed_mm_min, 1.0);
                    } else if step.extruded_mm > 0.0 {
                        self.again_feed.add(step.feed_mm_min, 1.0);
                    }
                    way.highest_mm = way.highest_mm.max(step.to[2]);
                }
                let level = step.from[0] != step.to[0] || step.from[1] != step.to[1];
                if level && step.extruded_mm == 0.0 {
                    self.travel_feed.add(step.feed_mm_min, 1.0);
                    if let Some(count) = self.rapid.get_mut(usize::from(step.rapid)) {
                        *count += 1;
                    }
                }
            }
            Kind::Back => {
                if let Some(way) = &mut self.way {
                    way.firmware = true;
                }
            }
            _ => {}
        }
    }

    fn arrived(&mut self, way: &Way, to: [f64; 3]) {
        let length = (way.from[0] - to[0]).hypot(way.from[1] - to[1]);
        let same_layer = (way.from[2] - to[2]).abs() < GRAIN_MM;
        self.firmware += u64::from(way.firmware);
        if way.back_mm > GRAIN_MM {
            self.by_length += 1;
            self.back_mm.add(way.back_mm, 1.0);
        }
        if !same_layer {
            return;
        }
        match way.firmware || way.back_mm > GRAIN_MM {
            true => {
                let least = self.shortest_held_mm.unwrap_or(f64::INFINITY).min(length);
                self.shortest_held_mm = Some(least);
                self.hop.add(way.highest_mm - way.from[2], 1.0);
            }
            false => self.longest_dry_mm = self.longest_dry_mm.max(length),
        }
    }

    /// What was learnt so far.
    pub(super) fn habits(&self) -> Habits {
        let feed = |counts: &Counts| counts.most().filter(|feed| *feed > 0.0);
        let travel = feed(&self.travel_feed);
        let print = feed(&self.print_feed);
        let back = match (self.firmware > self.by_length, self.back_mm.most()) {
            (true, _) => Back::Firmware,
            (false, Some(mm)) => Back::Length {
                mm,
                back_mm_min: feed(&self.back_feed).unwrap_or(1800.0),
                again_mm_min: feed(&self.again_feed)
                    .or(feed(&self.back_feed))
                    .unwrap_or(1800.0),
            },
            (false, None) => Back::Not,
        };
        Habits {
            back,
            dry_mm: match self.shortest_held_mm {
                Some(held) => held.min(self.longest_dry_mm.max(0.5)),
                None => self.longest_dry_mm.clamp(0.5, 2.0),
            },
            hop_mm: self.hop.most().unwrap_or(0.0).clamp(0.0, 5.0),
            travel_mm_min: travel.or(print).unwrap_or(6000.0),
            rapid: self.rapid[1] > self.rapid[0],
            print_mm_min: print.unwrap_or(1800.0),
        }
    }
}
