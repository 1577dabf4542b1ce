//! The colours on the stage, and the jobs that bring the next.

use std::sync::Arc;

use blend::reach::Match;
use blend::{MixModel, ShareLimits, Srgb};
use plan::document::SpoolSet;
use plan::{External, Paint, Plan, Wall};

use crate::jobs::Job;
use crate::jobs::repaint::Repainted;
use crate::jobs::skin::Skin;
use crate::model::skin::RampRow;
use crate::model::view::Look;

/// What stands for a colour that is not known.
pub(super) const GREY: Srgb = Srgb([0x80; 3]);

/// What is drawn, and the job that draws the next.
#[derive(Default)]
pub(super) struct Colouring {
    pub(super) repaint: Option<Job<Repainted>>,
    /// The skin of the open part.
    pub(super) skin: Option<Arc<Skin>>,
    pub(super) mixing: Option<Mixing>,
    /// The plan as it is drawn.
    pub(super) drawn_plan: Option<Plan>,
    /// The plan that is being drawn.
    pub(super) ordered_plan: Option<Plan>,
    /// The revision whose colours are on the card, and how they are shown.
    pub(super) coloured: Option<(u64, Look, bool)>,
    /// The revision that is drawn.
    pub(super) drawn: Option<u64>,
    /// Row of the table of colours at which the drawn regions begin.
    pub(super) first_row: usize,
    /// The rows, some of them still in use by pieces drawn before.
    pub(super) table: Vec<RampRow>,
    /// The paints that the regions' rows are of.
    pub(super) row_paints: Vec<Paint>,
    /// Everything has to be drawn.
    pub(super) redraw_all: bool,
}

/// A model, and the spools and the wall that it was made for: making one takes a while.
pub(super) struct Mixing {
    pub(super) spools: External<SpoolSet>,
    pub(super) wall: Option<Wall>,
    pub(super) model: Arc<dyn MixModel>,
    /// The closest blend to a colour, looked for once.
    pub(super) closest: Option<(Srgb, ShareLimits, Match)>,
}
