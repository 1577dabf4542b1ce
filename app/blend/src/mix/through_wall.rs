//! Blends seen as walls of a thickness, for spools that light shines through.

use std::sync::Arc;

use super::{Behind, MixModel};
use crate::spectrum::Spectrum;
use crate::{Shares, Xyz};

/// A model whose blends are walls of one thickness.
///
/// What a fit says of its uncertainty was found on opaque steps, and is taken for the wall too.
pub struct ThroughWall {
    model: Arc<dyn MixModel>,
    thickness_mm: f64,
    behind: Behind,
}

impl ThroughWall {
    /// Walls of a model's blends over something they touch.
    ///
    /// ```
    /// use std::sync::Arc;
    /// use blend::{Behind, KubelkaMunk, MixModel, Shares, Spool, SpoolColour, ThroughWall};
    /// let spool = |code: &str| Spool::new("x", SpoolColour::Hex(code.parse().expect("a colour")));
    /// let model = Arc::new(KubelkaMunk::new(&[spool("#ffffff"), spool("#0050b0")]));
    /// let half = Shares::new(&[0.5, 0.5]).expect("a sum of 1");
    /// let thin = ThroughWall::new(model.clone(), 0.05, Behind::Grey(0.0));
    /// assert!(thin.mix(&half).y < model.mix(&half).y, "a dark hollow shows through");
    /// ```
    pub fn new(model: Arc<dyn MixModel>, thickness_mm: f64, behind: Behind) -> Self {
        Self {
            model,
            thickness_mm,
            behind,
        }
    }
}

impl MixModel for ThroughWall {
    fn name(&self) -> String {
        let behind = match self.behind {
            Behind::Grey(r) => format!("a backing of reflectance {r}"),
            Behind::Blend(_) => "thick plastic".to_owned(),
        };
        format!(
            "{}; walls of {} mm over {behind}",
            self.model.name(),
            self.thickness_mm
        )
    }

    fn count(&self) -> usize {
        self.model.count()
    }

    fn mix(&self, shares: &Shares) -> Xyz {
        self.model.wall(shares, self.thickness_mm, self.behind)
    }

    fn wall(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Xyz {
        self.model.wall(shares, thickness_mm, behind)
    }

    fn spectrum(&self, shares: &Shares) -> Option<Spectrum> {
        self.model
            .wall_spectrum(shares, self.thickness_mm, self.behind)
    }

    fn wall_spectrum(
        &self,
        shares: &Shares,
        thickness_mm: f64,
        behind: Behind,
    ) -> Option<Spectrum> {
        self.model.wall_spectrum(shares, thickness_mm, behind)
    }

    fn uncertainty(&self, shares: &Shares) -> Option<f64> {
        self.model.uncertainty(shares)
    }
}
