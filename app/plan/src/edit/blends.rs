//! Edits of the plan's named blends. They reach into every region that has one, locked or not:
//! a lock guards a region against being drawn on, not its blend's name against what it means.

use super::target::change_plan;
use super::{Edit, EditError};
use crate::ron_text::{Path, Problem};
use crate::{NamedBlend, Paint, Plan};

pub(super) fn set_all(plan: &mut Plan, to: Vec<NamedBlend>) -> Result<Edit, EditError> {
    let before = change_plan(plan, |p| &mut p.blends, to)?;
    plan.resolve_blends();
    Ok(Edit::SetBlends(before))
}

pub(super) fn rename(plan: &mut Plan, from: String, to: String) -> Result<Edit, EditError> {
    let count = plan.blends.len();
    let Some(place) = plan.blends.iter().position(|b| b.name == from) else {
        return Err(EditError::NoSuch {
            what: "blend",
            place: count,
            count,
        });
    };
    if to != from && plan.blend_named(&to).is_some() {
        let path = Path::field("blends").at(place).then("name");
        let what = format!("another blend is called '{to}'; choose another name");
        return Err(Problem::new(path, what).into());
    }
    call(plan, place, &from, &to);
    match plan.problems().into_iter().next() {
        None => Ok(Edit::RenameBlend { from: to, to: from }),
        Some(problem) => {
            call(plan, place, &to, &from);
            Err(problem.into())
        }
    }
}

/// Gives a blend another name, and all regions with it.
fn call(plan: &mut Plan, place: usize, from: &str, to: &str) {
    if let Some(blend) = plan.blends.get_mut(place) {
        to.clone_into(&mut blend.name);
    }
    for region in &mut plan.regions {
        if let Paint::Blend(named) = &mut region.paint
            && named.name == from
        {
            to.clone_into(&mut named.name);
        }
    }
}
