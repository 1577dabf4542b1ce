//! Pictures of the demonstration parts for the start page.

use std::sync::Arc;

use geometry::{Progress, Surface};
use plan::{Painted, Plan};
use render::{Camera, Frame, Render, Stage, View};

use super::Stop;

/// Size of a picture, pixels: twice that of its place on the card.
const SIZE_PX: (u32, u32) = (508, 400);

/// A demonstration on the start page.
#[derive(Clone)]
pub struct Card {
    /// Its name, by which it is opened.
    pub name: String,
    /// What it is.
    pub title: String,
    /// What it shows.
    pub about: String,
    /// Its picture, once it is drawn.
    pub picture: Option<Arc<Picture>>,
}

/// A picture, row by row from the top.
#[derive(Debug, PartialEq)]
pub struct Picture {
    /// Pixels across and down.
    pub size_px: [usize; 2],
    /// Red, green, blue and opacity of each, not premultiplied.
    pub rgba: Vec<u8>,
}

/// The cards without pictures.
///
/// # Errors
/// In words, when a part can't be made.
pub fn blank() -> Result<Vec<Card>, String> {
    let demos = demo_models::all().map_err(|e| e.to_string())?;
    Ok(demos.iter().map(card).collect())
}

fn card(demo: &demo_models::Demo) -> Card {
    Card {
        name: demo.name.to_owned(),
        title: demo.title.to_owned(),
        about: demo.about.to_owned(),
        picture: None,
    }
}

/// Draws the pictures.
///
/// # Errors
/// [`Stop`] when a part can't be made, or when cancelled.
pub fn run(progress: &Progress) -> Result<Vec<Card>, Stop> {
    let demos = demo_models::all().map_err(|e| Stop::failed(&e))?;
    let mut cards = Vec::new();
    for demo in demos {
        let mut card = card(&demo);
        card.picture = Some(Arc::new(picture(demo, progress)?));
        cards.push(card);
    }
    Ok(cards)
}

fn picture(demo: demo_models::Demo, progress: &Progress) -> Result<Picture, Stop> {
    let plan = Plan::from_ron(demo.plan_ron).map_err(|e| Stop::failed(&e))?;
    let model = plan.model();
    let surface = Surface::new(Arc::new(demo.mesh));
    let painted =
        Painted::new(plan, surface.clone(), model, progress).map_err(super::repaint::stop)?;
    let stage = Stage::new(&surface, progress)?;
    let frame = Frame {
        width: f64::from(SIZE_PX.0),
        height: f64::from(SIZE_PX.1),
        margin: 30.0,
    };
    let render = Render {
        width_px: SIZE_PX.0,
        height_px: SIZE_PX.1,
        ..Render::of(Camera::fitted(View::FrontRight, surface.mesh(), frame))
    };
    let image = render.run(&stage, report::skin_colours::colours(&painted), progress)?;
    Ok(Picture {
        size_px: [image.width_px() as usize, image.height_px() as usize],
        rgba: image.rgba().to_vec(),
    })
}
