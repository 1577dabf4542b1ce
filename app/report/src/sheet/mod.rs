//! One page that shows what is asked for and what will come out: the part from several sides,
//! its colours by height, spools, regions, totals, waste, and where the numbers come from.
//!
//! [`Facts`] is plain data and knows nothing of pictures; [`Sheet::run`] lays it out,
//! renders the views at just the size they get, and draws the page. Lengths of the layout
//! are in page units; [`Sheet::scale`] pixels make one of them, and a page of the least
//! height has the shape of landscape A4 (ISO 216).

mod facts;
mod footer;
mod gather;
mod header;
mod heights;
mod legend;
mod outcome;
pub(crate) mod page;
pub(crate) mod style;
pub(crate) mod text;
mod views;

use geometry::{Cancelled, Progress, SurfacePoint};

pub use facts::{Column, Fact, Facts, Heights, Mark, RegionFact, Shade, Slice, SpoolFact};
pub use page::{Placed, Rect};
pub use views::{Look, Shown};

use crate::render::{Image, Stage, View};
use page::Page;

/// Width of the page in units.
pub const WIDTH: f32 = 1400.0;
/// The least height of the page in units: landscape A4.
pub const LEAST_HEIGHT: f32 = 990.0;

/// The set-up of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// What it says.
    pub facts: Facts,
    /// The views, the most telling first.
    pub views: Vec<Shown>,
    /// Pixels to a page unit.
    pub scale: f32,
}

/// A finished sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Finished {
    /// The picture.
    pub image: Image,
    /// Where each text and picture lies, for checks.
    pub placed: Vec<Placed>,
}

/// Why there is no sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The picture would not fit in memory.
    #[error("the sheet would be too large a picture; use a smaller scale")]
    TooLarge,
}

impl Sheet {
    /// A sheet at 2 pixels to a unit: 2800 pixels wide, 240 to the inch on A4. Two views show
    /// the part as asked for and as printed side by side, three more as asked for.
    pub fn of(facts: Facts) -> Self {
        let shown = |view, look| Shown { view, look };
        Self {
            facts,
            views: vec![
                shown(View::FrontRight, Look::Asked),
                shown(View::FrontRight, Look::Printed),
                shown(View::BackLeft, Look::Asked),
                shown(View::BackLeft, Look::Printed),
                shown(View::Front, Look::Asked),
                shown(View::Back, Look::Asked),
                shown(View::Top, Look::Asked),
            ],
            scale: 2.0,
        }
    }

    /// Lays out, renders and draws. `asked` and `printed` give linear-light sRGB for a point of
    /// the skin: the colour asked for, and the one that will come out.
    ///
    /// # Errors
    /// [`SheetError`].
    pub fn run(
        &self,
        stage: &Stage,
        asked: impl Fn(SurfacePoint) -> [f64; 3] + Sync,
        printed: impl Fn(SurfacePoint) -> [f64; 3] + Sync,
        progress: &Progress,
    ) -> Result<Finished, SheetError> {
        let facts = &self.facts;
        let inner = Rect {
            x: style::MARGIN,
            y: 0.0,
            width: WIDTH - 2.0 * style::MARGIN,
            height: 0.0,
        };
        let below = legend::height(facts, inner.width)
            + outcome::height(facts, inner.width)
            + footer::height(facts, inner.width);
        let free = LEAST_HEIGHT - header::HEIGHT - below;
        let main = free.max(style::LEAST_MAIN);
        let mut page = Page::new(WIDTH, header::HEIGHT + main + below, self.scale)
            .ok_or(SheetError::TooLarge)?;

        header::draw(&mut page, facts, inner);
        let mut y = header::HEIGHT;
        let block = |y: f32, height: f32| Rect { y, height, ..inner };
        let (left, right) = block(y, main).split_right(heights::WIDTH, 40.0);
        let colour = |look: Look, point: SurfacePoint| match look {
            Look::Asked => asked(point),
            Look::Printed => printed(point),
        };
        views::draw(&mut page, left, &self.views, stage, &colour, progress)?;
        heights::draw(&mut page, right, &facts.heights);
        y += main;
        let legend = legend::height(facts, inner.width);
        legend::draw(&mut page, facts, block(y, legend));
        y += legend;
        let outcome = outcome::height(facts, inner.width);
        outcome::draw(&mut page, facts, block(y, outcome));
        y += outcome;
        footer::draw(
            &mut page,
            facts,
            block(y, footer::height(facts, inner.width)),
        );
        Ok(page.finish())
    }
}
