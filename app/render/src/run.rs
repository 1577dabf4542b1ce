//! Making a picture: first hits, then free sky, then pixels.

use geometry::{Cancelled, Progress, SurfacePoint};

use super::caster::Caster;
use super::image::Image;
use super::occlusion::Occlusion;
use super::pixels::Pixels;
use super::resolve::resolve;
use super::setup::Render;
use super::stage::Stage;

impl Render {
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
        let [image] = self.run_each(stage, |point| [colour(point)], progress)?;
        Ok(image)
    }

    /// Makes a picture for each of several colourings, in the time of one: the rays are the same,
    /// and an edge in one colouring is smoothed in all of them.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub fn run_each<const N: usize>(
        &self,
        stage: &Stage,
        colours: impl Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
        progress: &Progress,
    ) -> Result<[Image; N], Cancelled> {
        let caster = Caster {
            render: self,
            stage,
            colours: &colours,
            eye: self.camera.eye(self.width_px, self.height_px),
        };
        let centres = Pixels::cast(&caster, progress, 0.0..0.3)?;
        let occlusion = Occlusion::cast(&caster, &centres, progress, 0.3..0.6)?;
        resolve(&centres, &caster, &occlusion, progress, 0.6..1.0)
    }
}
