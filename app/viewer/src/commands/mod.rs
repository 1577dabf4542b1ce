//! Everything that a person can do in the window, as data.
//!
//! Panels read the session and send commands; keys and buttons name the same ones; the session
//! applies them, in one place. So showing the window changes nothing by itself.

mod kinds;
mod queue;
mod section;

use std::path::PathBuf;

use blend::Shares;
use bodies::Options;
use emath::{Pos2, Rect, Vec2};
use geometry::place::Placement;
use geometry::{Field, Mask};
use plan::Edit;
use weave::compare::Means;
use weave::verify::Miss;

use crate::files::Left;
use crate::model::camera::Side;
use crate::model::chosen::Wanted;
use crate::model::draft::Draft;
use crate::model::errand::{Errand, Forms};
use crate::model::finished_form::FinishedForm;
use crate::model::mirror::Mirror;
use crate::model::page::{After, Drawer, Page, SidePanel};
use crate::model::photo_form::PhotoForm;
use crate::model::tool::{FillBy, Tool};
use crate::model::view::Look;
use crate::model::view_copy::ViewCopy;

pub use queue::Commands;
pub use section::Cutting;

pub use kinds::{Browse, Edge, Entering, Hover};

/// Something that you can do.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Ask for a file and open it.
    Open,
    /// Open a plan or a mesh.
    OpenFile(PathBuf),
    /// Open a demonstration by its name.
    OpenDemo(String),
    /// Open the recovery copy of a window that was killed.
    OpenLeft(Left),
    /// Discard the recovery copy of a window that was killed.
    DiscardLeft(Left),
    /// Remove a file from the list of recent ones.
    ForgetRecent(PathBuf),
    /// Draw the demonstrations' pictures, if not yet done.
    DrawCards,
    /// Save the plan where it came from.
    Save,
    /// Save the plan elsewhere.
    SaveAs,
    /// Save the plan to a file, then do what waited for it.
    SaveTo(PathBuf, Option<After>),
    /// Save the plan, then do what waited for it.
    SaveThen(After),
    /// Load what another program has changed.
    TakeTheirs,
    /// Go on with what is in the window.
    KeepMine,
    /// Hold the plan in the window against its file.
    CompareWithTheirs,
    /// Save over a file that somebody else has changed, then do what waited.
    SaveOver(PathBuf, Option<After>),
    /// Discard the changes and do what waited.
    DropUnsaved(After),
    /// Ask where to write schedule and sheet.
    Prepare,
    /// Write schedule and sheet into a folder.
    PrepareIn(PathBuf),
    /// Mend the mesh, here and whenever the plan is read.
    Mend,
    /// Read the mesh in another unit, or stand it on the bed otherwise.
    Stand(Placement),
    /// Keep the unit that the mesh was read in.
    KeepUnit,
    /// Show the part in bodies, one for each stored blend.
    Bodies,
    /// Cut the part into bodies anew.
    CutBodies(Options),
    /// Write the bodies that were cut into a folder.
    BodiesIn(PathBuf),
    /// Ask for a picture of the view.
    AskViewCopy,
    /// Make a picture of the view.
    CopyView(ViewCopy),
    /// Open the system's dialog for files.
    Browse(Browse),
    /// Go to the start page.
    Close,
    /// Leave the program.
    Quit,

    /// Show the page for your own toolpath.
    Weave,
    /// Use a toolpath: a sliced one, or a woven one.
    TakeToolpath(PathBuf),
    /// Change the choices for weaving.
    SetDraft(Box<Draft>),
    /// Weave the plan into the chosen toolpath, if every region comes out.
    WeaveIt,
    /// Weave it though regions are lost.
    WeaveAnyway,
    /// Try the options: find out which regions come out.
    TryOptions,
    /// Compare ways to weave.
    CompareWays,
    /// Take what a way of weaving says.
    TakeWay(Box<Means>),
    /// Read the woven file back.
    ReadBack,
    /// Cancel weaving or checking.
    CancelToolpathWork,
    /// Show a bad place.
    LookAt(Box<Miss>),
    /// Follow the strands of the woven file, or stop following.
    Follow,
    /// Step by moves while following.
    Moves(i32),
    /// Go to the move at a share of the layer's filament.
    MoveAtShare(f64),
    /// Go to the first or the last move of the layer.
    EnterLayer(Entering),

    /// Show the page of the whole job.
    Job,
    /// Change what was typed for the job's steps.
    SetForms(Box<Forms>),
    /// Run a step of the job.
    Run(Errand),
    /// Cancel the step that runs.
    CancelRun,
    /// Open a file or folder with what the system has for it.
    OpenOutside(PathBuf),

    /// Show the page for reading a photograph of a test print.
    Photograph,
    /// Change what was typed or dragged for it.
    SetPhotoForm(Box<PhotoForm>),
    /// Read the photograph.
    ReadPhoto,
    /// Cancel reading it.
    CancelPhoto,
    /// Write the table of what was read.
    WritePhotoTable,

    /// Show the page for reading the finished part from photographs.
    FinishedPart,
    /// Change what was typed or chosen for it.
    SetFinishedForm(Box<FinishedForm>),
    /// Read the photographs of it.
    ReadFinished,
    /// Cancel reading them, or writing.
    CancelFinished,
    /// Write the record of what was read.
    WriteRecord,
    /// Look for the cause of what was read.
    TraceFinished,

    /// Undo the last change.
    Undo,
    /// Redo the change.
    Redo,
    /// Change the plan.
    Edit(Box<Edit>),
    /// Change the plan while something is dragged or typed: one step of undo with what follows.
    EditOn(Box<Edit>),
    /// End a drag or finish typing.
    EditDone,

    /// Select a region.
    ChooseRegion(usize),
    /// Select a region beside those that are selected, or no longer.
    ChooseToo(usize),
    /// Select all regions from the selected one to another.
    ChooseUpTo(usize),
    /// Grow the selected region's area by so much at its edge, mm; less than 0 shrinks it.
    Grow(f64),
    /// Smooth the edge of the selected region's area by the length that is set.
    Smooth,
    /// Set the length by which an area's edge is smoothed, mm.
    SmoothBy(f64),
    /// Make the selected region cover what it did not cover.
    Invert,
    /// Select a region and turn the view to it.
    ShowRegion(usize),
    /// Select the region above.
    ChooseAbove,
    /// Select the region below.
    ChooseBelow,
    /// Begin to rename the selected region.
    Rename,
    /// The text of the name that is being typed.
    TypeName(String),
    /// Accept the typed name.
    TakeName,
    /// Copy the selected region.
    Duplicate,
    /// Delete the selected region.
    Delete,
    /// Move the selected region up.
    Raise,
    /// Move the selected region down.
    Lower,
    /// Move a region in the list.
    MoveRegion {
        /// From its place,
        from: usize,
        /// to another.
        to: usize,
    },
    /// Leave the selected regions out of the print, or take them back in.
    Hide,
    /// Lock or unlock the chosen region.
    Lock,
    /// Combine the selected region with the one below it.
    Combine,
    /// Add a band around the layer cursor.
    AddBand,
    /// Add a band between two heights, mm.
    AddBandBetween(f64, f64),
    /// Drag an edge of a region's band; [`Command::EditDone`] lets go of it.
    MoveEdge {
        /// The region.
        region: usize,
        /// Which edge.
        edge: Edge,
        /// Where to, mm.
        to_mm: f64,
    },
    /// Start a new painted area.
    NewArea,
    /// Make regions of the model's own colours, so many or as many as are worth it, in place of
    /// all regions.
    OwnColours(Option<usize>),
    /// Ask for a picture to put on the part.
    AskPicture,
    /// Put a picture on the part, where it was dropped on the stage or in the middle of the view.
    PutPicture(PathBuf, Option<Pos2>),
    /// Put letters on the part.
    PutLetters,
    /// Change the selected region's picture or letters, as a step of a drag.
    SetImprint(Box<Mask>),
    /// Change the text of the selected region's letters.
    SetLetters(String),
    /// Let the selected region's blend follow its picture's greys.
    FadeAlongGreys,
    /// Make regions of the colours of the selected region's picture, so many or as many as are worth
    /// it, in place of that region.
    FlatColours(Option<usize>),
    /// Lay the selected picture straight, as one looks at it now.
    LayStraight,
    /// Lay the selected picture round the part's upright axis.
    LayRound,
    /// Lay the selected picture on the skin, as a sticker.
    LayOnSkin,
    /// Highlight a region on the stage, or none.
    LiftRegion(Option<usize>),

    /// Select a stop of the selected region's fade.
    ChooseStop(usize),
    /// Turn the selected region's blend into a fade.
    MakeFade,
    /// Turn the selected region's fade into one blend.
    MakeFixed,
    /// Set what a region's fade runs along, and spread its stops again.
    FadeAlong(usize, Field),
    /// Drag the numbers of what a region's fade runs along.
    MoveField(usize, Field),
    /// Add a stop to a region's fade.
    AddStop(usize),
    /// Remove a stop from a region's fade.
    RemoveStop(usize, usize),
    /// Drag a stop of a region's fade.
    MoveStop {
        /// The region.
        region: usize,
        /// The stop.
        stop: usize,
        /// Where to, mm.
        to_mm: f64,
    },

    /// Drag the share of a component in the blend that is edited.
    SetShare {
        /// The component.
        component: usize,
        /// Its share, from 0 to 1.
        share: f64,
    },
    /// Lock a component's share while others change, or unlock it.
    HoldShare(usize),
    /// Set the blend that is edited.
    SetBlend(Shares),
    /// Store the blend of a layer's dose on the ribbon under a name.
    PickOnRibbon {
        /// The layer.
        layer: usize,
        /// The dose in it.
        dose: usize,
        /// The height, mm.
        height_mm: f64,
    },
    /// Use a named blend in the selected region.
    UseBlend(String),
    /// Store the blend that is edited under a name, and use it in the region.
    NameBlend,
    /// Rename a named blend.
    RenameBlend {
        /// Its name.
        from: String,
        /// Its new name.
        to: String,
    },
    /// Remove a named blend from the list; regions with it keep its shares.
    DropBlend(String),
    /// Give the selected region its own blend.
    OwnBlend,
    /// Allow shares finer than the machine sets them, or not.
    FreeShares(bool),
    /// Find the blend closest to a colour.
    Want(Wanted),

    /// Add a spool.
    AddSpool,
    /// Ask for a file of spools.
    AskSpoolFile,
    /// Load spools from a file, or fit them to readings.
    TakeSpoolFile(PathBuf),
    /// Copy the spools into the plan.
    OwnSpools,
    /// Use the fit that waits.
    UseFit,
    /// Discard the fit that waits.
    DropFit,

    /// Select a tool.
    Take(Tool),
    /// The next mirror plane.
    NextMirror,
    /// Set the mirror plane.
    Mirror(Mirror),
    /// Change the brush by a factor.
    Brush(f64),
    /// Set the brush's radius, mm.
    BrushRadius(f64),
    /// Set the sharpest crease that a fill crosses, degrees.
    Crease(f64),
    /// Set what ends a fill.
    FillBy(FillBy),
    /// The next thing that ends a fill.
    NextFill,
    /// Set how far a fill's skin may turn away from where it began, degrees.
    Flatness(f64),
    /// Let an outline go through the part, or take only the skin in sight.
    Through,
    /// Let an outline take its area off the region, or add it.
    TakeOff,
    /// Begin an outline.
    BeginOutline(Pos2),
    /// Draw the outline on.
    GoOnOutline(Pos2),
    /// End the outline: it becomes a change of the plan.
    EndOutline,
    /// Draw straight to a place from where the last stroke ended.
    StraightTo(Pos2),
    /// Press the brush on the part.
    BeginStroke(Pos2),
    /// Move the brush.
    GoOnStroke(Pos2),
    /// Lift the brush.
    EndStroke,
    /// Click with the tool in use.
    ClickTool(Pos2),
    /// Take hold of the selected region's picture.
    BeginPlacing(Pos2),
    /// Draw what is held to a place; turns go in steps if so wanted.
    GoOnPlacing(Pos2, bool),
    /// Let go of it.
    EndPlacing,
    /// Use the tool at the middle of the stage, for work by keys.
    DabAtMiddle,

    /// Level the view.
    Level,
    /// Show the whole part.
    Fit,
    /// Look along an axis.
    LookFrom(Side),
    /// Switch between parallel and perspective.
    Lens,
    /// Turn the view by degrees around the vertical, and up or down.
    Turn(i32, i32),
    /// Turn the view by a drag, points.
    Orbit(Vec2),
    /// Shift the view by a drag, points.
    Pan(Vec2),
    /// Slide the heights up or down under the ribbon, points.
    Slide(f32),
    /// Zoom by a factor around the middle.
    Zoom(f64),
    /// Zoom by a factor around a point.
    ZoomAt(Pos2, f64),
    /// Cut the part open at the section plane, or close it.
    Cut,
    /// Turn, move or flip the section plane.
    Section(Cutting),
    /// Move the layer cursor by layers.
    Layers(i32),
    /// Put the layer cursor at a height, mm.
    CursorTo(f64),
    /// Set which colours are shown.
    Show(Look),
    /// The next kind of colours.
    NextLook,
    /// Where the window and the stage in it lie, points.
    Lay {
        /// The window.
        window: Rect,
        /// The stage.
        stage: Rect,
        /// The part of the stage that a fitted part may fill.
        fit: Rect,
    },
    /// Where the pointer is.
    Hover(Hover),

    /// Show a drawer.
    ShowDrawer(Drawer),
    /// Fold a panel at the side, or unfold it.
    Fold(SidePanel),
    /// Show a page, or change what was typed on it.
    ShowPage(Page),
    /// Close the page.
    ClosePage,
    /// Switch between light and dark.
    Appearance,
    /// Larger text and controls.
    Larger,
    /// Smaller text and controls.
    Smaller,
    /// The system's own size.
    PlainSize,
    /// Show or hide the help page.
    Help,
    /// Show or hide the keys.
    Keys,
    /// Find a command by name.
    Find,
    /// Close what is open, or cancel the stroke.
    Dismiss,
    /// Close a message.
    CloseNotice(usize),
    /// Cancel the work that is shown.
    CancelWork,
}

impl Command {
    /// Whether it moves the view of the part.
    pub fn moves_view(&self) -> bool {
        matches!(
            self,
            Self::Level
                | Self::Fit
                | Self::LookFrom(_)
                | Self::Lens
                | Self::Turn(..)
                | Self::Orbit(_)
                | Self::Pan(_)
                | Self::Slide(_)
                | Self::Zoom(_)
                | Self::ZoomAt(..)
                | Self::Cut
                | Self::Section(_)
                | Self::Layers(_)
                | Self::CursorTo(_)
                | Self::ShowRegion(_)
        )
    }
}
