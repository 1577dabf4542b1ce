//! How many colours there are, and how much area each has.

use blend::reach::Wanted;
use blend::{Lab, Srgb, Xyz, ciede2000};
use rayon::prelude::*;
use rustc_hash::FxHashMap;

use crate::Sampled;
use crate::distinct::Distinct;

/// Colours that differ by no more than this from one of more area are counted with it, ΔE00: side
/// by side they look alike (our choice, no source).
const ALIKE_DE00: f64 = 4.0;

/// Boxes of code values, a side each: the fewer, the fewer colours are compared.
const FINE: u32 = 3;
const COARSE: u32 = 4;

/// The most boxes that are kept apart.
const MOST_BOXES: usize = 2_000;

/// A colour and those that look like it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The colour: the mean of them all, in linear light.
    pub colour: Srgb,
    /// Their area, mm².
    pub area_mm2: f64,
    /// How many different 8-bit colours they are.
    pub distinct: usize,
}

/// The colours of a model or a picture by their areas.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// How many different 8-bit colours were seen.
    pub distinct: usize,
    /// Colours that look alike taken together, those of most area first.
    pub found: Vec<Found>,
    /// Area that the file gives no colour, mm².
    pub uncoloured_mm2: f64,
    /// Nearly the same colours, for choosing blends.
    boxes: Vec<Boxed>,
}

/// Colours of a few code values.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Boxed {
    area_mm2: f64,
    linear: [f64; 3],
    distinct: usize,
}

impl Boxed {
    fn add(&mut self, other: &Self) {
        self.area_mm2 += other.area_mm2;
        self.distinct += other.distinct;
        for (sum, part) in self.linear.iter_mut().zip(other.linear) {
            *sum += part;
        }
    }

    fn lab(&self) -> Lab {
        let mean = self
            .linear
            .map(|sum| sum / self.area_mm2.max(f64::MIN_POSITIVE));
        Xyz::from_linear_srgb(mean).to_lab()
    }
}

impl Counted {
    /// Counts the colours of a model.
    pub fn new(sampled: &Sampled) -> Self {
        Self::of(sampled.distinct(), sampled.each())
    }

    /// Counts colours by their places, with the area of each, mm²; areas with a place beyond the
    /// last have none.
    pub(crate) fn of(distinct: &Distinct, each: impl Iterator<Item = (u32, f64)>) -> Self {
        let mut sums = vec![0.0; distinct.count()];
        let mut uncoloured_mm2 = 0.0;
        for (place, area) in each {
            match sums.get_mut(place as usize) {
                Some(sum) => *sum += area,
                None => uncoloured_mm2 += area,
            }
        }
        // Small areas first into each sum, and always in one order.
        let mut areas: Vec<(Srgb, f64)> = distinct.colours().zip(sums).collect();
        areas.par_sort_unstable_by(|a, b| a.1.total_cmp(&b.1).then(a.0.0.cmp(&b.0.0)));
        let mut boxes = boxed(&areas, FINE);
        if boxes.len() > MOST_BOXES {
            boxes = boxed(&areas, COARSE);
        }
        Self {
            distinct: areas.len(),
            found: alike(&boxes),
            uncoloured_mm2,
            boxes,
        }
    }

    /// The coloured area, mm².
    pub fn coloured_mm2(&self) -> f64 {
        self.boxes.iter().map(|b| b.area_mm2).sum()
    }

    /// The colours as blends are chosen for them.
    pub fn wanted(&self) -> Vec<Wanted> {
        let wanted = |b: &Boxed| Wanted {
            lab: b.lab(),
            weight: b.area_mm2,
        };
        self.boxes.iter().map(wanted).collect()
    }
}

/// Colours in boxes of code values whose sides are two to the power of some bits, those of most
/// area first.
fn boxed(areas: &[(Srgb, f64)], bits: u32) -> Vec<Boxed> {
    let mut boxes: FxHashMap<[u8; 3], Boxed> = FxHashMap::default();
    for (colour, area) in areas {
        let one = Boxed {
            area_mm2: *area,
            linear: colour.to_linear().map(|part| part * area),
            distinct: 1,
        };
        boxes
            .entry(colour.0.map(|code| code >> bits))
            .or_default()
            .add(&one);
    }
    let mut boxes: Vec<([u8; 3], Boxed)> = boxes.into_iter().collect();
    boxes.sort_by(|a, b| b.1.area_mm2.total_cmp(&a.1.area_mm2).then(a.0.cmp(&b.0)));
    boxes.into_iter().map(|(_, b)| b).collect()
}

/// Boxes that look alike taken together, from the one of most area down.
fn alike(boxes: &[Boxed]) -> Vec<Found> {
    let mut groups: Vec<(Lab, Boxed)> = Vec::new();
    for one in boxes {
        let lab = one.lab();
        match groups
            .iter_mut()
            .find(|(head, _)| ciede2000(*head, lab) <= ALIKE_DE00)
        {
            Some((_, group)) => group.add(one),
            None => groups.push((lab, *one)),
        }
    }
    let found = |(_, group): &(Lab, Boxed)| Found {
        colour: group.lab().to_xyz().to_srgb(),
        area_mm2: group.area_mm2,
        distinct: group.distinct,
    };
    let mut found: Vec<Found> = groups.iter().map(found).collect();
    found.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    found
}
