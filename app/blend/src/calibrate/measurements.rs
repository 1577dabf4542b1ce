//! What was measured.

use serde::{Deserialize, Serialize};

use super::Provenance;
use crate::{Shares, Spool, SpoolColour};

/// A test print and its readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurements {
    /// The spools, in the order of the shares.
    pub spools: Vec<Spool>,
    /// The steps, in the order of printing.
    pub steps: Vec<MeasuredStep>,
    /// Whether the readings take in the gloss.
    pub specular: Specular,
    /// Where the readings come from, for the record.
    pub provenance: Provenance,
}

/// One step of the test print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredStep {
    /// What the machine was told to feed.
    pub shares: Shares,
    /// What was measured.
    pub colour: SpoolColour,
}

impl MeasuredStep {
    /// The spool that this step is of alone, if it is.
    pub(super) fn alone(&self) -> Option<usize> {
        let shares = self.shares.as_slice();
        shares.iter().position(|s| *s > 1.0 - 1e-6)
    }
}

/// How the instrument treats the gloss of the surface (ISO 13655 and CIE 15 name the
/// geometries).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Specular {
    /// It looks past the gloss: 45°:0° and specular-excluded instruments, and photographs lit
    /// from the side. k1 is 0.
    #[default]
    Excluded,
    /// It takes the gloss in: diffuse instruments with specular included. k1 is fitted.
    Included,
}
