//! Every copy of the part, found and judged.

use geometry::{LayerPlan, Mesh, Progress};
use glam::DVec2;

use super::error::{MOST_RESIDUAL_MM, RegisterError};
use super::levels::Levels;
use super::placement::{Placement, Registered, Stand};
use super::{coarse, fine};

/// The least share of the contour that must be followed.
const LEAST_FOLLOWED: f64 = 0.85;

/// Differences of size beyond this are refused once they show at the part's rim, mm.
const MOST_GROWTH_MM: f64 = 0.25;

/// The most copies that are looked for.
const MOST_STANDS: usize = 256;

/// Finds every copy of a part in what was gathered of a toolpath.
///
/// # Errors
/// [`RegisterError`] says what does not fit.
pub fn register(
    mesh: &Mesh,
    layers: &LayerPlan,
    levels: &Levels,
    progress: &Progress,
) -> Result<Registered, RegisterError> {
    let outlines = fine::outlines(mesh, layers, levels)?;
    progress.stage("Finding the part on the plate");
    let mut search = coarse::Search::new(&outlines);
    let mut found: Vec<Stand> = Vec::new();
    let mut best_miss = Miss::default();
    let mut alike_turns_deg = Vec::new();
    while found.len() < MOST_STANDS {
        let guesses = search.best(progress)?;
        let stands: Vec<Stand> = guesses
            .iter()
            .map(|guess| fine::settle(&outlines, guess))
            .collect();
        let Some(best) = choose(&stands) else {
            break;
        };
        if let Err(miss) = judge(&best, &outlines) {
            best_miss.worse_of(miss);
            break;
        }
        if found.is_empty() {
            alike_turns_deg = alike(&outlines, &best);
        }
        // Other copies stand mostly at the same turn: take them from the same map.
        let mut taken = vec![best];
        for guess in search.others(&best.placement) {
            let stand = fine::settle(&outlines, &guess);
            if judge(&stand, &outlines).is_ok() {
                taken.push(stand);
            }
        }
        for stand in taken {
            search.erase(&outlines, &stand.placement);
            let again = found
                .iter()
                .any(|other| near(&other.placement, &stand.placement));
            if !again {
                found.push(stand);
            }
        }
        if !search.has_more() {
            break;
        }
    }
    if found.is_empty() {
        return Err(best_miss.into_error(&outlines));
    }
    found.sort_by(|a, b| {
        let key = |s: &Stand| s.placement.shift_mm;
        key(a)[0]
            .total_cmp(&key(b)[0])
            .then(key(a)[1].total_cmp(&key(b)[1]))
    });
    Ok(Registered {
        stands: found,
        alike_turns_deg,
    })
}

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
    Ok(fine::measure(&outlines, placement))
}

fn near(a: &Placement, b: &Placement) -> bool {
    DVec2::from(a.shift_mm).distance(DVec2::from(b.shift_mm)) < 1.0
}

/// The best of several stands: the one followed farthest; among the equally good the one with
/// the least turn.
fn choose(stands: &[Stand]) -> Option<Stand> {
    let followed = stands.iter().map(|s| s.followed).fold(0.0, f64::max);
    let good = || stands.iter().filter(|s| s.followed > followed - 0.02);
    let residual = good().map(|s| s.residual_mm).fold(f64::MAX, f64::min);
    good()
        .filter(|s| s.residual_mm < residual + SAME_RESIDUAL_MM)
        .min_by(|a, b| {
            let turn = |s: &Stand| s.placement.turn_deg.abs();
            turn(a).total_cmp(&turn(b))
        })
        .copied()
}

/// Residuals nearer than this are equally good, mm.
const SAME_RESIDUAL_MM: f64 = 0.02;

/// How the best try failed.
#[derive(Default)]
struct Miss {
    followed: f64,
    residual_mm: Option<f64>,
    scale: Option<f64>,
}

impl Miss {
    fn worse_of(&mut self, other: Self) {
        if other.followed >= self.followed {
            *self = other;
        }
    }

    fn into_error(self, outlines: &fine::Outlines) -> RegisterError {
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

fn judge(stand: &Stand, outlines: &fine::Outlines) -> Result<(), Miss> {
    let miss = Miss {
        followed: stand.followed,
        residual_mm: None,
        scale: None,
    };
    if (stand.scale - 1.0).abs() * outlines.reach_mm() > MOST_GROWTH_MM {
        return Err(Miss {
            scale: Some(stand.scale),
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

/// Turns at which the part looks the same to the toolpath.
fn alike(outlines: &fine::Outlines, best: &Stand) -> Vec<f64> {
    let turns = [90.0, 180.0, 270.0, 120.0, 240.0, 60.0, 300.0, 45.0];
    turns
        .into_iter()
        .filter(|turn| {
            let turned = outlines.turned(&best.placement, *turn);
            let stand = fine::settle(outlines, &turned);
            let off =
                (stand.placement.turn_deg - turned.turn_deg + 180.0).rem_euclid(360.0) - 180.0;
            judge(&stand, outlines).is_ok()
                && off.abs() < 5.0
                && stand.followed > best.followed - 0.02
                && stand.residual_mm < best.residual_mm + SAME_RESIDUAL_MM
        })
        .collect()
}
