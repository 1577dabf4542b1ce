//! Every change that a person can make, as data.

use blend::{Shares, Spacing, Spool, Stop};
use geometry::{DVec3, LayerPlan, Mask};
use serde::{Deserialize, Serialize};

use crate::{
    BrushStroke, External, Laying, Machine, MeshSource, NamedBlend, Paint, Region, SpoolSet, Wall,
};

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
        /// The named blends, or none to keep them.
        #[serde(default)]
        blends: Vec<NamedBlend>,
    },
    /// Exchanges the named blends; regions that have one change with it.
    SetBlends(Vec<NamedBlend>),
    /// Gives a named blend another name.
    RenameBlend {
        /// Its name.
        from: String,
        /// Its new name.
        to: String,
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
