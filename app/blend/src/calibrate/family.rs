//! The mixing models that a fit chooses from, and the numbers that make one of them.

use serde::{Deserialize, Serialize};

use crate::Lab;
use crate::mix::{MOST_EXPONENT, Mixing, Plastic, Saunderson, Strand};

/// One member of the family; of as good as equal ones the earlier is chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Family {
    Stirred,
    SideBySide,
    PartlyStirred,
    /// Side by side with an exponent.
    Rooted,
}

impl Family {
    pub(super) const ALL: [Self; 4] = [
        Self::Stirred,
        Self::SideBySide,
        Self::PartlyStirred,
        Self::Rooted,
    ];

    /// How the spools meet, for the value of the family's own number: the stirring, or the
    /// natural logarithm of the exponent.
    pub(super) fn mixing(self, own: f64) -> Mixing {
        match self {
            Self::Stirred => Mixing::Stirred,
            Self::SideBySide => Mixing::SideBySide { exponent: 1.0 },
            Self::PartlyStirred => Mixing::PartlyStirred {
                stirring: own.clamp(0.0, 1.0),
            },
            Self::Rooted => Mixing::SideBySide {
                exponent: own.exp().clamp(1.0, MOST_EXPONENT),
            },
        }
    }
}

/// The most that a surface is taken to throw back of the light from inside. Beyond it next to
/// nothing would come out.
pub(super) const MOST_K2: f64 = 0.85;

/// The fitted numbers of a model.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Numbers {
    pub strengths: Vec<f64>,
    pub surface: Saunderson,
    pub mixing: Mixing,
}

impl Numbers {
    pub(super) fn model(&self, plastics: &[Plastic]) -> Strand {
        let components = plastics.iter().map(|p| p.component(self.surface));
        Strand::new(
            components.collect(),
            &self.strengths,
            self.surface,
            self.mixing,
        )
    }

    /// The numbers moved by so much, in the order that a covariance has.
    pub(super) fn moved(&self, gloss: bool, by: &[f64]) -> Self {
        let mut by = by.iter().copied();
        let mut next = || by.next().unwrap_or(0.0);
        let mut strengths = self.strengths.clone();
        for strength in strengths.iter_mut().skip(1) {
            *strength *= next().exp();
        }
        let k2 = (self.surface.k2() + next()).min(MOST_K2);
        let k1 = match gloss {
            true => self.surface.k1() + next(),
            false => self.surface.k1(),
        };
        let mixing = match self.mixing {
            Mixing::Stirred => Mixing::Stirred,
            Mixing::PartlyStirred { stirring } => Family::PartlyStirred.mixing(stirring + next()),
            Mixing::SideBySide { exponent } => Family::Rooted.mixing(exponent.ln() + next()),
        };
        Self {
            strengths,
            surface: Saunderson::nearest(k1, k2),
            mixing,
        }
    }
}

/// The reading of one spool alone moved by its standard error in one direction, and the numbers
/// that the mixed steps then give.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpoolMoved {
    /// The spool, from 0.
    pub spool: usize,
    /// Its colour.
    pub colour: Lab,
    /// Strength of each spool.
    pub strengths: Vec<f64>,
    /// Reflection at the surface.
    pub surface: Saunderson,
    /// How the spools meet.
    pub mixing: Mixing,
}

impl SpoolMoved {
    pub(super) fn numbers(&self) -> Numbers {
        Numbers {
            strengths: self.strengths.clone(),
            surface: self.surface,
            mixing: self.mixing,
        }
    }
}
