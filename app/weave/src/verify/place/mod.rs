//! Where the copies stand, looked at by other means than the weaving's.
//!
//! A woven file's head says where the copies stand ([`told`]). Here points of the skin at a few
//! heights are held against the nearest printed lines (`cloud`): what share of them has a line
//! where the outer wall should be, how far the part would have to be moved to fit best, and
//! whether another turn fits better (`settle`). And each bit of plastic is given to the copy that
//! it is part of, if it is of any (`owner`).

mod cloud;
mod owner;
mod settle;
mod told;

use geometry::{Progress, Surface};
use toolpath::Settings;

use crate::register::Placement;
use crate::{Source, WeaveError};
use cloud::Cloud;
use settle::{Fit, Skin};

pub(super) use owner::{Owner, Owners};
pub use told::MOST_OFF_MM;
pub(super) use told::{apart_mm, off_mm, told};

/// The least share of the skin that must have a line where its wall should be: in vase mode only the
/// outermost outline has one.
const LEAST_COVERED: f64 = 0.35;

/// Another turn must cover so much more of the skin to be the right one.
const BETTER: f64 = 0.005;

/// Nearer places are the same one found again, mm.
const APART_MM: f64 = 1.0;

/// Turns that are tried beside the one told.
const TURNS: u32 = 48;

/// How the copies stand, as far as the printed lines tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// How far the part's rim would have to move to fit best, at the worst copy, mm.
    pub off_mm: f64,
    /// Share of the skin's height lines that has a wall where it should be, at the worst copy.
    pub covered: f64,
    /// A turn from the one told that covers more, degrees, and how much it covers.
    pub better: Option<(f64, f64)>,
}

impl Standing {
    /// What is wrong with it, if anything.
    pub(super) fn fault(&self) -> Option<String> {
        if let Some((turn_deg, covered)) = self.better {
            return Some(format!(
                "the part is not at the place in the file's header: turned by {turn_deg:.0} \
                 degrees from there, printed lines follow {:.1} % of its outline and not {:.1} %. \
                 Weave it again, with --stand if it is not found correctly",
                100.0 * covered,
                100.0 * self.covered
            ));
        }
        if self.off_mm > MOST_OFF_MM {
            return Some(format!(
                "the part is up to {:.1} mm from the place in the file's header, more than \
                 {MOST_OFF_MM} mm: its colours are in the wrong place. Weave it again, with \
                 --stand if it is not found correctly",
                self.off_mm
            ));
        }
        (self.covered < LEAST_COVERED).then(|| {
            format!(
                "printed lines follow only {:.0} % of the part's outline at its place; is it a \
                 toolpath of this part?",
                100.0 * self.covered
            )
        })
    }
}

/// Looks how the copies stand. `None` where nothing can be compared.
///
/// # Errors
/// When the file can't be read, or when cancelled.
pub(super) fn standing(
    surface: &Surface,
    layer_mm: f64,
    woven: &Source<'_>,
    settings: Settings,
    stands: &[Placement],
    progress: &Progress,
) -> Result<Option<Standing>, WeaveError> {
    let Some(first) = stands.first() else {
        return Ok(None);
    };
    let skin = Skin::of(surface.mesh(), layer_mm);
    let cloud = Cloud::of(
        woven,
        settings,
        &skin.heights(first.lift_mm),
        layer_mm,
        progress,
    )?;
    let mut found: Option<Standing> = None;
    for (index, stand) in stands.iter().enumerate() {
        progress.check()?;
        let Some(here) = skin.covered(&cloud, stand) else {
            continue;
        };
        let settled = skin.settled(&cloud, stand);
        let off_mm = match settled {
            Some(fit) if fit.covered > here - BETTER => apart_mm(surface.mesh(), stand, &fit.stand),
            _ => 0.0,
        };
        // A part that stands wrong makes all the others doubtful: the first is enough.
        let better = match index {
            0 => better(
                surface,
                &skin,
                &cloud,
                stand,
                here.max(settled.map_or(0.0, |f| f.covered)),
            ),
            _ => None,
        };
        let all = found.get_or_insert(Standing {
            off_mm,
            covered: here,
            better,
        });
        all.off_mm = all.off_mm.max(off_mm);
        all.covered = all.covered.min(here);
    }
    Ok(found)
}

/// Another turn at which more of the skin is covered.
fn better(
    surface: &Surface,
    skin: &Skin,
    cloud: &Cloud,
    stand: &Placement,
    covered: f64,
) -> Option<(f64, f64)> {
    let few = skin.few();
    let turned = (1..TURNS).filter_map(|i| {
        let turn_deg = 360.0 * f64::from(i) / f64::from(TURNS);
        few.roughly_settled(cloud, &skin.turned(stand, turn_deg))
    });
    let mut rough: Vec<Fit> = turned.collect();
    rough.sort_by(|a, b| b.covered.total_cmp(&a.covered));
    let best = rough
        .iter()
        .take(4)
        .filter_map(|fit| skin.settled(cloud, &fit.stand))
        .filter(|fit| apart_mm(surface.mesh(), stand, &fit.stand) > APART_MM)
        .max_by(|a, b| a.covered.total_cmp(&b.covered))?;
    let turn_deg = (best.stand.turn_deg - stand.turn_deg).rem_euclid(360.0);
    (best.covered > covered + BETTER).then_some((turn_deg, best.covered))
}
