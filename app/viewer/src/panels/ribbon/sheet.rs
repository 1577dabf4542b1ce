//! What the parts of the ribbon draw with.

use blend::Shares;
use egui::{Color32, Rect};
use plan::Plan;

use super::Scale;
use crate::model::camera::Camera;
use crate::model::profile::{Piece, Profile};
use crate::theme::Palette;

/// What the ribbon shows.
pub struct View<'a> {
    /// The view of the stage, whose scale the ribbon shares.
    pub camera: Camera,
    /// The stage.
    pub stage: Rect,
    /// What is at each height.
    pub profile: &'a Profile,
    /// Whether the profile is behind the plan.
    pub stale: bool,
    /// The plan.
    pub plan: &'a Plan,
    /// The part's lowest and highest point, mm.
    pub extent_mm: (f64, f64),
    /// The chosen region.
    pub region: Option<usize>,
    /// The chosen stop of its fade.
    pub stop: Option<usize>,
    /// Whether a click stores the blend under it.
    pub picks: bool,
    /// The layer cursor, mm.
    pub cursor_mm: f64,
    /// The height that the pointer is at, on the ribbon or on the part, mm.
    pub hover_mm: Option<f64>,
    /// Heights with a warning, mm, and what it says.
    pub warnings: &'a [(f64, String)],
    /// The colour of a blend.
    pub colour: &'a dyn Fn(&Shares) -> Color32,
    /// The colour in which a piece of a layer is shown.
    pub piece_colour: &'a dyn Fn(usize, &Piece) -> Color32,
}

/// Where the ribbon's columns lie across the window.
#[derive(Clone, Copy, Debug)]
pub(super) struct Columns {
    pub(super) ruler: (f32, f32),
    pub(super) blends: (f32, f32),
    pub(super) curves: (f32, f32),
    pub(super) marks: (f32, f32),
    pub(super) lanes: (f32, f32),
}

impl Columns {
    pub(super) fn of(rect: Rect) -> Self {
        let mut x = rect.left();
        let mut next = |width: f32| {
            let from = x;
            x += width;
            (from, x)
        };
        let ruler = next(50.0);
        let blends = next(74.0);
        next(6.0);
        let curves = next(70.0);
        let marks = next(20.0);
        let lanes = (marks.1, rect.right() - 6.0);
        Self {
            ruler,
            blends,
            curves,
            marks,
            lanes,
        }
    }
}

/// Everything that the parts of the ribbon draw with.
pub(super) struct Sheet<'a> {
    pub(super) view: &'a View<'a>,
    pub(super) scale: Scale,
    pub(super) columns: Columns,
    pub(super) palette: Palette,
}
