//! Edits of one region.

use geometry::Mask;

use super::target::{any, change, not_base, open};
use super::{Edit, EditError};
use crate::{BrushStroke, Paint, Plan};

pub(super) fn rename(plan: &mut Plan, region: usize, to: String) -> Result<Edit, EditError> {
    let to = change(plan, region, |r| &mut r.name, to)?;
    Ok(Edit::RenameRegion { region, to })
}

/// Hiding is no edit of what the region is, so a lock does not stand in its way.
pub(super) fn hide(plan: &mut Plan, region: usize, hidden: bool) -> Result<Edit, EditError> {
    if hidden {
        not_base(region)?;
    }
    let hidden = std::mem::replace(&mut any(plan, region)?.hidden, hidden);
    Ok(Edit::HideRegion { region, hidden })
}

pub(super) fn lock(plan: &mut Plan, region: usize, locked: bool) -> Result<Edit, EditError> {
    let locked = std::mem::replace(&mut any(plan, region)?.locked, locked);
    Ok(Edit::LockRegion { region, locked })
}

pub(super) fn set_mask(plan: &mut Plan, region: usize, to: Mask) -> Result<Edit, EditError> {
    let to = change(plan, region, |r| &mut r.mask, to)?;
    Ok(Edit::SetMask { region, to })
}

pub(super) fn set_area(
    plan: &mut Plan,
    region: usize,
    mask: Mask,
    brush: Vec<BrushStroke>,
) -> Result<Edit, EditError> {
    let brush_before = std::mem::replace(&mut open(plan, region)?.brush, brush);
    match change(plan, region, |r| &mut r.mask, mask) {
        Ok(mask) => Ok(Edit::SetArea {
            region,
            mask,
            brush: brush_before,
        }),
        Err(error) => {
            any(plan, region)?.brush = brush_before;
            Err(error)
        }
    }
}

pub(super) fn set_paint(plan: &mut Plan, region: usize, to: Paint) -> Result<Edit, EditError> {
    let to = change(plan, region, |r| &mut r.paint, to)?;
    plan.resolve_blends();
    Ok(Edit::SetPaint { region, to })
}
