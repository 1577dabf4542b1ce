//! What all views of one part share.

use geometry::{Cancelled, Progress, Surface};

use super::ground::Ground;
use super::normals::Normals;

/// What all views of one part share: its surface, smooth normals and shadow on the ground.
pub struct Stage {
    pub(crate) surface: Surface,
    pub(crate) normals: Normals,
    pub(crate) ground: Ground,
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
