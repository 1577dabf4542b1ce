//! The sheet's blocks, laid out and drawn.

use geometry::{Progress, SurfacePoint};
use render::{Stage, View};

use super::error::SheetError;
use super::facts::Facts;
use super::views::{Look, Shown};
use super::{footer, header, heights, legend, print_quality, views};
use crate::page::{Finished, Page, Rect, style};

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
            + print_quality::height(facts, inner.width)
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
        let outcome = print_quality::height(facts, inner.width);
        print_quality::draw(&mut page, facts, block(y, outcome));
        y += outcome;
        footer::draw(
            &mut page,
            facts,
            block(y, footer::height(facts, inner.width)),
        );
        Ok(page.finish())
    }
}
