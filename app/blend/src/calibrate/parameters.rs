//! The numbers that a fit may turn, and what is known of them beforehand.

use super::Specular;
use super::family::{Family, MOST_K2, Numbers};
use crate::mix::{MOST_EXPONENT, Plastic, Saunderson};

/// One parameter's bounds, and where it usually lies: the fit is drawn there as by one more
/// reading of that standard error. It tells only where the steps tell little.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parameter {
    pub bounds: (f64, f64),
    pub usual: f64,
    pub give: f64,
}

/// ln of a strength. The first spool's is 1; the others' are within 200 times of it.
const LOG_STRENGTH: Parameter = Parameter {
    bounds: (-5.298, 5.298),
    usual: 0.0,
    give: 1.4,
};

/// Share of the light from inside that the surface throws back: 0.6 for a refractive index
/// of 1.5, and found from 0.4 to 0.7 (common practice, no source).
const K2: Parameter = Parameter {
    bounds: (0.0, MOST_K2),
    usual: 0.6,
    give: 0.15,
};

/// The gloss of a surface of refractive index 1.5 seen straight on: ((n − 1)/(n + 1))².
const K1_USUAL: f64 = 0.04;
const K1_GIVE: f64 = 0.015;
const K1_MOST: f64 = 0.06;

/// Anything from side by side to stirred.
const STIRRING: Parameter = Parameter {
    bounds: (0.0, 1.0),
    usual: 0.5,
    give: 0.5,
};

/// ln of the exponent; presses have 1 to 3 (common practice, no source).
const LOG_EXPONENT: Parameter = Parameter {
    bounds: (0.0, MOST_LOG_EXPONENT),
    usual: std::f64::consts::LN_2,
    give: 1.0,
};
/// ln of [`MOST_EXPONENT`].
const MOST_LOG_EXPONENT: f64 = 2.995_732_273_553_991;
const _: () = assert!(MOST_EXPONENT == 20.0);

/// The parameters of one fit, in this order: ln of the strength of each spool from the second
/// on, then k2, then k1 where the readings take in the gloss, then the family's own.
#[derive(Clone, Debug)]
pub(super) struct Parameters {
    family: Family,
    strengths: usize,
    gloss: bool,
    all: Vec<Parameter>,
}

impl Parameters {
    pub(super) fn new(plastics: &[Plastic], specular: Specular, family: Family) -> Self {
        let strengths = plastics.len().saturating_sub(1);
        let gloss = specular == Specular::Included;
        let mut all = vec![LOG_STRENGTH; strengths];
        all.push(K2);
        if gloss {
            // No surface throws back more than the darkest reading.
            let least = plastics.iter().map(Plastic::least).fold(1.0, f64::min);
            let most = (0.9 * least).clamp(1e-6, K1_MOST);
            all.push(Parameter {
                bounds: (0.0, most),
                usual: K1_USUAL.min(most),
                give: K1_GIVE,
            });
        }
        match family {
            Family::Stirred | Family::SideBySide => {}
            Family::PartlyStirred => all.push(STIRRING),
            Family::Rooted => all.push(LOG_EXPONENT),
        }
        Self {
            family,
            strengths,
            gloss,
            all,
        }
    }

    pub(super) fn count(&self) -> usize {
        self.all.len()
    }

    pub(super) fn each(&self) -> impl Iterator<Item = &Parameter> {
        self.all.iter()
    }

    pub(super) fn usual(&self) -> Vec<f64> {
        self.each().map(|p| p.usual).collect()
    }

    /// Places to start from: the usual one, and with each strength a good deal more and less.
    pub(super) fn starts(&self) -> Vec<Vec<f64>> {
        let mut starts = vec![self.usual()];
        for i in 0..self.strengths {
            for shift in [-1.5, 1.5] {
                let mut start = self.usual();
                start[i] += shift;
                starts.push(start);
            }
        }
        starts
    }

    pub(super) fn numbers(&self, values: &[f64]) -> Numbers {
        let value = |i: usize| values.get(i).copied().unwrap_or(0.0);
        let logs = values.iter().take(self.strengths);
        let k1 = if self.gloss {
            value(self.strengths + 1)
        } else {
            0.0
        };
        Numbers {
            strengths: std::iter::once(1.0).chain(logs.map(|v| v.exp())).collect(),
            surface: Saunderson::nearest(k1, value(self.strengths)),
            mixing: self
                .family
                .mixing(value(self.strengths + 1 + usize::from(self.gloss))),
        }
    }
}
