//! Where a move leads, and what it feeds.

use super::words::{Letters, Motion};
use super::{Distance, MachineState, REACH_MM, Step, UNEVEN_MM};
use crate::arc::{BadArc, Given};
use crate::plain::{self, Numbers};
use crate::{Arc, CautionKind, Cautions, Move, Path};

/// From where to where a move goes, mm, and the filament fed on the way.
#[derive(Clone, Copy)]
pub(super) struct Way {
    pub(super) from: [f64; 3],
    pub(super) to: [f64; 3],
    pub(super) fed_mm: f64,
}

impl MachineState {
    /// G0 to G3.
    pub(super) fn go(
        &mut self,
        motion: Motion,
        words: &Letters,
        machine_place: bool,
        line: u64,
        cautions: &mut Cautions,
    ) -> Step {
        let Some(way) = self.travel(&words.numbers(), machine_place, line, cautions) else {
            return Step::Nothing;
        };
        let path = match motion {
            Motion::Rapid | Motion::Straight => Path::Straight,
            Motion::Clockwise => self.arc(true, words, &way, line, cautions),
            Motion::CounterClockwise => self.arc(false, words, &way, line, cautions),
        };
        self.moved(motion, way, path)
    }

    /// Takes place and filament to where a move ends; `None` if that is out of reach.
    #[inline]
    pub(super) fn travel(
        &mut self,
        numbers: &Numbers,
        machine_place: bool,
        line: u64,
        cautions: &mut Cautions,
    ) -> Option<Way> {
        let scale = self.units.mm();
        let mut target = self.place;
        for (i, (place, offset)) in target.iter_mut().zip(self.offset).enumerate() {
            if let Some(value) = numbers.get(i) {
                *place = match self.distance {
                    _ if machine_place => value * scale - offset,
                    Distance::Absolute => value * scale,
                    Distance::Relative => *place + value * scale,
                };
            }
        }
        let given_e = numbers.get(plain::E);
        let e = self.e_after(given_e);
        let fed_mm = match self.volumetric_mm2 {
            Some(area_mm2) => self.flow * (e - self.e) / area_mm2,
            None => self.flow * (e - self.e),
        };
        // Written so that what is no number is out of reach too.
        let reached = target
            .iter()
            .zip(self.offset)
            .all(|(t, o)| (t + o).abs() <= REACH_MM)
            && fed_mm.abs() <= REACH_MM;
        if !reached {
            cautions.note(CautionKind::OutOfReach, line);
            return None;
        }
        if given_e.is_some() && self.unclear {
            cautions.note(CautionKind::ExtruderModeUnclear, line);
        }
        let from = self.place_mm();
        self.place = target;
        self.e = e;
        Some(Way {
            from,
            to: self.place_mm(),
            fed_mm,
        })
    }

    /// The move along a way that was just taken.
    #[inline]
    pub(super) fn moved(&mut self, motion: Motion, way: Way, path: Path) -> Step {
        Step::Move(Move {
            from: way.from,
            to: way.to,
            path,
            extruded_mm: way.fed_mm,
            fresh_mm: self.feed(way.fed_mm),
            feed_mm_min: self.feed_mm_min,
            rapid: motion == Motion::Rapid,
        })
    }

    #[inline]
    fn e_after(&self, given: Option<f64>) -> f64 {
        match (given, self.e_distance()) {
            (None, _) => self.e,
            (Some(value), Distance::Absolute) => value * self.e_unit(),
            (Some(value), Distance::Relative) => self.e + value * self.e_unit(),
        }
    }

    /// Counts filament and gives the part of it that is fresh.
    #[inline]
    pub(super) fn feed(&mut self, fed_mm: f64) -> f64 {
        self.fed_mm += fed_mm;
        let fresh = (self.fed_mm - self.most_fed_mm).max(0.0);
        self.most_fed_mm += fresh;
        fresh
    }

    fn arc(
        &self,
        clockwise: bool,
        words: &Letters,
        way: &Way,
        line: u64,
        cautions: &mut Cautions,
    ) -> Path {
        let (from, to) = (way.from, way.to);
        let [first, second, _] = self.plane.ordered(*b"IJK");
        let scale = self.units.mm();
        let given = match (words.get(b'R'), words.get(first), words.get(second)) {
            (Some(radius), _, _) => Ok(Given::Radius(radius * scale)),
            (None, None, None) => Err(BadArc::NoCentre),
            (None, i, j) => Ok(Given::Centre([
                i.unwrap_or(0.0) * scale,
                j.unwrap_or(0.0) * scale,
            ])),
        };
        match given.and_then(|given| Arc::new(self.plane, clockwise, from, to, given)) {
            // What lies beyond reach between its ends could not be read back in pieces.
            Ok(arc) if arc.leads_beyond(REACH_MM) => {
                cautions.note(CautionKind::BadArc, line);
                Path::Straight
            }
            Ok(arc) => {
                if (arc.radius_mm - arc.end_radius_mm).abs() > UNEVEN_MM {
                    cautions.note(CautionKind::UnevenArc, line);
                }
                Path::Arc(arc)
            }
            Err(_) => {
                cautions.note(CautionKind::BadArc, line);
                Path::Straight
            }
        }
    }
}
