//! Pictures of the coloured part, by casting rays at its skin.
//!
//! [`Stage`] holds what every view of a part shares; [`Render`] is one picture's set-up, and
//! [`Render::run`] makes it. Colour comes from a function of the point that a ray meets, in
//! linear-light sRGB.
//!
//! What the light does to colour is kept plain, so that a shade in the picture can be
//! compared with the legend: each colour is multiplied, in linear light, by one number from
//! [`light::DARKEST`] to 1, the same for red, green and blue. Hue and chromaticity stay, there
//! is no gloss, and where the light falls fully the picture shows the very colour asked for.

mod camera;
mod ground;
mod image;
pub mod light;
mod normals;
mod occlusion;
mod pixels;

use geometry::{Cancelled, Progress, Surface, SurfacePoint};

pub use camera::{Camera, Frame, Lens, View};
pub use ground::Ground;
pub use image::Image;

use normals::Normals;
use occlusion::Occlusion;
use pixels::Pixels;

/// What all views of one part share: its surface, smooth normals and shadow on the ground.
pub struct Stage {
    surface: Surface,
    normals: Normals,
    ground: Ground,
}

impl Stage {
    /// Prepares a part that stands on the ground `z = 0`.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub fn new(surface: &Surface, progress: &Progress) -> Result<Self, Cancelled> {
        progress.stage("Setting the light");
        Ok(Self {
            surface: surface.clone(),
            normals: Normals::of(surface.mesh()),
            ground: Ground::under(surface, progress)?,
        })
    }

    /// How far the shadow on the ground reaches beyond the part, mm.
    pub fn shadow_reach_mm(&self) -> f64 {
        self.ground.reach_mm()
    }

    /// The part.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }
}

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
/// use handoff::render::{Camera, Frame, Render, Stage, View};
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

    /// Makes the picture. `colour` gives linear-light sRGB for a point of the skin; it is
    /// asked from several threads at once.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub fn run(
        &self,
        stage: &Stage,
        colour: impl Fn(SurfacePoint) -> [f64; 3] + Sync,
        progress: &Progress,
    ) -> Result<Image, Cancelled> {
        let caster = Caster {
            render: self,
            stage,
            colour: &colour,
            eye: self.camera.eye(self.width_px, self.height_px),
        };
        let centres = Pixels::cast(&caster, progress, 0.0..0.3)?;
        let occlusion = Occlusion::cast(&caster, &centres, progress, 0.3..0.6)?;
        centres.resolve(&caster, &occlusion, progress, 0.6..1.0)
    }
}

/// Everything that one ray needs.
struct Caster<'a, F> {
    render: &'a Render,
    stage: &'a Stage,
    colour: &'a F,
    eye: camera::Eye,
}
