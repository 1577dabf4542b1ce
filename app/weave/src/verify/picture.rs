//! Pictures of a replayed print.

use geometry::{Cancelled, DVec3, Progress};
use plan::Painted;

use super::verified::Verified;
use render::{Background, Camera, Frame, Image, Render, Stage, View};

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// The colours as they will be laid.
    Colours,
    /// How far they are from the plan: white for none, through yellow to dark red for ΔE00 10
    /// and more.
    Differences,
}

/// Skin on which nothing is laid, linear-light sRGB: a flat grey.
const BARE: [f64; 3] = [0.35, 0.35, 0.35];

/// The difference of the darkest shade, ΔE00.
const MOST_DE00: f64 = 10.0;

/// Draws the part as it was replayed.
///
/// # Errors
/// [`Cancelled`].
pub fn picture(
    found: &Verified,
    painted: &Painted,
    shows: Shows,
    view: View,
    size_px: [u32; 2],
    progress: &Progress,
) -> Result<Image, Cancelled> {
    progress.stage("Drawing the replayed print");
    let stage = Stage::new(painted.surface(), progress)?;
    let [width_px, height_px] = size_px.map(|s| s.max(16));
    let frame = Frame {
        width: f64::from(width_px),
        height: f64::from(height_px),
        margin: f64::from(width_px.min(height_px)) * 0.05,
    };
    let camera = Camera::fitted(view, painted.surface().mesh(), frame);
    let render = Render {
        width_px,
        height_px,
        background: Background::Paper([1.0; 3]),
        ..Render::of(camera)
    };
    let printed = &found.printed;
    render.run(
        &stage,
        |at| match shows {
            Shows::Colours => printed
                .colour_at(at.point_mm)
                .map_or(BARE, |xyz| xyz.to_linear_srgb().map(|v| v.clamp(0.0, 1.0))),
            Shows::Differences => printed.de00_at(at.point_mm).map_or(BARE, shade),
        },
        progress,
    )
}

/// White, yellow, red, dark red, evenly over the differences that matter.
fn shade(de00: f64) -> [f64; 3] {
    const DARKEST: DVec3 = DVec3::new(0.12, 0.0, 0.01);
    const STOPS: [DVec3; 3] = [
        DVec3::new(0.95, 0.95, 0.95),
        DVec3::new(0.95, 0.75, 0.10),
        DVec3::new(0.80, 0.08, 0.03),
    ];
    let place = (de00 / MOST_DE00).clamp(0.0, 1.0) * STOPS.len() as f64;
    let stop = |i: usize| STOPS.get(i).copied().unwrap_or(DARKEST);
    let below = place as usize;
    let t = place - below as f64;
    (stop(below) * (1.0 - t) + stop(below + 1) * t).into()
}
