//! Every change that a person can make to a plan: one list, shared by the window and the
//! command, and the undo list as well.
//!
//! An [`Edit`] is data. Applying one gives back the edit that takes it back, or leaves the
//! plan as it was and says why. [`History`] keeps those for undo and redo.

mod fade;
mod history;
mod regions;
mod spools;
mod stack;
mod strokes;
mod whole;

use blend::{Shares, Spacing, Spool, Stop};
use geometry::mask::Stroke;
use geometry::{DVec3, LayerPlan, Mask};
use serde::{Deserialize, Serialize};

use crate::ron_text::Problem;
use crate::{
    BrushStroke, External, Laying, Machine, MeshSource, Paint, Plan, Region, SpoolSet, Wall,
};

pub use history::{Drag, History};

/// A change to a plan. Regions, stops, strokes and spools are named by their place in their
/// list, from 0; for regions 0 is the base.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Edit {
    /// Renames the part.
    SetTitle(String),
    /// Exchanges the mesh or sets it otherwise on the bed.
    SetMesh(MeshSource),
    /// Exchanges the layer plan.
    SetLayers(LayerPlan),
    /// Sets how deep colour reaches, mm.
    SetSkin(f64),
    /// Says which wall shows, or that none is known.
    SetWall(Option<Wall>),
    /// Sets the greatest ΔE00 between steps of a fade across a layer.
    SetStep(f64),
    /// Sets how regions are to be laid.
    SetLaying(Laying),
    /// Exchanges the machine.
    SetMachine(External<Machine>),

    /// Exchanges one spool for another. This and the next three refuse to touch spools that
    /// stand in a file; [`Edit::SetSpools`] puts others in their place.
    SetSpool {
        /// Which.
        spool: usize,
        /// The new one.
        to: Spool,
    },
    /// Puts in a spool; no blend uses it yet.
    AddSpool {
        /// Its place.
        at: usize,
        /// The spool.
        spool: Spool,
    },
    /// Takes out a spool; blends that used it share its part out among the others.
    RemoveSpool {
        /// Which.
        spool: usize,
    },
    /// Moves a spool to another inlet, its shares with it.
    MoveSpool {
        /// Which.
        from: usize,
        /// Its new place.
        to: usize,
    },
    /// Exchanges all spools, and the paint of every region with them.
    SetSpools {
        /// The spools.
        spools: Box<External<SpoolSet>>,
        /// One paint for each region, or none to keep what they have.
        paints: Vec<Paint>,
    },

    /// Puts in a region.
    AddRegion {
        /// Its place.
        at: usize,
        /// The region.
        region: Region,
    },
    /// Takes out a region.
    RemoveRegion {
        /// Which.
        region: usize,
    },
    /// Moves a region up or down the stack.
    MoveRegion {
        /// Which.
        from: usize,
        /// Its new place.
        to: usize,
    },
    /// Puts a copy of a region right above it.
    DuplicateRegion {
        /// Which.
        region: usize,
    },
    /// Adds one region's area to another's, which keeps its name and paint; the first goes.
    CombineRegions {
        /// The one that goes.
        from: usize,
        /// The one that stays.
        into: usize,
    },
    /// Renames a region.
    RenameRegion {
        /// Which.
        region: usize,
        /// Its new name.
        to: String,
    },
    /// Leaves a region out, or takes it in again.
    HideRegion {
        /// Which.
        region: usize,
        /// Whether it is left out.
        hidden: bool,
    },
    /// Guards a region against edits, or frees it.
    LockRegion {
        /// Which.
        region: usize,
        /// Whether it is guarded.
        locked: bool,
    },
    /// Exchanges a region's mask.
    SetMask {
        /// Which.
        region: usize,
        /// The new mask.
        to: Mask,
    },
    /// Exchanges a region's mask and all its strokes.
    SetArea {
        /// Which.
        region: usize,
        /// The new mask.
        mask: Mask,
        /// The new strokes.
        brush: Vec<BrushStroke>,
    },
    /// Exchanges what a region gets.
    SetPaint {
        /// Which.
        region: usize,
        /// The new paint.
        to: Paint,
    },

    /// Puts a stop into a fade, where its place belongs.
    AddStop {
        /// Which region.
        region: usize,
        /// The stop.
        stop: Stop,
    },
    /// Takes a stop out of a fade; two must stay.
    RemoveStop {
        /// Which region.
        region: usize,
        /// Which stop.
        stop: usize,
    },
    /// Moves a stop along its fade; it can't pass its neighbours.
    MoveStop {
        /// Which region.
        region: usize,
        /// Which stop.
        stop: usize,
        /// Its new place.
        at_mm: f64,
    },
    /// Exchanges the blend of a stop.
    SetStopShares {
        /// Which region.
        region: usize,
        /// Which stop.
        stop: usize,
        /// The new blend.
        shares: Shares,
    },
    /// Exchanges a fade's spacing.
    SetSpacing {
        /// Which region.
        region: usize,
        /// The new spacing.
        spacing: Spacing,
    },

    /// Begins a stroke of the brush.
    AddTouch {
        /// Which region.
        region: usize,
        /// Its place among the region's strokes; their number for one on top.
        at: usize,
        /// The stroke so far.
        touch: BrushStroke,
    },
    /// Draws a stroke of the brush on.
    ExtendTouch {
        /// Which region.
        region: usize,
        /// Which stroke.
        touch: usize,
        /// The dabs to add at its end, mm.
        dabs_mm: Vec<DVec3>,
    },
    /// Takes dabs off the end of a stroke; one must stay.
    ShortenTouch {
        /// Which region.
        region: usize,
        /// Which stroke.
        touch: usize,
        /// How many dabs go.
        by: usize,
    },
    /// Takes out a stroke.
    RemoveTouch {
        /// Which region.
        region: usize,
        /// Which stroke.
        touch: usize,
    },

    /// Several edits that are done and taken back as one.
    Together(Vec<Edit>),
}

/// Why an edit was refused. The plan is as it was.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EditError {
    /// There is no such region, stop, stroke or spool.
    #[error("there is no {what} {} here, only {count}", .place + 1)]
    NoSuch {
        /// What was asked for.
        what: &'static str,
        /// Its place, from 0.
        place: usize,
        /// How many there are.
        count: usize,
    },
    /// The region is locked.
    #[error("region '{0}' is locked; unlock it first")]
    Locked(String),
    /// The region has one blend and no fade.
    #[error("region '{0}' has one blend and no fade; give it a fade first")]
    NoFade(String),
    /// The base can't be taken away, moved, hidden or painted on.
    #[error("the first region covers everything and stays at the bottom")]
    Base,
    /// The spools stand in a file.
    #[error(
        "the spools stand in the file {0}; change them there, or give the plan spools of its own"
    )]
    SpoolFile(String),
    /// The last dab of a stroke can't be taken.
    #[error("a stroke needs one dab at least; remove the whole stroke instead")]
    LastDab,
    /// The plan would be wrong.
    #[error(transparent)]
    Wrong(#[from] Problem),
}

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
            Edit::SetSpools { spools, paints } => spools::set_all(plan, *spools, paints),
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
            Edit::SetLaying(_) => "set how regions are laid",
            Edit::SetMachine(_) => "set the machine",
            Edit::SetSpool { .. } | Edit::SetSpools { .. } => "change spools",
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

/// A region that may be edited.
fn open(plan: &mut Plan, region: usize) -> Result<&mut Region, EditError> {
    let found = any(plan, region)?;
    match found.locked {
        true => Err(EditError::Locked(found.name.clone())),
        false => Ok(found),
    }
}

/// A region, locked or not.
fn any(plan: &mut Plan, region: usize) -> Result<&mut Region, EditError> {
    let count = plan.regions.len();
    plan.regions.get_mut(region).ok_or(EditError::NoSuch {
        what: "region",
        place: region,
        count,
    })
}

fn not_base(region: usize) -> Result<(), EditError> {
    match region {
        0 => Err(EditError::Base),
        _ => Ok(()),
    }
}

/// Changes one region, keeping the change only if the region is sound with it.
fn change<T>(
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
fn change_plan<T>(
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
fn stroke(region: &mut Region, touch: usize) -> Result<&mut Stroke, EditError> {
    let count = region.brush.len();
    let found = region.brush.get_mut(touch).ok_or(EditError::NoSuch {
        what: "stroke",
        place: touch,
        count,
    })?;
    Ok(found.stroke_mut())
}
