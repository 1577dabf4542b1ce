//! Mixing models: from shares to a colour. One file a model.

mod linear_light;

use crate::{Shares, Xyz};

pub use linear_light::LinearLight;

/// What a blend of the spools looks like.
pub trait MixModel: Send + Sync {
    /// The model's name and where its numbers come from, for the sheet.
    fn name(&self) -> String;

    /// How many components it mixes.
    fn count(&self) -> usize;

    /// The colour of a blend of opaque plastic.
    fn mix(&self, shares: &Shares) -> Xyz;

    /// One standard error of the predicted colour as ΔE00, where a fit tells it.
    fn uncertainty(&self, _shares: &Shares) -> Option<f64> {
        None
    }
}
