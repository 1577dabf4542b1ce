//! Edits of the spools. A blend has one share for each spool, so these reach into every
//! region, locked or not.

use blend::{MAX_COMPONENTS, Shares, Spool};

use super::{Edit, EditError};
use crate::{External, NamedBlend, Paint, Plan, SpoolSet};

pub(super) fn set_all(
    plan: &mut Plan,
    spools: External<SpoolSet>,
    paints: Vec<Paint>,
    blends: Vec<NamedBlend>,
) -> Result<Edit, EditError> {
    let blends = match blends.is_empty() {
        true => plan.blends.clone(),
        false => blends,
    };
    let paints = if paints.is_empty() {
        plan.regions.iter().map(|r| r.paint.clone()).collect()
    } else {
        paints
    };
    if paints.len() != plan.regions.len() {
        return Err(EditError::NoSuch {
            what: "region",
            place: paints.len().max(plan.regions.len()) - 1,
            count: plan.regions.len(),
        });
    }
    let undo = exchange(plan, spools, paints, blends);
    match plan.problems().into_iter().next() {
        None => Ok(Edit::SetSpools {
            spools: Box::new(undo.0),
            paints: undo.1,
            blends: undo.2,
        }),
        Some(problem) => {
            exchange(plan, undo.0, undo.1, undo.2);
            Err(problem.into())
        }
    }
}

fn exchange(
    plan: &mut Plan,
    spools: External<SpoolSet>,
    paints: Vec<Paint>,
    blends: Vec<NamedBlend>,
) -> (External<SpoolSet>, Vec<Paint>, Vec<NamedBlend>) {
    let regions = plan.regions.iter_mut();
    let before = regions
        .zip(paints)
        .map(|(region, paint)| std::mem::replace(&mut region.paint, paint))
        .collect();
    let blends = std::mem::replace(&mut plan.blends, blends);
    plan.resolve_blends();
    (std::mem::replace(&mut plan.spools, spools), before, blends)
}

pub(super) fn set_one(plan: &mut Plan, spool: usize, to: Spool) -> Result<Edit, EditError> {
    let mut spools = own(plan)?;
    *at(&mut spools, spool)? = to;
    set_all(plan, spools.into(), Vec::new(), Vec::new())
}

pub(super) fn add(plan: &mut Plan, place: usize, spool: Spool) -> Result<Edit, EditError> {
    let mut spools = own(plan)?;
    if place > spools.len() {
        return Err(no_such(place, spools.len()));
    }
    spools.insert(place, spool);
    remix(plan, spools, |shares| shares.insert(place, 0.0))
}

pub(super) fn remove(plan: &mut Plan, spool: usize) -> Result<Edit, EditError> {
    let mut spools = own(plan)?;
    at(&mut spools, spool)?;
    spools.remove(spool);
    remix(plan, spools, |shares| {
        shares.remove(spool);
        if shares.iter().sum::<f64>() <= 0.0 {
            shares.fill(1.0);
        }
    })
}

pub(super) fn shift(plan: &mut Plan, from: usize, to: usize) -> Result<Edit, EditError> {
    let mut spools = own(plan)?;
    at(&mut spools, from)?;
    at(&mut spools, to)?;
    let moved = spools.remove(from);
    spools.insert(to, moved);
    remix(plan, spools, |shares| {
        let moved = shares.remove(from);
        shares.insert(to, moved);
    })
}

/// Takes other spools and changes the shares of every blend to fit them.
fn remix(
    plan: &mut Plan,
    spools: Vec<Spool>,
    change: impl Fn(&mut Vec<f64>),
) -> Result<Edit, EditError> {
    let remixed = |shares: &Shares| {
        let mut weights = shares.as_slice().to_vec();
        change(&mut weights);
        weights.truncate(MAX_COMPONENTS);
        // Weights that can't be scaled keep the old blend, which the check then refuses.
        Shares::from_weights(&weights).unwrap_or(*shares)
    };
    let paints = plan.regions.iter().map(|region| {
        let mut paint = region.paint.clone();
        match &mut paint {
            Paint::Fixed(shares) => *shares = remixed(shares),
            // Its shares follow the plan's list.
            Paint::Blend(_) => {}
            Paint::Fade { fade, .. } => {
                for stop in &mut fade.stops {
                    stop.shares = remixed(&stop.shares);
                }
            }
        }
        paint
    });
    let paints = paints.collect();
    let blends = plan.blends.iter().map(|blend| NamedBlend {
        shares: remixed(&blend.shares),
        ..blend.clone()
    });
    let blends = blends.collect();
    set_all(plan, spools.into(), paints, blends)
}

/// The spools, if they stand in the plan itself.
fn own(plan: &Plan) -> Result<Vec<Spool>, EditError> {
    match &plan.spools.file {
        Some(file) => Err(EditError::SpoolFile(file.clone())),
        None => Ok(plan.spools.list.clone()),
    }
}

fn at(spools: &mut [Spool], spool: usize) -> Result<&mut Spool, EditError> {
    let count = spools.len();
    spools.get_mut(spool).ok_or(no_such(spool, count))
}

fn no_such(place: usize, count: usize) -> EditError {
    EditError::NoSuch {
        what: "spool",
        place,
        count,
    }
}
