//! Edits of a region's brush strokes.

use geometry::DVec3;

use super::target::{not_base, open, stroke};
use super::{Edit, EditError};
use crate::{BrushStroke, Plan};

pub(super) fn add(
    plan: &mut Plan,
    region: usize,
    at: usize,
    touch: BrushStroke,
) -> Result<Edit, EditError> {
    not_base(region)?;
    let brush = &mut open(plan, region)?.brush;
    if at > brush.len() {
        return Err(no_such(at, brush.len()));
    }
    brush.insert(at, touch);
    match plan.region_problems(region).into_iter().next() {
        None => Ok(Edit::RemoveTouch { region, touch: at }),
        Some(problem) => {
            open(plan, region)?.brush.remove(at);
            Err(problem.into())
        }
    }
}

pub(super) fn remove(plan: &mut Plan, region: usize, touch: usize) -> Result<Edit, EditError> {
    let brush = &mut open(plan, region)?.brush;
    if touch >= brush.len() {
        return Err(no_such(touch, brush.len()));
    }
    Ok(Edit::AddTouch {
        region,
        at: touch,
        touch: brush.remove(touch),
    })
}

fn no_such(place: usize, count: usize) -> EditError {
    EditError::NoSuch {
        what: "stroke",
        place,
        count,
    }
}

/// Many dabs a second come this way, so only the new ones are looked at.
pub(super) fn extend(
    plan: &mut Plan,
    region: usize,
    touch: usize,
    dabs_mm: Vec<DVec3>,
) -> Result<Edit, EditError> {
    let found = stroke(open(plan, region)?, touch)?;
    let by = dabs_mm.iter().take_while(|dab| dab.is_finite()).count();
    found.dabs_mm.extend(dabs_mm.into_iter().take(by));
    Ok(Edit::ShortenTouch { region, touch, by })
}

pub(super) fn shorten(
    plan: &mut Plan,
    region: usize,
    touch: usize,
    by: usize,
) -> Result<Edit, EditError> {
    let found = stroke(open(plan, region)?, touch)?;
    let count = found.dabs_mm.len();
    if by >= count {
        return Err(EditError::LastDab);
    }
    let dabs_mm = found.dabs_mm.split_off(count - by);
    Ok(Edit::ExtendTouch {
        region,
        touch,
        dabs_mm,
    })
}
