//! Edits of a region's fade.

use blend::{Fade, Shares, Spacing, Stop};

use super::target::{change, open};
use super::{Edit, EditError};
use crate::{Paint, Plan};

pub(super) fn add(plan: &mut Plan, region: usize, stop: Stop) -> Result<Edit, EditError> {
    let mut fade = fade(plan, region)?.clone();
    let at = fade.stops.partition_point(|s| s.at_mm < stop.at_mm);
    fade.stops.insert(at, stop);
    exchange(plan, region, fade)?;
    Ok(Edit::RemoveStop { region, stop: at })
}

pub(super) fn remove(plan: &mut Plan, region: usize, stop: usize) -> Result<Edit, EditError> {
    let mut fade = fade(plan, region)?.clone();
    check_stop(&fade, stop)?;
    let removed = fade.stops.remove(stop);
    exchange(plan, region, fade)?;
    Ok(Edit::AddStop {
        region,
        stop: removed,
    })
}

pub(super) fn shift(
    plan: &mut Plan,
    region: usize,
    stop: usize,
    at_mm: f64,
) -> Result<Edit, EditError> {
    let mut fade = fade(plan, region)?.clone();
    check_stop(&fade, stop)?;
    let before = std::mem::replace(&mut fade.stops[stop].at_mm, at_mm);
    exchange(plan, region, fade)?;
    Ok(Edit::MoveStop {
        region,
        stop,
        at_mm: before,
    })
}

pub(super) fn set_shares(
    plan: &mut Plan,
    region: usize,
    stop: usize,
    shares: Shares,
) -> Result<Edit, EditError> {
    let mut fade = fade(plan, region)?.clone();
    check_stop(&fade, stop)?;
    let before = std::mem::replace(&mut fade.stops[stop].shares, shares);
    exchange(plan, region, fade)?;
    Ok(Edit::SetStopShares {
        region,
        stop,
        shares: before,
    })
}

pub(super) fn set_spacing(
    plan: &mut Plan,
    region: usize,
    spacing: Spacing,
) -> Result<Edit, EditError> {
    let spacing = std::mem::replace(&mut fade(plan, region)?.spacing, spacing);
    Ok(Edit::SetSpacing { region, spacing })
}

fn fade(plan: &mut Plan, region: usize) -> Result<&mut Fade, EditError> {
    let region = open(plan, region)?;
    match &mut region.paint {
        Paint::Fade { fade, .. } => Ok(fade),
        Paint::Fixed(_) | Paint::Blend(_) => Err(EditError::NoFade(region.name.clone())),
    }
}

fn check_stop(fade: &Fade, stop: usize) -> Result<(), EditError> {
    let count = fade.stops.len();
    match stop < count {
        true => Ok(()),
        false => Err(EditError::NoSuch {
            what: "stop",
            place: stop,
            count,
        }),
    }
}

/// Takes a changed fade if it is sound.
fn exchange(plan: &mut Plan, region: usize, to: Fade) -> Result<(), EditError> {
    let mut paint = open(plan, region)?.paint.clone();
    if let Paint::Fade { fade, .. } = &mut paint {
        *fade = to;
    }
    change(plan, region, |r| &mut r.paint, paint).map(drop)
}
