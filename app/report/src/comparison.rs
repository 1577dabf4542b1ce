//! Two plans side by side, and where their colours differ.

use blend::{Xyz, ciede2000};
use geometry::{Cancelled, Progress, SurfacePoint};
use plan::Painted;

use crate::page::{Align, Page, Rect, style};
use crate::skin_colours::{beneath, colours};
use render::{Background, Camera, Frame, Image, Render, Stage, View};

/// Size of one view, in page units; two pixels make one.
const VIEW: f32 = 340.0;
const GAP: f32 = 20.0;
const HEAD: f32 = 120.0;
const FOOT: f32 = 90.0;
const SCALE: f32 = 2.0;
const ROWS: [View; 2] = [View::FrontRight, View::BackLeft];

/// ΔE00 at which the scale of differences ends.
pub(crate) const FULL_DE00: f64 = 10.0;

/// Why there is no picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// It would not fit in memory.
    #[error("the picture would be too large")]
    TooLarge,
}

/// Draws the part as it was, as it is, and where it differs: on the new shape, each point
/// against the nearest one of the old.
///
/// # Errors
/// [`PictureError`].
pub fn picture(
    (old_name, old): (&str, &Painted),
    (new_name, new): (&str, &Painted),
    progress: &Progress,
) -> Result<Image, PictureError> {
    let width = 3.0 * VIEW + 2.0 * GAP + 2.0 * style::MARGIN;
    let height = HEAD + ROWS.len() as f32 * VIEW + FOOT;
    let mut page = Page::new(width, height, SCALE).ok_or(PictureError::TooLarge)?;
    let room = width - 2.0 * style::MARGIN;
    let title = match new.plan().title.trim() {
        "" => new_name,
        title => title,
    };
    page.fitted(
        title,
        (style::MARGIN, 56.0),
        &style::TITLE,
        Align::Left,
        room,
    );
    let (was, is) = (
        Stage::new(old.surface(), progress)?,
        Stage::new(new.surface(), progress)?,
    );
    let differs = |point: SurfacePoint| scale(difference(old, new, point) / FULL_DE00);
    let (before, after) = (colours(old), colours(new));
    for (row, view) in ROWS.into_iter().enumerate() {
        for (column, stage) in [&was, &is, &is].into_iter().enumerate() {
            let x = style::MARGIN + column as f32 * (VIEW + GAP);
            let y = HEAD + row as f32 * VIEW;
            let image = match column {
                0 => render(stage, view, &before, progress)?,
                1 => render(stage, view, &after, progress)?,
                _ => render(stage, view, &differs, progress)?,
            };
            page.picture(&image, ((x * SCALE) as i32, (y * SCALE) as i32));
        }
    }
    for (column, (heading, note)) in [
        ("Before", old_name),
        ("Now", new_name),
        ("Where colours differ", "on the new shape"),
    ]
    .into_iter()
    .enumerate()
    {
        let x = style::MARGIN + column as f32 * (VIEW + GAP);
        page.fitted(heading, (x, 88.0), &style::HEADING, Align::Left, VIEW);
        page.fitted(note, (x, 104.0), &style::NOTE, Align::Left, VIEW);
    }
    legend(
        &mut page,
        (style::MARGIN + 2.0 * (VIEW + GAP), height - FOOT + 24.0),
        VIEW,
    );
    Ok(page.finish().image)
}

fn render(
    stage: &Stage,
    view: View,
    colour: &(impl Fn(SurfacePoint) -> [f64; 3] + Sync),
    progress: &Progress,
) -> Result<Image, Cancelled> {
    let pixels = (VIEW * SCALE) as u32;
    let frame = Frame {
        width: f64::from(pixels),
        height: f64::from(pixels),
        margin: f64::from(pixels) * 0.08,
    };
    let camera = Camera::fitted(view, stage.surface().mesh(), frame);
    let render = Render {
        width_px: pixels,
        height_px: pixels,
        background: Background::Clear,
        ..Render::of(camera)
    };
    render.run(stage, colour, progress)
}

/// ΔE00 between the colour asked for at a point and the one that the old plan asks for there.
fn difference(old: &Painted, new: &Painted, point: SurfacePoint) -> f64 {
    let there = old.surface().nearest(point.point_mm);
    ciede2000(
        old.lab_at(beneath(old, there)),
        new.lab_at(beneath(new, point)),
    )
}

/// A scale from light grey over amber to dark red, in linear light; told apart by its lightness
/// as well, for those who tell few hues apart.
pub fn scale(part: f64) -> [f64; 3] {
    const STOPS: [[u8; 3]; 4] = [[228, 226, 221], [246, 190, 84], [206, 76, 26], [94, 10, 30]];
    let place = part.clamp(0.0, 1.0) * (STOPS.len() - 1) as f64;
    let below = (place as usize).min(STOPS.len() - 2);
    let t = place - below as f64;
    let linear = |i: usize| {
        let stop = STOPS.get(i).copied().unwrap_or_default();
        Xyz::from_srgb(blend::Srgb(stop)).to_linear_srgb()
    };
    let (low, high) = (linear(below), linear(below + 1));
    [0, 1, 2].map(|i: usize| low[i] + (high[i] - low[i]) * t)
}

/// The scale of differences, at a place and so wide.
pub(crate) fn legend(page: &mut Page, (x, y): (f32, f32), width: f32) {
    const STEPS: usize = 48;
    let shades: Vec<blend::Srgb> = (0..STEPS)
        .map(|i| Xyz::from_linear_srgb(scale(i as f64 / (STEPS - 1) as f64)).to_srgb())
        .collect();
    let bar = Rect {
        x,
        y,
        width,
        height: 12.0,
    };
    page.swatch(bar, &shades);
    page.text("ΔE00 0", (x, y + 28.0), &style::NOTE, Align::Left);
    let end = format!("{FULL_DE00:.0} and more");
    page.text(&end, (x + width, y + 28.0), &style::NOTE, Align::Right);
}
