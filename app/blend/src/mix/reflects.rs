//! Models that know reflectances, of which colours follow.

use super::{Behind, MixModel};
use crate::spectrum::Spectrum;
use crate::{Shares, Xyz};

/// What a model that works in reflectances tells; a [`MixModel`] by that alone.
pub trait Reflects: Send + Sync {
    /// As [`MixModel::name`].
    fn name(&self) -> String;

    /// As [`MixModel::count`].
    fn count(&self) -> usize;

    /// Measured reflectance of a thick piece of a blend.
    fn reflectance(&self, shares: &Shares) -> Spectrum;

    /// Measured reflectance of a wall of a blend over what lies behind it, touching it.
    fn wall_reflectance(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Spectrum;
}

impl<T: Reflects> MixModel for T {
    fn name(&self) -> String {
        Reflects::name(self)
    }

    fn count(&self) -> usize {
        Reflects::count(self)
    }

    fn mix(&self, shares: &Shares) -> Xyz {
        Reflects::reflectance(self, shares).to_xyz()
    }

    fn wall(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Xyz {
        Reflects::wall_reflectance(self, shares, thickness_mm, behind).to_xyz()
    }

    fn spectrum(&self, shares: &Shares) -> Option<Spectrum> {
        Some(Reflects::reflectance(self, shares))
    }

    fn wall_spectrum(
        &self,
        shares: &Shares,
        thickness_mm: f64,
        behind: Behind,
    ) -> Option<Spectrum> {
        Some(Reflects::wall_reflectance(
            self,
            shares,
            thickness_mm,
            behind,
        ))
    }
}
