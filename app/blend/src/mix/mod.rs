//! Mixing models: from shares to a colour. One file a model.
//!
//! [`KubelkaMunk`] is the one to plan with before anything is measured, [`Strand`] what a fit
//! chooses from; [`LinearLight`] stays as the yardstick.
//! [`model_for`] picks and builds the model of a set of spools.

mod component;
mod known_by;
mod kubelka_munk;
mod layer;
mod linear_light;
mod mixing;
mod model_for;
mod reflects;
mod saunderson;
mod strand;
mod through_wall;

use crate::spectrum::Spectrum;
use crate::{Shares, Xyz};

pub use component::{Component, OPAQUE_SCATTER_PER_MM, OverBackings, Plastic};
pub(crate) use known_by::known_by;
pub use kubelka_munk::KubelkaMunk;
pub use layer::{absorption_and_scattering, k_over_s, reflectance_of_layer, reflectance_of_thick};
pub use linear_light::LinearLight;
pub(crate) use mixing::MOST_EXPONENT;
pub use mixing::{Mixing, MixingError};
pub use model_for::model_for;
pub use reflects::Reflects;
pub use saunderson::{Saunderson, SurfaceError};
pub use strand::Strand;
pub use through_wall::ThroughWall;

/// What a blend of the spools looks like.
pub trait MixModel: Send + Sync {
    /// The model's name and where its numbers come from, for the sheet.
    fn name(&self) -> String;

    /// How many components it mixes.
    fn count(&self) -> usize;

    /// The colour of a blend of opaque plastic.
    fn mix(&self, shares: &Shares) -> Xyz;

    /// The colour of a wall of a blend over something else. A model that knows nothing of
    /// thickness takes every wall as opaque.
    fn wall(&self, shares: &Shares, _thickness_mm: f64, _behind: Behind) -> Xyz {
        self.mix(shares)
    }

    /// The reflectance of what [`mix`](Self::mix) gives the colour of, where the model knows it.
    fn spectrum(&self, _shares: &Shares) -> Option<Spectrum> {
        None
    }

    /// The reflectance of what [`wall`](Self::wall) gives the colour of, likewise.
    fn wall_spectrum(
        &self,
        shares: &Shares,
        _thickness_mm: f64,
        _behind: Behind,
    ) -> Option<Spectrum> {
        self.spectrum(shares)
    }

    /// One standard error of the predicted colour as ΔE00, where a fit tells it.
    fn uncertainty(&self, _shares: &Shares) -> Option<f64> {
        None
    }
}

/// What lies behind a wall, touching it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Behind {
    /// A grey of this reflectance: 0 for black (a deep hollow), 1 for a perfect white.
    Grey(f64),
    /// Thick plastic of another blend.
    Blend(Shares),
}
