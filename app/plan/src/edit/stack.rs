//! Edits of the stack of regions.

use geometry::Mask;

use super::target::{any, not_base, open};
use super::{Edit, EditError};
use crate::{BrushStroke, Plan, Region};

pub(super) fn add(plan: &mut Plan, at: usize, region: Region) -> Result<Edit, EditError> {
    not_base(at)?;
    if at > plan.regions.len() {
        return Err(EditError::NoSuch {
            what: "place",
            place: at,
            count: plan.regions.len() + 1,
        });
    }
    plan.regions.insert(at, region);
    match plan.region_problems(at).into_iter().next() {
        None => {
            plan.resolve_blends();
            Ok(Edit::RemoveRegion { region: at })
        }
        Some(problem) => {
            plan.regions.remove(at);
            Err(problem.into())
        }
    }
}

pub(super) fn remove(plan: &mut Plan, region: usize) -> Result<Edit, EditError> {
    not_base(region)?;
    open(plan, region)?;
    let removed = plan.regions.remove(region);
    Ok(Edit::AddRegion {
        at: region,
        region: removed,
    })
}

/// Moving is no edit of what the region is, so a lock does not stand in its way.
pub(super) fn shift(plan: &mut Plan, from: usize, to: usize) -> Result<Edit, EditError> {
    not_base(from)?;
    not_base(to)?;
    any(plan, from)?;
    any(plan, to)?;
    let region = plan.regions.remove(from);
    plan.regions.insert(to, region);
    Ok(Edit::MoveRegion { from: to, to: from })
}

pub(super) fn duplicate(plan: &mut Plan, region: usize) -> Result<Edit, EditError> {
    not_base(region)?;
    let mut copy = any(plan, region)?.clone();
    copy.name = format!("{} (copy)", copy.name);
    copy.locked = false;
    add(plan, region + 1, copy)
}

pub(super) fn combine(plan: &mut Plan, from: usize, into: usize) -> Result<Edit, EditError> {
    not_base(from)?;
    not_base(into)?;
    if from == into {
        return Ok(Edit::Together(Vec::new()));
    }
    let area = area(open(plan, from)?);
    let kept = open(plan, into)?;
    let sum = union(self::area(kept), area);
    let gone = plan.regions.remove(from);
    // The one that stays has moved down if it stood above.
    let stays = if from < into { into - 1 } else { into };
    let kept = any(plan, stays)?;
    let mask = std::mem::replace(&mut kept.mask, sum.0);
    let brush = std::mem::replace(&mut kept.brush, sum.1);
    Ok(Edit::Together(vec![
        Edit::SetArea {
            region: stays,
            mask,
            brush,
        },
        Edit::AddRegion {
            at: from,
            region: gone,
        },
    ]))
}

type Area = (Mask, Vec<BrushStroke>);

fn area(region: &Region) -> Area {
    (region.mask.clone(), region.brush.clone())
}

/// The union of two areas. Strokes are kept as strokes where only one area has any, or
/// where neither erases; else they become part of the mask.
fn union(one: Area, other: Area) -> Area {
    let erases = |a: &Area| a.1.iter().any(|t| matches!(t, BrushStroke::Erase(_)));
    if erases(&one) || erases(&other) {
        return (any_of(vec![as_mask(one), as_mask(other)]), Vec::new());
    }
    let brush = one.1.into_iter().chain(other.1).collect();
    (any_of(vec![one.0, other.0]), brush)
}

/// An area as a mask alone: a later stroke covers an earlier one.
fn as_mask((mask, brush): Area) -> Mask {
    brush.into_iter().fold(mask, |mask, touch| match touch {
        BrushStroke::Paint(stroke) => any_of(vec![mask, Mask::Stroke(stroke)]),
        BrushStroke::Erase(stroke) => match mask {
            Mask::All(mut all) => {
                all.push(Mask::Not(Box::new(Mask::Stroke(stroke))));
                Mask::All(all)
            }
            mask => Mask::All(vec![mask, Mask::Not(Box::new(Mask::Stroke(stroke)))]),
        },
    })
}

/// Any of some masks, without a list inside a list and without masks that cover nothing.
fn any_of(masks: Vec<Mask>) -> Mask {
    let mut flat = Vec::new();
    for mask in masks {
        match mask {
            Mask::Any(inner) => flat.extend(inner),
            mask if mask.is_nothing() => {}
            mask => flat.push(mask),
        }
    }
    match flat.len() {
        0 => Mask::nothing(),
        1 => flat.remove(0),
        _ => Mask::Any(flat),
    }
}
