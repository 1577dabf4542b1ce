//! Every copy of the part, found and judged.

use geometry::{Cancelled, LayerPlan, Mesh, Progress, Surface};
use glam::DVec2;

use super::error::{MOST_RESIDUAL_MM, RegisterError};
use super::fine::{Every, Fit, Outlines};
use super::levels::Levels;
use super::placement::{Placement, Registered, Stand};
use super::{coarse, fine, stretch};

/// The least share of the contour that must be followed.
const LEAST_FOLLOWED: f64 = 0.85;

/// Differences of size beyond this are refused once they show at the part's rim, mm.
const MOST_GROWTH_MM: f64 = 0.25;

/// The most copies that are looked for.
const MOST_STANDS: usize = 256;

/// A stand that fits so well at every level needs no look at odd turns.
const SURE_FOLLOWED: f64 = 0.97;
const SURE_LEVEL: f64 = 0.9;

/// Finds every copy of a part in what was gathered of a toolpath.
///
/// Levels should reach up to the part's top: what tells two turns apart may be there alone. Where
/// the whole file was read and ends above the part's top by as much as a raft is high, the part is
/// looked for on a raft too.
///
/// # Errors
/// [`RegisterError`] says what does not fit.
pub fn register(
    surface: &Surface,
    layers: &LayerPlan,
    levels: &Levels,
    progress: &Progress,
) -> Result<Registered, RegisterError> {
    let flat = at_lift(surface, layers, levels, progress);
    let (low, high) = surface.mesh().bounds();
    let above_mm = levels.highest_mm - (high.z - low.z);
    let may_be_raft = levels.whole && levels.lift_mm == 0.0 && RAFT_MM.contains(&above_mm);
    if !may_be_raft || matches!(flat, Err(RegisterError::Cancelled(_))) {
        return flat;
    }
    // The part's top layer may be left out or end below its top: the raft ends where a layer does.
    let lift_mm = levels.ends_near(above_mm, 0.6 * layers.layer_mm);
    let lift_mm = lift_mm.unwrap_or(above_mm);
    let raised = at_lift(surface, layers, &levels.clone().lifted(lift_mm), progress);
    let worse = |a: &Registered, b: &Registered| {
        let miss = |r: &Registered| {
            let each = r.stands.iter().map(|s| s.residual_mm + (1.0 - s.followed));
            each.fold(0.0, f64::max)
        };
        miss(a) > miss(b) + SAME_RESIDUAL_MM
    };
    match (flat, raised) {
        (Ok(flat), Ok(raised)) if worse(&raised, &flat) => Ok(flat),
        (flat, Ok(raised)) => match goes_down(surface, layers, levels, &raised) {
            true => flat,
            false => Ok(raised),
        },
        (flat, Err(_)) => flat,
    }
}

/// Whether what lies beneath the part follows its outline too: then it is no raft, but a part that
/// is taller.
fn goes_down(surface: &Surface, layers: &LayerPlan, levels: &Levels, found: &Registered) -> bool {
    /// A raft's lines may run along two sides of an outline, but not round it.
    const MOST_FOLLOWED: f64 = LEAST_FOLLOWED;
    /// A wall lies within the outline by about half a line's width; a raft's dense lines reach
    /// beyond it, mm.
    const WALL_MM: std::ops::Range<f64> = 0.0..0.7;
    let Some(stand) = found.stands.first().map(|s| s.placement) else {
        return false;
    };
    let low_mm = surface.mesh().bounds().0.z;
    levels.foot.iter().any(|level| {
        if level.segments.is_empty() || level.nozzle_mm > stand.lift_mm + 1e-3 {
            return false;
        }
        // As if the part's first layer were there.
        let there = Levels {
            levels: vec![level.clone()],
            lowest_mm: levels.lowest_mm,
            highest_mm: levels.highest_mm,
            ..Levels::default()
        }
        .lifted(level.nozzle_mm - layers.layer_mm - low_mm);
        let outlines = fine::outlines(surface.mesh(), layers, &there);
        let fit = outlines.map(|outlines| fine::measure(&outlines, stand, Every::ONE));
        fit.is_ok_and(|fit| {
            fit.stand.followed > MOST_FOLLOWED && WALL_MM.contains(&fit.stand.inset_mm)
        })
    })
}

/// Rafts are so high, mm (common practice, no source); a top layer may round by less.
const RAFT_MM: std::ops::RangeInclusive<f64> = 0.31..=5.0;

fn at_lift(
    surface: &Surface,
    layers: &LayerPlan,
    levels: &Levels,
    progress: &Progress,
) -> Result<Registered, RegisterError> {
    let outlines = fine::outlines(surface.mesh(), layers, levels)?;
    progress.stage("Finding the part on the plate");
    let mut search = coarse::Search::new(&outlines);
    let mut found: Vec<Fit> = Vec::new();
    let mut best_miss = Miss::default();
    let mut rivals = Rivals::default();
    while found.len() < MOST_STANDS {
        let ranked = ranked(&outlines, &search, progress)?;
        let Some(best) = choose(&ranked) else {
            break;
        };
        if let Err(miss) = judge(&best.stand, &outlines) {
            best_miss.worse_of(miss);
            break;
        }
        if found.is_empty() {
            // Stretched by a little, it is followed all the same, but not closely.
            let stretched = match best.stand.residual_mm > CLOSE_MM {
                true => stretch::stretch(&outlines, &best.stand.placement),
                false => None,
            };
            if let Some(scale) = stretched.filter(|scale| shows(scale, &outlines)) {
                return Err(RegisterError::OtherSize { scale });
            }
            rivals = Rivals::of(surface, &outlines, &best, &ranked);
        }
        // Other copies stand mostly at the same turn: take them from the same map. One that
        // stands at another turn fits worse at this one, and waits for its own.
        let mut taken = vec![best];
        for guess in search.others(&best.stand.placement) {
            let fit = fine::settle(&outlines, &guess, Every::ONE);
            if judge(&fit.stand, &outlines).is_ok() && as_well(&fit, &best) {
                taken.push(fit);
            }
        }
        for fit in taken {
            search.erase(&outlines, &fit.stand.placement);
            let placement = &fit.stand.placement;
            let again = found.iter().any(|o| near(&o.stand.placement, placement));
            if !again {
                found.push(fit);
            }
        }
        if !search.has_more() {
            break;
        }
    }
    if found.is_empty() {
        return Err(best_miss.into_error(&outlines));
    }
    let mut stands: Vec<Stand> = found.iter().map(|fit| fit.stand).collect();
    stands.sort_by(|a, b| {
        let key = |s: &Stand| s.placement.shift_mm;
        key(a)[0]
            .total_cmp(&key(b)[0])
            .then(key(a)[1].total_cmp(&key(b)[1]))
    });
    Ok(Registered {
        stands,
        alike_turns_deg: rivals.alike_deg,
        unsure_turns_deg: rivals.unsure_deg,
    })
}

/// The stands that look promising, set closely. Odd turns are tried unless a quarter turn fits
/// at every level.
fn ranked(
    outlines: &Outlines,
    search: &coarse::Search<'_>,
    progress: &Progress,
) -> Result<Vec<Fit>, Cancelled> {
    let settled = |guesses: Vec<Placement>| -> Vec<Fit> {
        // A part that is nearly round fits roughly at every turn: the roughest look is at all.
        let mut fits: Vec<Fit> = Vec::new();
        let mut guesses = guesses;
        for (every, most) in [
            (outlines.fewest(), MOST_ROUGH),
            (outlines.few(), MOST_CLOSE),
            (Every::ONE, MOST_CLOSE),
        ] {
            fits = guesses
                .iter()
                .map(|guess| fine::settle(outlines, guess, every))
                .collect();
            fits.sort_by(|a, b| a.misfit_mm.total_cmp(&b.misfit_mm));
            fits.truncate(most);
            guesses = fits.iter().map(|fit| fit.stand.placement).collect();
        }
        fits
    };
    let mut fits = settled(search.at_quarters(progress)?);
    let sure = |fit: &Fit| {
        fit.stand.followed > SURE_FOLLOWED
            && fit.worst_level > SURE_LEVEL
            && judge(&fit.stand, outlines).is_ok()
    };
    if !fits.iter().any(sure) {
        fits.extend(settled(search.at_all(progress)?));
    }
    Ok(fits)
}

/// So many stands are set with few points, and so many with all.
const MOST_ROUGH: usize = 16;
const MOST_CLOSE: usize = 5;

/// Measures how well a stand given by hand fits, without moving it.
///
/// # Errors
/// [`RegisterError`] only when there is nothing to compare.
pub fn measure(
    mesh: &Mesh,
    layers: &LayerPlan,
    levels: &Levels,
    placement: Placement,
) -> Result<Stand, RegisterError> {
    let outlines = fine::outlines(mesh, layers, levels)?;
    Ok(fine::measure(&outlines, placement, Every::ONE).stand)
}

fn near(a: &Placement, b: &Placement) -> bool {
    DVec2::from(a.shift_mm).distance(DVec2::from(b.shift_mm)) < 1.0
}

/// The best of several stands: the one with the least misfit over the whole height; among the
/// equally good the one with the least turn.
fn choose(fits: &[Fit]) -> Option<Fit> {
    let best = fits
        .iter()
        .min_by(|a, b| a.misfit_mm.total_cmp(&b.misfit_mm))?;
    fits.iter()
        .filter(|fit| as_well(fit, best))
        .min_by(|a, b| {
            let turn = |fit: &Fit| fit.stand.placement.turn_deg.abs();
            turn(a).total_cmp(&turn(b))
        })
        .copied()
}

/// Whether a stand fits nearly as well as the best one: as much of the outline is followed, at
/// the worst level too, and as closely.
fn as_well(fit: &Fit, best: &Fit) -> bool {
    fit.stand.followed > best.stand.followed - SAME_FOLLOWED
        && fit.worst_level > best.worst_level - SAME_LEVEL
        && fit.stand.residual_mm < best.stand.residual_mm + SAME_RESIDUAL_MM
}

/// Fits whose figures differ by less are equally good: shares of the outline, and mm.
const SAME_FOLLOWED: f64 = 0.005;
const SAME_LEVEL: f64 = 0.05;
const SAME_RESIDUAL_MM: f64 = 0.01;

/// How the best try failed.
#[derive(Default)]
struct Miss {
    followed: f64,
    residual_mm: Option<f64>,
    scale: Option<[f64; 2]>,
    /// The stand that was tried.
    placement: Option<Placement>,
}

impl Miss {
    fn worse_of(&mut self, other: Self) {
        if other.followed >= self.followed {
            *self = other;
        }
    }

    fn into_error(self, outlines: &Outlines) -> RegisterError {
        let stretched = self
            .placement
            .and_then(|at| stretch::stretch(outlines, &at));
        if let Some(scale) = stretched.filter(|scale| shows(scale, outlines)) {
            return RegisterError::OtherSize { scale };
        }
        match self {
            Self {
                scale: Some(scale), ..
            } => RegisterError::OtherSize { scale },
            Self {
                residual_mm: Some(residual_mm),
                ..
            } => RegisterError::TooFar { residual_mm },
            Self { followed, .. } => RegisterError::OtherPart {
                followed,
                hint: outlines.size_hint(),
            },
        }
    }
}

/// Lines that follow the outline so closely are of a part of the right size, mm.
const CLOSE_MM: f64 = 0.05;

/// Whether a difference of size shows at the part's rim.
fn shows(scale: &[f64; 2], outlines: &Outlines) -> bool {
    let most = scale.iter().map(|s| (s - 1.0).abs()).fold(0.0, f64::max);
    most * outlines.reach_mm() > MOST_GROWTH_MM
}

fn judge(stand: &Stand, outlines: &Outlines) -> Result<(), Miss> {
    let miss = Miss {
        followed: stand.followed,
        residual_mm: None,
        scale: None,
        placement: Some(stand.placement),
    };
    if (stand.scale - 1.0).abs() * outlines.reach_mm() > MOST_GROWTH_MM {
        return Err(Miss {
            scale: Some([stand.scale; 2]),
            ..miss
        });
    }
    if stand.followed < LEAST_FOLLOWED {
        return Err(miss);
    }
    if stand.residual_mm > MOST_RESIDUAL_MM {
        return Err(Miss {
            residual_mm: Some(stand.residual_mm),
            ..miss
        });
    }
    Ok(())
}

/// Turns from the best stand at which the toolpath fits as well.
#[derive(Default)]
struct Rivals {
    /// The part itself looks the same there.
    alike_deg: Vec<f64>,
    /// It doesn't, but nothing that was compared tells.
    unsure_deg: Vec<f64>,
}

/// Turns that a part may be symmetric by, the usual ones first, degrees.
const TURNS_DEG: [f64; 27] = [
    90.0, 180.0, 270.0, 120.0, 240.0, 60.0, 300.0, 45.0, 72.0, 144.0, 216.0, 288.0, 15.0, 30.0,
    75.0, 105.0, 135.0, 150.0, 165.0, 195.0, 210.0, 225.0, 255.0, 285.0, 315.0, 330.0, 345.0,
];

/// So many are told.
const MOST_ALIKE: usize = 8;

impl Rivals {
    fn of(surface: &Surface, outlines: &Outlines, best: &Fit, ranked: &[Fit]) -> Self {
        let home = best.stand.placement;
        let few = outlines.few();
        let mut found = Self::default();
        let elsewhere = ranked.iter().filter(|fit| {
            // Another copy is no rival.
            let middle = |p: &Placement| outlines.placed(p, outlines.middle());
            middle(&fit.stand.placement).distance(middle(&home)) < outlines.least_gap_mm()
        });
        let mut tries: Vec<Placement> = TURNS_DEG
            .iter()
            .map(|turn| outlines.turned(&home, *turn))
            .collect();
        tries.extend(elsewhere.map(|fit| fit.stand.placement));
        for guess in tries {
            let rough = fine::settle(outlines, &guess, few);
            if rough.stand.followed < best.stand.followed - 0.05 {
                continue;
            }
            let rival = fine::settle(outlines, &rough.stand.placement, Every::ONE);
            let turn_deg = apart_deg(&rival.stand.placement, &home);
            if !(2.0..358.0).contains(&turn_deg)
                || found.has(turn_deg)
                || judge(&rival.stand, outlines).is_err()
                || !as_well(&rival, best)
            {
                continue;
            }
            let same = looks_same(surface, &home, &rival.stand.placement);
            match same {
                true => found.alike_deg.push(turn_deg),
                false => found.unsure_deg.push(turn_deg),
            }
            if found.alike_deg.len() >= MOST_ALIKE || found.unsure_deg.len() >= MOST_ALIKE {
                break;
            }
        }
        found
    }

    fn has(&self, turn_deg: f64) -> bool {
        let mut known = self.alike_deg.iter().chain(&self.unsure_deg);
        known.any(|k| (k - turn_deg).abs() < 2.0)
    }
}

/// From one turn to another, degrees from 0 to 360.
fn apart_deg(of: &Placement, from: &Placement) -> f64 {
    (of.turn_deg - from.turn_deg).rem_euclid(360.0)
}

/// A part that differs by no more from itself, turned, is symmetric, mm: far less than a
/// line's width.
const SYMMETRIC_MM: f64 = 0.1;

/// Whether the part looks the same from one stand to another: each of its corners lies on its
/// skin, taken there and back.
fn looks_same(surface: &Surface, one: &Placement, other: &Placement) -> bool {
    const MOST_CORNERS: usize = 8000;
    let corners = surface.mesh().vertices();
    let every = corners.len().div_ceil(MOST_CORNERS).max(1);
    let lies_on = |at| surface.nearest_within(at, SYMMETRIC_MM).is_some();
    corners.iter().step_by(every).all(|corner| {
        lies_on(other.to_part(one.to_plate(*corner)))
            && lies_on(one.to_part(other.to_plate(*corner)))
    })
}
