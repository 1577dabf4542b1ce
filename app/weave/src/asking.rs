//! The blend that each stretch of a move asks for, numbered.

use std::collections::HashMap;

use blend::Shares;
use plan::schedule::{Asked, Asks, RegionStep};
use toolpath::Move;

use crate::classify::Classifier;
use crate::overrides::Overrides;
use crate::register::Placement;

/// Shorter pieces of a longer move go with the piece before, mm.
const SLIVER_MM: f64 = 0.05;

/// A blend asked for along a move, looked up and numbered.
pub(crate) struct Asking<'a> {
    classifier: Classifier<'a>,
    overrides: Option<&'a Overrides>,
    pub blends: Vec<Shares>,
    known: HashMap<Vec<u64>, u32>,
    last: Option<((usize, usize, u64), u32)>,
}

impl<'a> Asking<'a> {
    pub(crate) fn new(
        asked: &'a Asked<'a>,
        overrides: Option<&'a Overrides>,
        stands: &[Placement],
    ) -> Self {
        Self {
            classifier: Classifier::new(asked, stands),
            overrides,
            blends: Vec::new(),
            known: HashMap::new(),
            last: None,
        }
    }

    /// Calls with each stretch of a move, fractions of its way, and its blend.
    pub(crate) fn stretches(&mut self, step: &Move, mut each: impl FnMut(f64, f64, Option<u32>)) {
        if let Some(region_step) = self.classifier.whole(step) {
            let blend = self.blend(region_step);
            return each(0.0, 1.0, Some(blend));
        }
        // Few moves ask for more than a handful of things.
        let mut few: [(f64, f64, Asks); 8] = [(0.0, 0.0, Asks::Free); 8];
        let mut more: Vec<(f64, f64, Asks)> = Vec::new();
        let mut count = 0;
        self.classifier.stretches(step, |from, to, asks| {
            match few.get_mut(count) {
                Some(slot) => *slot = (from, to, asks),
                None => more.push((from, to, asks)),
            }
            count += 1;
        });
        // Edges are found only so closely: what is left of a neighbour beyond one is no piece.
        let least = SLIVER_MM / step.length_mm().max(SLIVER_MM);
        let mut held: Option<(f64, f64, Asks)> = None;
        for (from, to, asks) in few.into_iter().take(count).chain(more) {
            held = match held {
                Some((start, _, known)) if known == asks || to - from < least => {
                    Some((start, to, known))
                }
                Some((start, end, _)) if end - start < least && start <= 0.0 => {
                    Some((start, to, asks))
                }
                Some((start, end, known)) => {
                    let blend = self.numbered(known);
                    each(start, end, blend);
                    Some((from, to, asks))
                }
                None => Some((from, to, asks)),
            };
        }
        if let Some((from, to, asks)) = held {
            let blend = self.numbered(asks);
            each(from, to, blend);
        }
    }

    /// How much of a move just looked at lies in the outermost line, and not behind it: from 0
    /// to 1, by a few looks.
    pub(crate) fn in_front(&self, step: &Move) -> f64 {
        const LOOKS: [f64; 2] = [0.2, 0.7];
        let front_mm = self.classifier.front_mm();
        let front = LOOKS
            .iter()
            .filter(|t| !self.classifier.is_behind(step.at(**t), front_mm));
        front.count() as f64 / LOOKS.len() as f64
    }

    fn numbered(&mut self, asks: Asks) -> Option<u32> {
        match asks {
            Asks::Free => None,
            Asks::RegionStep(region_step) => Some(self.blend(region_step)),
        }
    }

    fn blend(&mut self, region_step: RegionStep) -> u32 {
        let span = self.classifier.span();
        let key = (
            region_step.region,
            region_step.step,
            span.map_or(0.0, |s| s.top_mm).to_bits(),
        );
        if let Some((last, index)) = self.last
            && last == key
        {
            return index;
        }
        let asked = self.classifier.shares(region_step);
        let shares = match (self.overrides, span) {
            (Some(overrides), Some(span)) => overrides.at(span.middle_mm(), &asked),
            _ => asked,
        };
        let bits: Vec<u64> = shares.as_slice().iter().map(|s| s.to_bits()).collect();
        let blends = &mut self.blends;
        let index = *self.known.entry(bits).or_insert_with(|| {
            blends.push(shares);
            blends.len() as u32 - 1
        });
        self.last = Some((key, index));
        index
    }
}
