//! Where on the plate the part stands: the turn and shift between mesh and toolpath.
//!
//! The toolpath's printed lines are gathered at a few heights ([`levels`]) and compared with
//! the mesh's contours there. First roughly, for every turn and shift at once, by
//! correlation: plastic must lie just within the contour and none just outside ([`coarse`]).
//! Then closely: from each contour point the outermost printed line is looked for, and turn,
//! shift and the line's inset are set by least squares ([`fine`]). What is left over is the
//! residual. A toolpath whose lines do not follow the contours is refused.
//!
//! Supports, skirts, towers and other copies don't disturb this: only what should be there is
//! asked for.

mod coarse;
mod copies;
mod fine;
mod grid;
mod levels;
mod solve;

use geometry::{Cancelled, LayerPlan, Mesh, Progress};
use glam::{DVec2, DVec3};
use serde::{Deserialize, Serialize};
use toolpath::ReadError;

pub(super) use copies::Copies;
pub use levels::{Level, Levels, gather};

/// How a copy of the part stands on the plate: turned about z, then shifted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Placement {
    /// Turn, degrees, counter-clockwise seen from above.
    pub turn_deg: f64,
    /// Shift in x and y, mm.
    pub shift_mm: [f64; 2],
    /// Height of the part's bed above the plate, mm: the height of a raft.
    pub lift_mm: f64,
}

impl Placement {
    /// From the part to the plate.
    pub fn to_plate(&self, part_mm: DVec3) -> DVec3 {
        let turned = self.rotation().rotate(part_mm.truncate());
        (turned + DVec2::from(self.shift_mm)).extend(part_mm.z + self.lift_mm)
    }

    /// From the plate to the part.
    pub fn to_part(&self, plate_mm: DVec3) -> DVec3 {
        let shifted = plate_mm.truncate() - DVec2::from(self.shift_mm);
        self.back()
            .rotate(shifted)
            .extend(plate_mm.z - self.lift_mm)
    }

    /// The turn back.
    fn back(&self) -> DVec2 {
        let rotation = self.rotation();
        DVec2::new(rotation.x, -rotation.y)
    }

    fn rotation(&self) -> DVec2 {
        DVec2::from_angle(self.turn_deg.to_radians())
    }
}

/// One copy of the part and how well the toolpath follows it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stand {
    /// Where it stands.
    pub placement: Placement,
    /// Root mean square distance of the outer lines from the inset contours, mm.
    pub residual_mm: f64,
    /// The distance that 95 of 100 contour points stay within, mm.
    pub residual_95_mm: f64,
    /// How far the outer lines lie within the contour, mm: about half a line's width.
    pub inset_mm: f64,
    /// Share of the contour that is followed by a line.
    pub followed: f64,
    /// How much larger the toolpath is than the mesh; 1 within rounding, or it is refused.
    pub scale: f64,
}

/// All copies found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Registered {
    /// The copies, by x and then y.
    pub stands: Vec<Stand>,
    /// Other turns, degrees, at which the first copy fits as well: the toolpath can't tell
    /// them apart, and the least turn was taken.
    pub alike_turns_deg: Vec<f64>,
}

/// Why no stand was found.
#[derive(Debug, thiserror::Error)]
pub enum RegisterError {
    /// The file can't be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// It was told to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The mesh has no contour to compare.
    #[error("the part has no outline at any height that can be compared; check the mesh")]
    NoContours,
    /// Nothing is printed.
    #[error("the toolpath lays no plastic along any move; is it a toolpath for a printer?")]
    NothingPrinted,
    /// Nothing is printed at the part's heights.
    #[error(
        "the toolpath prints nothing between {from_mm:.2} and {to_mm:.2} mm of height, where \
         the part is; slice the same part"
    )]
    OtherHeights {
        /// From this height.
        from_mm: f64,
        /// To this one.
        to_mm: f64,
    },
    /// The lines don't follow the contours.
    #[error(
        "this toolpath is not of this part: at best {:.0} in 100 parts of the outline are \
         followed by a printed line{}. Slice the same mesh, or give the turn and shift by hand",
        .followed * 100.0,
        .hint.as_deref().map(|h| format!("; {h}")).unwrap_or_default()
    )]
    OtherPart {
        /// Share of the contour followed at the best stand.
        followed: f64,
        /// What it may be.
        hint: Option<String>,
    },
    /// It follows, but not closely.
    #[error(
        "the toolpath follows the part only within {residual_mm:.2} mm (at most \
         {MOST_RESIDUAL_MM} mm are let pass); slice the same mesh, or give the turn and shift by hand"
    )]
    TooFar {
        /// Root mean square distance, mm.
        residual_mm: f64,
    },
    /// It is of another size.
    #[error(
        "the toolpath is {:.2} times the part's size; slice the part at its own size, or scale \
         the plan's mesh", .scale
    )]
    OtherSize {
        /// Size of the toolpath by that of the mesh.
        scale: f64,
    },
}

/// Root mean square distances beyond this are refused, mm: half a usual line's width.
pub const MOST_RESIDUAL_MM: f64 = 0.2;

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

#[cfg(test)]
pub(crate) mod tests;
