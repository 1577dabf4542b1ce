//! Which pieces of the skin a change of the plan touches.

use std::collections::BTreeSet;

use geometry::{DVec3, Field};
use plan::{Paint, Plan, Region};

use super::skin::Skin;

/// What has to be drawn again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The colours alone.
    Colours,
    /// Some pieces; regions keep their places.
    Pieces(BTreeSet<usize>),
    /// All pieces: regions changed their places.
    All,
}

/// Compares two plans of the same part.
pub fn scope(old: &Plan, new: &Plan, skin: &Skin) -> Scope {
    let count = old.regions.len().max(new.regions.len());
    let mut touched = BTreeSet::new();
    for index in 0..count {
        let (before, after) = (old.regions.get(index), new.regions.get(index));
        let (moved, looks) = match (before, after) {
            (Some(a), Some(b)) => (differ_in_place(a, b), a.paint != b.paint),
            _ => (true, false),
        };
        if !moved {
            continue;
        }
        if looks {
            // Another region has come to this place: colours and pieces must change at once.
            return Scope::All;
        }
        for region in [before, after].into_iter().flatten() {
            touched.extend(skin.within(bounds_mm(region)));
        }
    }
    match touched.is_empty() {
        true => Scope::Colours,
        false => Scope::Pieces(touched),
    }
}

/// Whether a region's area, or what its fade runs along, is another.
fn differ_in_place(a: &Region, b: &Region) -> bool {
    a.hidden != b.hidden || a.mask != b.mask || a.brush != b.brush || along(a) != along(b)
}

/// A region of one blend is drawn with heights along its ramp, where they do no harm.
fn along(region: &Region) -> &Field {
    match &region.paint {
        Paint::Fixed(_) | Paint::Blend(_) => &Field::Height,
        Paint::Fade { along, .. } => along,
    }
}

/// A box around a region.
fn bounds_mm(region: &Region) -> (DVec3, DVec3) {
    let mask = region.mask.bounds_mm();
    region.brush.iter().fold(mask, |(lo, hi), touch| {
        let (l, h) = touch.stroke().bounds_mm();
        (lo.min(l), hi.max(h))
    })
}
