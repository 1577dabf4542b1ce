//! Colours of a part by height and region, from what a photograph shows of its skin.

use std::collections::BTreeMap;

use blend::{Lab, Xyz, ciede2000};
use geometry::{DVec3, SurfacePoint};
use plan::{AsPrinted, Painted, Schedule};

use super::locus::{Likely, Locus};
use super::shading::{self, Ratio, Shading, median};
use super::sights::{Sight, Sights};

/// How far beneath the skin its colour is asked for: a face that lies where a band ends belongs to
/// the plastic under it.
const BENEATH_MM: f64 = 1e-3;
/// A face with less light than this, of that on the card, is too dark to be read.
const LEAST_SHADE: f64 = 0.3;
/// Fewer pixels than this tell no colour.
const FEWEST: usize = 30;
/// Rounds of shading and colours in turn.
const ROUNDS: usize = 6;
/// How fast what is known of the light on a face fades for faces that look elsewhere: a power of
/// the cosine between them.
const LIKE_FACES: i32 = 24;
/// The least that a luminance is off, as a logarithm.
const LEAST_SPREAD: f64 = 0.04;

/// A face whose normal rises more than this looks up. If nothing of the part stands more than so many
/// mm above it, to take light from it or throw some on it, it has the card's light.
const LEVEL: f64 = 0.99;
const CLEAR_MM: f64 = 5.0;
/// The nearer a lamp, the more light there is above the card: by so much a mm, as a logarithm, as the
/// shading allows for.
const RISE_PER_MM: f64 = 0.008;
/// Of the same region, so many mm below or above it, plastic of the same blend is as light, and how
/// far it may differ in a mm, as a logarithm (our assumption, no source).
const BESIDE_MM: f64 = 4.0;
const DRIFT_PER_MM: f64 = 0.05;

/// What is requested and what should come out, at points of the skin.
pub struct Expected<'a> {
    /// The plan on its part.
    pub painted: &'a Painted,
    /// Its schedule.
    pub schedule: &'a Schedule,
    /// What comes out.
    pub printed: &'a AsPrinted,
}

impl Expected<'_> {
    fn beneath(&self, point: SurfacePoint) -> SurfacePoint {
        let normal = self.painted.surface().normal(point.facet);
        SurfacePoint {
            point_mm: point.point_mm - normal * BENEATH_MM,
            ..point
        }
    }

    /// The region at a point.
    pub fn region(&self, point: SurfacePoint) -> usize {
        self.painted.region_at(self.beneath(point))
    }

    /// The height that a point's plastic has, mm: a level face has that beneath it.
    pub fn height_mm(&self, point: SurfacePoint) -> f64 {
        self.beneath(point).point_mm.z
    }

    /// The colour that is requested.
    pub fn requested(&self, point: SurfacePoint) -> Xyz {
        self.painted.xyz_at(self.beneath(point))
    }

    /// The colour that should come out.
    pub fn printed(&self, point: SurfacePoint) -> Xyz {
        let point = self.beneath(point);
        match self.printed.lab_at(self.painted, self.schedule, point) {
            Some(lab) => Xyz::from_lab(lab),
            None => self.painted.xyz_at(point),
        }
    }
}

/// A region at a height, as one photograph or several show it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Index of the region in the plan.
    pub region: usize,
    /// Which of the heights.
    pub slot: usize,
    /// The mean height of what was seen, mm in the plan.
    pub height_mm: f64,
    /// How many pixels show it.
    pub pixels: usize,
    /// The colour seen.
    pub seen: Lab,
    /// The colour requested, over the same pixels.
    pub requested: Lab,
    /// The colour that should have come out, over the same pixels.
    pub printed: Lab,
    /// How far the seen colour may be off for the shading, one standard error, ΔE00.
    pub shading_de00: f64,
}

/// What one photograph tells.
pub struct Read {
    /// The colours.
    pub spots: Vec<Spot>,
    /// The shading that they were evened by.
    pub shading: Shading,
}

/// The pixels of a region at a height.
#[derive(Default)]
struct Bin {
    sights: Vec<usize>,
    height_mm: f64,
    /// The sum of the normals, and of the heights above the table, mm.
    normal: DVec3,
    up_mm: f64,
    requested: [f64; 3],
    printed: [f64; 3],
    /// The mean colour as it is evened by now, in linear light.
    seen: [f64; 3],
    /// The luminance that it has by its chromaticity.
    likely: Option<Likely>,
}

impl Bin {
    /// The mean height of its plastic, mm.
    fn height(&self) -> f64 {
        self.height_mm / self.sights.len().max(1) as f64
    }

    fn mean(&self, sum: [f64; 3]) -> Lab {
        let count = self.sights.len().max(1) as f64;
        Xyz::from_array(sum.map(|v| v / count)).to_lab()
    }
}

fn add(sum: &mut [f64; 3], colour: Xyz) {
    for (sum, v) in sum.iter_mut().zip(colour.to_array()) {
        *sum += v;
    }
}

fn luminance(light: [f64; 3]) -> f64 {
    Xyz::from_linear_srgb(light).y
}

/// Reads the colours by heights of so many mm; none where too little is seen.
pub fn read(sights: &Sights, expected: &Expected<'_>, every_mm: f64) -> Option<Read> {
    let mut bins = bins(sights, expected, every_mm);
    let locus = Locus::of(expected.painted.model());
    let mut shading = Shading::even();
    for round in 0..ROUNDS {
        for bin in bins.values_mut() {
            bin.seen = evened(&sights.good, &bin.sights, &shading, round == 0);
        }
        let sure = sure(&sights.good, &bins, &shading);
        for ((region, _), bin) in &mut bins {
            // The luminance seen counts once there is a shading to take it by.
            let known = (round > 0).then(|| 2.0 * shading.stray.max(0.05));
            let printed = bin.mean(bin.printed);
            let beside = beside(&sure, *region, bin.height(), printed);
            bin.likely = locus.likely(bin.seen, printed, known.filter(|_| round > 2), beside);
        }
        shading = Shading::fit(&ratios(&sights.good, bins.values()))?;
    }
    let stray = level_stray(bins.values());
    let levels = levels(bins.values());
    let mut spots = Vec::new();
    for (((region, slot), bin), level) in bins.iter_mut().zip(levels) {
        bin.seen = evened(&sights.good, &bin.sights, &shading, false);
        let seen = Xyz::from_linear_srgb(bin.seen).to_lab();
        let brighter = bin.seen.map(|v| v * stray.hypot(level).exp());
        spots.push(Spot {
            region: *region,
            slot: *slot,
            height_mm: bin.height(),
            pixels: bin.sights.len(),
            requested: bin.mean(bin.requested),
            printed: bin.mean(bin.printed),
            shading_de00: ciede2000(seen, Xyz::from_linear_srgb(brighter).to_lab()),
            seen,
        });
    }
    spots.retain(|spot| spot.seen.is_finite() && spot.seen.l > 0.0);
    Some(Read { spots, shading })
}

/// The pixels by region and height, without those that a blurred edge of another region reaches.
fn bins(sights: &Sights, expected: &Expected<'_>, every_mm: f64) -> BTreeMap<(usize, usize), Bin> {
    let hits = sights.hits.iter();
    let regions: Vec<Option<usize>> = hits
        .map(|hit| hit.map(|point| expected.region(point)))
        .collect();
    let region_of = |(column, row): (usize, usize)| {
        let region = regions.get(row * sights.size.0 + column);
        region.copied().flatten()
    };
    let mut bins: BTreeMap<(usize, usize), Bin> = BTreeMap::new();
    for (i, sight) in sights.good.iter().enumerate() {
        let Some(region) = region_of(sight.at) else {
            continue;
        };
        if !sights.around(sight.at, |cell| region_of(cell) == Some(region)) {
            continue;
        }
        let height_mm = expected.height_mm(sight.point);
        let slot = (height_mm / every_mm).max(0.0) as usize;
        let bin = bins.entry((region, slot)).or_default();
        bin.sights.push(i);
        bin.height_mm += height_mm;
        bin.normal += sight.normal;
        bin.up_mm += sight.up_mm;
        add(&mut bin.requested, expected.requested(sight.point));
        add(&mut bin.printed, expected.printed(sight.point));
    }
    bins.retain(|_, bin| bin.sights.len() >= FEWEST);
    bins
}

/// What the card's light tells of a region's plastic.
struct Sure {
    region: usize,
    height_mm: f64,
    printed: Lab,
    y: f64,
    spread: f64,
}

/// The bins with faces that have the card's light.
fn sure(good: &[Sight], bins: &BTreeMap<(usize, usize), Bin>, shading: &Shading) -> Vec<Sure> {
    let top_mm = good
        .iter()
        .map(|sight| sight.up_mm)
        .fold(f64::MIN, f64::max);
    let has_light = |sight: &Sight| sight.normal.z > LEVEL && sight.up_mm > top_mm - CLEAR_MM;
    let sure = |((region, _), bin): (&(usize, usize), &Bin)| {
        let level = bin.sights.iter().copied();
        let level: Vec<usize> = level
            .filter(|i| good.get(*i).is_some_and(has_light))
            .collect();
        let up_mm = bin.up_mm / bin.sights.len().max(1) as f64;
        let y = luminance(evened(good, &level, shading, false));
        (level.len() >= FEWEST && y > 0.0).then(|| Sure {
            region: *region,
            height_mm: bin.height(),
            printed: bin.mean(bin.printed),
            y,
            spread: Shading::known_beforehand(DVec3::Z).hypot(RISE_PER_MM * up_mm),
        })
    };
    bins.iter().filter_map(sure).collect()
}

/// The luminance of a region's plastic at a height, by what is surely known of it there or close
/// by, and how far its logarithm may be off.
fn beside(sure: &[Sure], region: usize, height_mm: f64, printed: Lab) -> Option<(f64, f64)> {
    let near = sure.iter().filter_map(|sure| {
        let far_mm = (sure.height_mm - height_mm).abs();
        let alike = sure.region == region && far_mm <= BESIDE_MM;
        // What should differ does so by what it should, and no one knows by how much it does.
        let differ = ciede2000(sure.printed, printed) / 50.0;
        let spread = sure.spread.hypot(DRIFT_PER_MM * far_mm).hypot(differ);
        alike.then_some((sure.y, spread))
    });
    near.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The mean colour of some sights with the shading taken out; shadows and highlights, which stray
/// from the middle one, are left out.
fn evened(good: &[Sight], which: &[usize], shading: &Shading, all: bool) -> [f64; 3] {
    let lights = which.iter().filter_map(|i| {
        let sight = good.get(*i)?;
        let shade = shading.at(sight.normal, sight.up_mm);
        (shade >= LEAST_SHADE).then(|| sight.light.map(|v| v / shade))
    });
    let lights: Vec<[f64; 3]> = lights.collect();
    let logs = || lights.iter().map(|light| luminance(*light).max(1e-6).ln());
    let middle = median(logs().collect());
    let apart = median(logs().map(|v| (v - middle).abs()).collect());
    let bound = if all {
        f64::INFINITY
    } else {
        (3.0 * 1.4826 * apart).max(0.05)
    };
    let (mut sum, mut count) = ([0.0; 3], 0.0_f64);
    for (light, log) in lights.iter().zip(logs()) {
        if (log - middle).abs() <= bound {
            count += 1.0;
            for (sum, v) in sum.iter_mut().zip(light) {
                *sum += v;
            }
        }
    }
    sum.map(|v| v / count.max(1.0))
}

/// What the sights tell of the light, each by the luminance that its bin's chromaticity has.
fn ratios<'a>(good: &[Sight], bins: impl Iterator<Item = &'a Bin>) -> Vec<Ratio> {
    let mut ratios = Vec::new();
    let all = good.len() as f64;
    for bin in bins {
        let Some(likely) = bin.likely else {
            continue;
        };
        let spread = likely.spread.hypot(LEAST_SPREAD);
        let weight = (LEAST_SPREAD / spread).powi(2);
        for sight in bin.sights.iter().filter_map(|i| good.get(*i)) {
            ratios.push(Ratio {
                normal: sight.normal,
                up_mm: sight.up_mm,
                ratio: luminance(sight.light) / likely.y,
                weight: weight * alone(sight.normal, all),
            });
        }
    }
    ratios
}

/// What a pixel counts beside others of a part of so many. Where faces look up the card tells the
/// light; against that, all that chromaticity tells is one thing, and no surer for many pixels.
fn alone(normal: DVec3, pixels: f64) -> f64 {
    let up = normal.z.max(0.0).powi(LIKE_FACES / 3);
    1.0 / (1.0 + up * (pixels / shading::TOGETHER - 1.0).max(0.0))
}

/// How far the light on each bin's faces may be off, as a logarithm. Chromaticity tells it alike on
/// all bins of like faces, so many of them know it no better than one: the mean of their spreads, by
/// what each counts. Faces that look up have the card's light as well.
fn levels<'a>(bins: impl Iterator<Item = &'a Bin>) -> Vec<f64> {
    struct Known {
        normal: DVec3,
        spread: f64,
        weight: f64,
    }
    let known: Vec<Known> = bins
        .map(|bin| {
            let spread = bin.likely.map_or(1.0, |likely| likely.spread);
            let spread = spread.hypot(LEAST_SPREAD);
            Known {
                normal: bin.normal.normalize_or_zero(),
                spread,
                weight: bin.sights.len() as f64 / (spread * spread),
            }
        })
        .collect();
    let level = |here: &Known| {
        let (mut sum, mut weights) = (0.0, 0.0);
        for other in &known {
            let like = here.normal.dot(other.normal).max(0.0).powi(LIKE_FACES);
            sum += like * other.weight * other.spread;
            weights += like * other.weight;
        }
        let by_colour = if weights > 0.0 {
            sum / weights
        } else {
            here.spread
        };
        let beforehand = Shading::known_beforehand(here.normal);
        by_colour * beforehand / by_colour.hypot(beforehand)
    };
    known.iter().map(level).collect()
}

/// How far the bins' luminances stray from those of their chromaticities, as a logarithm: what is
/// left of the shading in the colours, beside what is really off.
fn level_stray<'a>(bins: impl Iterator<Item = &'a Bin>) -> f64 {
    let off = bins.filter_map(|bin| {
        let likely = bin.likely?;
        let seen = luminance(bin.seen).max(1e-6);
        Some((seen / likely.y).ln().abs())
    });
    (1.4826 * median(off.collect())).max(0.02)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bin(normal: DVec3, spread: f64) -> Bin {
        Bin {
            sights: vec![0; 500],
            normal: 500.0 * normal,
            likely: Some(Likely { y: 0.3, spread }),
            ..Bin::default()
        }
    }

    #[test]
    fn plastic_is_as_light_as_the_same_close_by_that_has_the_cards_light() {
        let lab = |l| Lab {
            l,
            a: 5.0,
            b: -22.0,
        };
        let sure = |region, height_mm, y| Sure {
            region,
            height_mm,
            printed: lab(18.0),
            y,
            spread: 0.05,
        };
        let all = [sure(0, 2.0, 0.15), sure(0, 4.0, 0.13), sure(1, 2.4, 0.8)];
        let (y, spread) = beside(&all, 0, 2.4, lab(18.0)).unwrap();
        assert!(y == 0.15 && (0.05..0.06).contains(&spread), "{y} {spread}");
        let (_, other) = beside(&all, 0, 2.4, lab(60.0)).unwrap();
        assert!(
            other > 0.5,
            "what should be lighter there may be by any amount: {other}"
        );
        assert_eq!(beside(&all, 0, 9.0, lab(18.0)), None);
        assert_eq!(beside(&all, 2, 2.4, lab(18.0)), None);
    }

    #[test]
    fn the_light_is_as_sure_as_the_colours_on_like_faces_tell() {
        let front = -DVec3::Y;
        let greys = vec![bin(front, 0.4), bin(front, 0.4)];
        let with_red = vec![bin(front, 0.4), bin(front, 0.03)];
        let red_elsewhere = vec![bin(front, 0.4), bin(DVec3::X, 0.03)];
        let first = |bins: &[Bin]| levels(bins.iter()).first().copied().unwrap_or(0.0);
        assert!(first(&greys) > 0.3, "{}", first(&greys));
        assert!(first(&with_red) < 0.1, "{}", first(&with_red));
        assert!(first(&red_elsewhere) > 0.3, "{}", first(&red_elsewhere));
        // A plate that lies on the table has the card's light.
        let plate = levels([bin(DVec3::Z, 0.4)].iter());
        assert!(
            plate.first().is_some_and(|level| *level < 0.06),
            "{plate:?}"
        );
    }
}
