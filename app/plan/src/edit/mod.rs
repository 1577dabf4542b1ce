//! Every change that a person can make to a plan: one list, shared by the window and the
//! command, and the undo list as well.
//!
//! An [`Edit`] is data. Applying one gives back the edit that takes it back, or leaves the
//! plan as it was and says why. [`History`] keeps those for undo and redo.

mod blends;
mod error;
mod fade;
mod history;
mod kinds;
mod regions;
mod spools;
mod stack;
mod strokes;
mod target;
mod whole;

use crate::{BrushStroke, Plan};

pub use error::EditError;
pub use history::{Drag, History};
pub use kinds::Edit;

impl Edit {
    /// Changes the plan and returns the edit that takes the change back.
    ///
    /// ```
    /// use plan::{Edit, FirstPlan, MeshSource, Plan};
    /// let mesh = MeshSource::named("cup.stl");
    /// let mut plan = Plan::first(FirstPlan { mesh, title: "Cup".into(), height_mm: 80.0 });
    /// let undo = Edit::SetTitle("Mug".into()).apply(&mut plan)?;
    /// assert_eq!(plan.title, "Mug");
    /// undo.apply(&mut plan)?;
    /// assert_eq!(plan.title, "Cup");
    /// # Ok::<(), plan::EditError>(())
    /// ```
    ///
    /// # Errors
    /// [`EditError`] says why not; the plan is then as it was.
    pub fn apply(self, plan: &mut Plan) -> Result<Edit, EditError> {
        match self {
            Edit::SetTitle(to) => Ok(whole::set_title(plan, to)),
            Edit::SetMesh(to) => whole::set_mesh(plan, to),
            Edit::SetLayers(to) => whole::set_layers(plan, to),
            Edit::SetSkin(to) => whole::set_skin(plan, to),
            Edit::SetWall(to) => whole::set_wall(plan, to),
            Edit::SetStep(to) => whole::set_step(plan, to),
            Edit::SetLaying(to) => whole::set_laying(plan, to),
            Edit::SetMachine(to) => whole::set_machine(plan, to),
            Edit::SetSpool { spool, to } => spools::set_one(plan, spool, to),
            Edit::AddSpool { at, spool } => spools::add(plan, at, spool),
            Edit::RemoveSpool { spool } => spools::remove(plan, spool),
            Edit::MoveSpool { from, to } => spools::shift(plan, from, to),
            Edit::SetSpools {
                spools,
                paints,
                blends,
            } => spools::set_all(plan, *spools, paints, blends),
            Edit::SetBlends(to) => blends::set_all(plan, to),
            Edit::RenameBlend { from, to } => blends::rename(plan, from, to),
            Edit::AddRegion { at, region } => stack::add(plan, at, region),
            Edit::RemoveRegion { region } => stack::remove(plan, region),
            Edit::MoveRegion { from, to } => stack::shift(plan, from, to),
            Edit::DuplicateRegion { region } => stack::duplicate(plan, region),
            Edit::CombineRegions { from, into } => stack::combine(plan, from, into),
            Edit::RenameRegion { region, to } => regions::rename(plan, region, to),
            Edit::HideRegion { region, hidden } => regions::hide(plan, region, hidden),
            Edit::LockRegion { region, locked } => regions::lock(plan, region, locked),
            Edit::SetMask { region, to } => regions::set_mask(plan, region, to),
            Edit::SetArea {
                region,
                mask,
                brush,
            } => regions::set_area(plan, region, mask, brush),
            Edit::SetPaint { region, to } => regions::set_paint(plan, region, to),
            Edit::AddStop { region, stop } => fade::add(plan, region, stop),
            Edit::RemoveStop { region, stop } => fade::remove(plan, region, stop),
            Edit::MoveStop {
                region,
                stop,
                at_mm,
            } => fade::shift(plan, region, stop, at_mm),
            Edit::SetStopShares {
                region,
                stop,
                shares,
            } => fade::set_shares(plan, region, stop, shares),
            Edit::SetSpacing { region, spacing } => fade::set_spacing(plan, region, spacing),
            Edit::AddTouch { region, at, touch } => strokes::add(plan, region, at, touch),
            Edit::ExtendTouch {
                region,
                touch,
                dabs_mm,
            } => strokes::extend(plan, region, touch, dabs_mm),
            Edit::ShortenTouch { region, touch, by } => strokes::shorten(plan, region, touch, by),
            Edit::RemoveTouch { region, touch } => strokes::remove(plan, region, touch),
            Edit::Together(edits) => together(plan, edits),
        }
    }

    /// What the edit does, in a few words, for an undo list.
    pub fn label(&self) -> &'static str {
        match self {
            Edit::SetTitle(_) => "rename the part",
            Edit::SetMesh(_) => "set the mesh",
            Edit::SetLayers(_) => "set the layers",
            Edit::SetSkin(_) => "set the colour's depth",
            Edit::SetWall(_) => "set the wall",
            Edit::SetStep(_) => "set the steps across a layer",
            Edit::SetLaying(_) => "set how regions are printed",
            Edit::SetMachine(_) => "set the machine",
            Edit::SetSpool { .. } | Edit::SetSpools { .. } => "change spools",
            Edit::SetBlends(_) => "change named blends",
            Edit::RenameBlend { .. } => "rename a blend",
            Edit::AddSpool { .. } => "add a spool",
            Edit::RemoveSpool { .. } => "remove a spool",
            Edit::MoveSpool { .. } => "move a spool",
            Edit::AddRegion { .. } => "add a region",
            Edit::RemoveRegion { .. } => "remove a region",
            Edit::MoveRegion { .. } => "move a region",
            Edit::DuplicateRegion { .. } => "duplicate a region",
            Edit::CombineRegions { .. } => "combine regions",
            Edit::RenameRegion { .. } => "rename a region",
            Edit::HideRegion { hidden: true, .. } => "hide a region",
            Edit::HideRegion { .. } => "show a region",
            Edit::LockRegion { locked: true, .. } => "lock a region",
            Edit::LockRegion { .. } => "unlock a region",
            Edit::SetMask { .. } | Edit::SetArea { .. } => "change a region's area",
            Edit::SetPaint { .. } => "change a blend",
            Edit::AddStop { .. } => "add a stop",
            Edit::RemoveStop { .. } => "remove a stop",
            Edit::MoveStop { .. } => "move a stop",
            Edit::SetStopShares { .. } => "change a stop's blend",
            Edit::SetSpacing { .. } => "change a fade's spacing",
            Edit::AddTouch {
                touch: BrushStroke::Erase(_),
                ..
            } => "erase",
            Edit::AddTouch { .. } | Edit::ExtendTouch { .. } => "paint",
            Edit::ShortenTouch { .. } | Edit::RemoveTouch { .. } => "remove paint",
            Edit::Together(edits) => edits.first().map_or("nothing", Edit::label),
        }
    }
}

/// Applies one after the other; where one is refused, those before it are taken back.
fn together(plan: &mut Plan, edits: Vec<Edit>) -> Result<Edit, EditError> {
    let mut undo = Vec::with_capacity(edits.len());
    for edit in edits {
        match edit.apply(plan) {
            Ok(inverse) => undo.push(inverse),
            Err(error) => {
                take_back(plan, undo);
                return Err(error);
            }
        }
    }
    undo.reverse();
    Ok(Edit::Together(undo))
}

/// Takes back what has just been done; inverses of edits that were accepted are accepted.
fn take_back(plan: &mut Plan, undo: Vec<Edit>) {
    for inverse in undo.into_iter().rev() {
        let refused = inverse.apply(plan);
        debug_assert!(refused.is_ok(), "{refused:?}");
    }
}
