//! What of a plan an edit changes, found and changed only if the plan stays sound.

use geometry::mask::Stroke;

use super::EditError;
use crate::{Plan, Region};

/// A region that may be edited.
pub(super) fn open(plan: &mut Plan, region: usize) -> Result<&mut Region, EditError> {
    let found = any(plan, region)?;
    match found.locked {
        true => Err(EditError::Locked(found.name.clone())),
        false => Ok(found),
    }
}

/// A region, locked or not.
pub(super) fn any(plan: &mut Plan, region: usize) -> Result<&mut Region, EditError> {
    let count = plan.regions.len();
    plan.regions.get_mut(region).ok_or(EditError::NoSuch {
        what: "region",
        place: region,
        count,
    })
}

pub(super) fn not_base(region: usize) -> Result<(), EditError> {
    match region {
        0 => Err(EditError::Base),
        _ => Ok(()),
    }
}

/// Changes one region, keeping the change only if the region is sound with it.
pub(super) fn change<T>(
    plan: &mut Plan,
    region: usize,
    get: impl Fn(&mut Region) -> &mut T,
    to: T,
) -> Result<T, EditError> {
    let before = std::mem::replace(get(open(plan, region)?), to);
    match plan.region_problems(region).into_iter().next() {
        None => Ok(before),
        Some(problem) => {
            *get(any(plan, region)?) = before;
            Err(problem.into())
        }
    }
}

/// Changes one value of the plan, keeping the change only if the plan is sound with it.
pub(super) fn change_plan<T>(
    plan: &mut Plan,
    get: impl Fn(&mut Plan) -> &mut T,
    to: T,
) -> Result<T, EditError> {
    let before = std::mem::replace(get(plan), to);
    match plan.problems().into_iter().next() {
        None => Ok(before),
        Some(problem) => {
            *get(plan) = before;
            Err(problem.into())
        }
    }
}

/// The stroke of an edit's region.
pub(super) fn stroke(region: &mut Region, touch: usize) -> Result<&mut Stroke, EditError> {
    let count = region.brush.len();
    let found = region.brush.get_mut(touch).ok_or(EditError::NoSuch {
        what: "stroke",
        place: touch,
        count,
    })?;
    Ok(found.stroke_mut())
}
