//! The bodies drawn apart from each other.

use std::sync::Arc;

use bodies::Bodies;
use geometry::{Cancelled, DVec3, Mesh, Progress, Surface, SurfacePoint};
use render::{Camera, Frame, Image, Render, Stage, View};

/// Size of the picture.
const SIZE: (u32, u32) = (1200, 900);

/// How far bodies are drawn apart, as part of [`Bodies::apart_mm`].
const APART: f64 = 1.0;

/// The bodies apart from each other, each in its colour; none if they can't be drawn at once.
///
/// # Errors
/// [`Cancelled`].
pub fn exploded(bodies: &Bodies, progress: &Progress) -> Result<Option<Image>, Cancelled> {
    let apart = bodies.apart_mm();
    let moved = bodies.bodies.iter().zip(&apart);
    let moved: Vec<Mesh> = moved
        .filter_map(|(body, by)| body.mesh.clone().map(|p| p + *by * APART).ok())
        .collect();
    let mut colours = Vec::new();
    for (body, mesh) in bodies.bodies.iter().zip(&moved) {
        let [r, g, b] = body.colour.to_xyz().to_linear_srgb();
        let colour = [r, g, b].map(|v| v.clamp(0.0, 1.0));
        colours.extend(std::iter::repeat_n(colour, mesh.triangles().len()));
    }
    let Ok(all) = Mesh::join(moved) else {
        return Ok(None);
    };
    let lowest = all.bounds().0.z;
    let Ok(all) = all.map(|p| p - DVec3::Z * lowest) else {
        return Ok(None);
    };
    let stage = Stage::new(&Surface::new(Arc::new(all)), progress)?;
    let frame = Frame {
        width: f64::from(SIZE.0),
        height: f64::from(SIZE.1),
        margin: 40.0,
    };
    let camera = Camera::fitted(View::FrontRight, stage.surface().mesh(), frame);
    let render = Render {
        width_px: SIZE.0,
        height_px: SIZE.1,
        ..Render::of(camera)
    };
    let colour = |at: SurfacePoint| colours.get(at.facet as usize).copied().unwrap_or_default();
    render.run(&stage, colour, progress).map(Some)
}
