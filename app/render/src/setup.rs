//! The set-up of one picture.

use super::camera::Camera;

/// What lies behind the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Background {
    /// Nothing: the picture is see-through there, but for the shadow.
    Clear,
    /// Paper of a colour, linear-light sRGB.
    Paper([f64; 3]),
}

/// The set-up of one picture.
///
/// ```
/// # use std::sync::Arc;
/// # use geometry::{DVec3, Mesh, Progress, Surface};
/// use render::{Camera, Frame, Render, Stage, View};
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let corner = |x, y, z| DVec3::new(x, y, z);
/// let mesh = Mesh::new(
///     vec![corner(0., 0., 0.), corner(9., 0., 0.), corner(0., 9., 0.), corner(0., 0., 9.)],
///     vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]],
/// )?;
/// let stage = Stage::new(&Surface::new(Arc::new(mesh)), &Progress::new())?;
/// let frame = Frame { width: 80.0, height: 60.0, margin: 4.0 };
/// let camera = Camera::fitted(View::Front, stage.surface().mesh(), frame);
/// let render = Render { width_px: 80, height_px: 60, ..Render::of(camera) };
/// let image = render.run(&stage, |_| [0.1, 0.4, 0.5], &Progress::new())?;
/// assert_eq!((image.width_px(), image.height_px()), (80, 60));
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Render {
    /// Width of the picture, at least 1.
    pub width_px: u32,
    /// Height of the picture, at least 1.
    pub height_px: u32,
    /// Where it is seen from.
    pub camera: Camera,
    /// What lies behind.
    pub background: Background,
    /// Whether the part's soft shadow falls on the ground.
    pub shadow: bool,
    /// Samples across and down a pixel in which an edge is found; other pixels get one.
    pub edge_samples: u32,
    /// Rays that look for nearby obstacles, at each place where that is asked; 0 for none.
    pub occlusion_rays: u32,
}

impl Render {
    /// A picture of 960 × 720 on a clear background, smooth and softly lit.
    pub fn of(camera: Camera) -> Self {
        Self {
            width_px: 960,
            height_px: 720,
            camera,
            background: Background::Clear,
            shadow: true,
            edge_samples: 4,
            occlusion_rays: 6,
        }
    }
}
