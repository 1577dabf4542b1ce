//! Edits of the plan as a whole.

use geometry::LayerPlan;

use super::target::change_plan;
use super::{Edit, EditError};
use crate::{External, Laying, Machine, MeshSource, Plan, Wall};

pub(super) fn set_title(plan: &mut Plan, to: String) -> Edit {
    Edit::SetTitle(std::mem::replace(&mut plan.title, to))
}

pub(super) fn set_mesh(plan: &mut Plan, to: MeshSource) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.mesh, to).map(Edit::SetMesh)
}

pub(super) fn set_layers(plan: &mut Plan, to: LayerPlan) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.layers, to).map(Edit::SetLayers)
}

pub(super) fn set_skin(plan: &mut Plan, to: f64) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.skin_mm, to).map(Edit::SetSkin)
}

pub(super) fn set_wall(plan: &mut Plan, to: Option<Wall>) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.wall, to).map(Edit::SetWall)
}

pub(super) fn set_step(plan: &mut Plan, to: f64) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.step_de00, to).map(Edit::SetStep)
}

pub(super) fn set_laying(plan: &mut Plan, to: Laying) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.laying, to).map(Edit::SetLaying)
}

pub(super) fn set_machine(plan: &mut Plan, to: External<Machine>) -> Result<Edit, EditError> {
    change_plan(plan, |p| &mut p.machine, to).map(Edit::SetMachine)
}
