//! A stand set closely, by least squares on the outermost printed lines.

use geometry::layers::slice;
use geometry::{LayerPlan, Mesh};
use glam::DVec2;
use nalgebra::{SMatrix, SVector};

use super::error::RegisterError;
use super::grid::Grid;
use super::levels::Levels;
use super::placement::{Placement, Stand};

/// Distance between contour points that are compared, mm, and the most of them on a level.
const SPACING_MM: f64 = 0.7;
const MOST_SAMPLES: usize = 1500;

/// From how far outside the contour a line is looked for, round by round, mm.
const REACHES_MM: [f64; 10] = [
    3.0,
    3.0,
    2.5,
    2.0,
    1.5,
    1.2,
    1.0,
    LAST_REACH_MM,
    LAST_REACH_MM,
    LAST_REACH_MM,
];
const LAST_REACH_MM: f64 = 0.8;

/// A line this near to where it should be follows the contour, mm.
const FOLLOWS_MM: f64 = 0.35;

/// A point of a contour.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    pub point: DVec2,
    /// Away from the plastic, of length 1.
    pub outward: DVec2,
    /// Length of contour that it stands for, mm.
    pub weight_mm: f64,
}

/// A level of the toolpath and the part's contours there.
pub(super) struct Outline {
    pub samples: Vec<Sample>,
    pub segments: Vec<[DVec2; 2]>,
    grid: Grid,
    rings: Vec<Vec<DVec2>>,
}

/// All levels that can be compared.
pub(super) struct Outlines {
    pub levels: Vec<Outline>,
    /// Middle and half the diagonal of the contours' extent, mm.
    middle: DVec2,
    reach_mm: f64,
    low: DVec2,
    high: DVec2,
    lift_mm: f64,
}

/// Cuts the mesh where the toolpath was gathered.
pub(super) fn outlines(
    mesh: &Mesh,
    layers: &LayerPlan,
    levels: &Levels,
) -> Result<Outlines, RegisterError> {
    let (mesh_low, mesh_high) = mesh.bounds();
    if levels.highest_mm < levels.lowest_mm {
        return Err(RegisterError::NothingPrinted);
    }
    let mut found = Vec::new();
    for level in &levels.levels {
        // The lines are as thick as the layer: the part's outline is that of its middle.
        let middle_mm = level.nozzle_mm - levels.lift_mm - 0.5 * layers.layer_mm;
        if middle_mm < mesh_low.z - layers.layer_mm {
            continue;
        }
        let section = slice(mesh, middle_mm.max(mesh_low.z + 1e-3));
        let mut rings: Vec<Vec<DVec2>> = section
            .contours
            .iter()
            .filter(|c| c.closed && c.points_mm.len() > 2)
            .map(|c| c.points_mm.clone())
            .collect();
        if level.climbs() {
            rings.retain(|ring| area_mm2(ring) > 0.0);
        }
        let samples = samples(&rings);
        if !samples.is_empty() {
            found.push(Outline {
                samples,
                grid: Grid::new(&level.segments),
                segments: level.segments.clone(),
                rings,
            });
        }
    }
    if found.is_empty() {
        return Err(match levels.levels.is_empty() {
            true => RegisterError::OtherHeights {
                from_mm: mesh_low.z,
                to_mm: mesh_high.z,
            },
            false => RegisterError::NoContours,
        });
    }
    let points: Vec<DVec2> = found
        .iter()
        .flat_map(|o| o.rings.iter().flatten().copied())
        .collect();
    let (low, high) = bounds(&points).ok_or(RegisterError::NoContours)?;
    Ok(Outlines {
        levels: found,
        middle: (low + high) / 2.0,
        reach_mm: (high - low).length() / 2.0,
        low,
        high,
        lift_mm: levels.lift_mm,
    })
}

/// Area within a ring, mm²; negative round a hole.
fn area_mm2(ring: &[DVec2]) -> f64 {
    let next = ring.iter().cycle().skip(1);
    let twice: f64 = ring.iter().zip(next).map(|(a, b)| a.perp_dot(*b)).sum();
    0.5 * twice
}

pub(super) fn bounds(points: &[DVec2]) -> Option<(DVec2, DVec2)> {
    let first = *points.first()?;
    Some(
        points
            .iter()
            .fold((first, first), |(low, high), p| (low.min(*p), high.max(*p))),
    )
}

fn samples(rings: &[Vec<DVec2>]) -> Vec<Sample> {
    let sides = || {
        rings.iter().flat_map(|ring| {
            let next = ring.iter().cycle().skip(1);
            ring.iter().copied().zip(next.copied())
        })
    };
    let total: f64 = sides().map(|(a, b)| a.distance(b)).sum();
    let spacing = SPACING_MM.max(total / MOST_SAMPLES as f64);
    let mut found = Vec::new();
    let mut ahead = 0.5 * spacing;
    for (a, b) in sides() {
        let length = a.distance(b);
        let along = (b - a).normalize_or_zero();
        while ahead < length {
            found.push(Sample {
                point: a + along * ahead,
                // The plastic is to the left.
                outward: -along.perp(),
                weight_mm: spacing,
            });
            ahead += spacing;
        }
        ahead -= length;
    }
    found
}

impl Outline {
    /// The rings of its contours.
    pub(super) fn polygon(&self) -> impl Iterator<Item = &[DVec2]> {
        self.rings.iter().map(Vec::as_slice)
    }

    /// Whether a point of the plate lies in the placed part or within `margin` of its outline.
    pub(super) fn near_plastic(
        &self,
        outlines: &Outlines,
        placement: &Placement,
        at: DVec2,
        margin: f64,
    ) -> bool {
        let at = outlines.unplaced(placement, at);
        let mut inside = false;
        for ring in &self.rings {
            let next = ring.iter().cycle().skip(1);
            for (a, b) in ring.iter().zip(next) {
                if (a.y > at.y) != (b.y > at.y)
                    && at.x < a.x + (at.y - a.y) / (b.y - a.y) * (b.x - a.x)
                {
                    inside = !inside;
                }
                let side = *b - *a;
                let t = ((at - *a).dot(side) / side.length_squared().max(1e-12)).clamp(0.0, 1.0);
                if (*a + side * t).distance(at) < margin {
                    return true;
                }
            }
        }
        inside
    }
}

impl Outlines {
    pub(super) fn middle(&self) -> DVec2 {
        self.middle
    }

    pub(super) fn reach_mm(&self) -> f64 {
        self.reach_mm
    }

    /// Points enough for a first look.
    pub(super) fn few(&self) -> Every {
        self.about(3000)
    }

    /// Points enough to tell a promising stand from others.
    pub(super) fn fewest(&self) -> Every {
        self.about(500)
    }

    fn about(&self, enough: usize) -> Every {
        let all: usize = self.levels.iter().map(|o| o.samples.len()).sum();
        Every((all / enough).max(1))
    }

    /// Two copies' middles are no nearer than this, mm.
    pub(super) fn least_gap_mm(&self) -> f64 {
        (0.6 * (self.high - self.low).min_element()).max(2.0)
    }

    /// Extent of all that was gathered, on the plate.
    pub(super) fn plate(&self) -> (DVec2, DVec2) {
        let points: Vec<DVec2> = self
            .levels
            .iter()
            .flat_map(|o| o.segments.iter().flatten().copied())
            .collect();
        bounds(&points).unwrap_or((DVec2::ZERO, DVec2::ZERO))
    }

    pub(super) fn placed(&self, placement: &Placement, point: DVec2) -> DVec2 {
        placement.to_plate(point.extend(0.0)).truncate()
    }

    fn unplaced(&self, placement: &Placement, point: DVec2) -> DVec2 {
        placement.to_part(point.extend(0.0)).truncate()
    }

    /// A stand turned further about the part's middle.
    pub(super) fn turned(&self, placement: &Placement, turn_deg: f64) -> Placement {
        let at = self.placed(placement, self.middle);
        let turn_deg = placement.turn_deg + turn_deg;
        let turned = DVec2::from_angle(turn_deg.to_radians()).rotate(self.middle);
        Placement {
            turn_deg: (turn_deg + 180.0).rem_euclid(360.0) - 180.0,
            shift_mm: (at - turned).into(),
            lift_mm: placement.lift_mm,
        }
    }

    /// What a wrong toolpath may be: the same part at another size.
    pub(super) fn size_hint(&self) -> Option<String> {
        let (low, high) = self.plate();
        let (printed, part) = (high - low, self.high - self.low);
        for printed in [printed, DVec2::new(printed.y, printed.x)] {
            let ratio = printed / part;
            let even = (ratio.x / ratio.y - 1.0).abs() < 0.03;
            if even && (ratio.x - 1.0).abs() > 0.03 {
                return Some(format!(
                    "what it prints is about {:.2} times as large as the part",
                    0.5 * (ratio.x + ratio.y)
                ));
            }
        }
        None
    }
}

/// One contour point and the line found for it.
pub(super) struct Pair {
    /// The point on the plate, from the middle of the part there.
    pub arm: DVec2,
    pub outward: DVec2,
    /// How far within the contour the line lies, mm; `None` if none was found.
    pub inset: Option<f64>,
    /// The level that it is of.
    pub level: usize,
}

/// How well a stand fits, level by level.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub stand: Stand,
    /// Share of the contour that is followed at the level that fits worst.
    pub worst_level: f64,
    /// Root mean square distance with what isn't followed counted as just not followed, mm.
    pub misfit_mm: f64,
}

/// Every so many contour points are compared.
#[derive(Clone, Copy, Debug)]
pub(super) struct Every(usize);

impl Every {
    pub(super) const ONE: Self = Self(1);
}

pub(super) fn pairs(
    outlines: &Outlines,
    placement: &Placement,
    reach_mm: f64,
    every: Every,
) -> Vec<Pair> {
    let rotation = DVec2::from_angle(placement.turn_deg.to_radians());
    let middle = outlines.placed(placement, outlines.middle);
    let mut pairs = Vec::new();
    for (level, outline) in outlines.levels.iter().enumerate() {
        for sample in outline.samples.iter().step_by(every.0) {
            let at = outlines.placed(placement, sample.point);
            let outward = rotation.rotate(sample.outward);
            let from = at + outward * reach_mm;
            let hit = outline.grid.first_hit(from, -outward, 2.0 * reach_mm);
            pairs.push(Pair {
                arm: at - middle,
                outward,
                inset: hit.map(|along| along - reach_mm),
                level,
            });
        }
    }
    pairs
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    match values.is_empty() {
        true => 0.0,
        false => *values.select_nth_unstable_by(middle, f64::total_cmp).1,
    }
}

/// Sets a stand closely.
pub(super) fn settle(outlines: &Outlines, guess: &Placement, every: Every) -> Fit {
    let mut placement = Placement {
        lift_mm: outlines.lift_mm,
        ..*guess
    };
    for reach_mm in REACHES_MM {
        let pairs = pairs(outlines, &placement, reach_mm, every);
        // Opposite sides disagree while the stand is off, so the first rounds hear nearly all.
        let trim_mm = 0.15 + 0.5 * (reach_mm - LAST_REACH_MM);
        let Some(change) = step(&pairs, outlines.reach_mm, trim_mm) else {
            break;
        };
        let [dx, dy, turn, ..] = change;
        let middle = outlines.placed(&placement, outlines.middle) + DVec2::new(dx, dy);
        placement.turn_deg += turn.to_degrees();
        let turned = DVec2::from_angle(placement.turn_deg.to_radians()).rotate(outlines.middle);
        placement.shift_mm = (middle - turned).into();
    }
    placement.turn_deg = (placement.turn_deg + 180.0).rem_euclid(360.0) - 180.0;
    // A turn far below what shows at the rim is none.
    if (placement.turn_deg.to_radians() * outlines.reach_mm).abs() < 0.01 {
        let middle = outlines.placed(&placement, outlines.middle);
        placement.turn_deg = 0.0;
        placement.shift_mm = (middle - outlines.middle).into();
    }
    measure(outlines, placement, every)
}

/// Shift, turn, inset and growth that bring the lines nearest to the contours.
///
/// Lines whose inset differs from the middle one by more than `trim_mm`, and by more than three
/// usual deviations, are not heard.
fn step(pairs: &[Pair], reach_mm: f64, trim_mm: f64) -> Option<[f64; 5]> {
    let mut insets: Vec<f64> = pairs.iter().filter_map(|p| p.inset).collect();
    let middle = median(&mut insets);
    let mut off: Vec<f64> = insets.iter().map(|i| (i - middle).abs()).collect();
    let spread = median(&mut off);
    let trim = (3.0 * 1.4826 * spread).max(trim_mm);
    let mut normal = SMatrix::<f64, 5, 5>::zeros();
    let mut right = SVector::<f64, 5>::zeros();
    for pair in pairs {
        let Some(inset) = pair.inset.filter(|i| (i - middle).abs() < trim) else {
            continue;
        };
        let row = row(pair);
        normal += row * row.transpose();
        right -= row * inset;
    }
    // A round part tells nothing of its turn, and inset and growth may be one: a little
    // reluctance to move settles what the lines leave open.
    let count = pairs.len() as f64;
    let units = [1.0, 1.0, reach_mm, 1.0, 10_f64.sqrt() * reach_mm];
    let reluctance: SVector<f64, 5> = units.map(|unit| 1e-4 * count * unit * unit).into();
    normal += SMatrix::from_diagonal(&reluctance);
    Some(normal.cholesky()?.solve(&right).into())
}

/// How a pair's inset changes with the shift in x and y, the turn, the inset asked for and the
/// growth: moving the part by d changes it by outward·d, turning it by t by t times
/// outward·(arm turned left), growing it by g by g times outward·arm.
fn row(pair: &Pair) -> SVector<f64, 5> {
    [
        pair.outward.x,
        pair.outward.y,
        pair.outward.dot(pair.arm.perp()),
        -1.0,
        pair.outward.dot(pair.arm),
    ]
    .into()
}

/// How well a stand fits as it is.
pub(super) fn measure(outlines: &Outlines, placement: Placement, every: Every) -> Fit {
    let pairs = pairs(outlines, &placement, LAST_REACH_MM, every);
    let mut insets: Vec<f64> = pairs.iter().filter_map(|p| p.inset).collect();
    let inset_mm = median(&mut insets);
    let mut levels = vec![(0_u32, 0_u32); outlines.levels.len()];
    let mut off: Vec<f64> = Vec::with_capacity(insets.len());
    for pair in &pairs {
        let far = pair.inset.map_or(f64::MAX, |i| (i - inset_mm).abs());
        let follows = far < FOLLOWS_MM;
        if follows {
            off.push(far);
        }
        if let Some((followed, all)) = levels.get_mut(pair.level) {
            *followed += u32::from(follows);
            *all += 1;
        }
    }
    off.sort_by(f64::total_cmp);
    let count = off.len().max(1) as f64;
    let square: f64 = off.iter().map(|o| o * o).sum();
    let all = pairs.len().max(1) as f64;
    let missed = all - off.len() as f64;
    let stand = Stand {
        placement,
        residual_mm: (square / count).sqrt(),
        residual_95_mm: off
            .get((off.len() * 95 / 100).min(off.len().saturating_sub(1)))
            .copied()
            .unwrap_or(f64::INFINITY),
        inset_mm,
        followed: off.len() as f64 / all,
        scale: 1.0 + growth(&pairs, outlines.reach_mm),
    };
    Fit {
        stand,
        worst_level: levels
            .iter()
            .filter(|(_, all)| *all > 0)
            .map(|(followed, all)| f64::from(*followed) / f64::from(*all))
            .fold(1.0, f64::min),
        misfit_mm: ((square + missed * FOLLOWS_MM * FOLLOWS_MM) / all).sqrt(),
    }
}

/// How much larger the contours would have to be, if that explains where the lines are; else 0.
fn growth(pairs: &[Pair], reach_mm: f64) -> f64 {
    let Some(change) = step(pairs, reach_mm, 0.7) else {
        return 0.0;
    };
    let explained = pairs.iter().filter(|pair| {
        let left = pair.inset.map(|inset| {
            let moved: f64 = row(pair).iter().zip(change).map(|(r, c)| r * c).sum();
            inset + moved
        });
        left.is_some_and(|left| left.abs() < 0.1)
    });
    match explained.count() as f64 > 0.85 * pairs.len() as f64 {
        true => change[4],
        false => 0.0,
    }
}
