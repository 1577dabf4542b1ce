//! Fades: a blend at each of several stops, and how the shades are spaced between them.

use serde::{Deserialize, Serialize};

use crate::{MixModel, Shares};

/// A blend at a place along the fade.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stop {
    /// Where along the fade, mm.
    pub at_mm: f64,
    /// The blend there.
    pub shares: Shares,
}

/// How the shades are spread between the stops.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Spacing {
    /// Shares change evenly with distance.
    #[default]
    Linear,
    /// ΔE00 changes evenly with distance.
    EqualSteps,
    /// ΔE00 changes evenly with visible area: each shade gets the same share of the surface.
    EqualArea,
}

/// Two or more stops in rising order, and the spacing between them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fade {
    /// The stops.
    pub stops: Vec<Stop>,
    /// The spacing.
    #[serde(default)]
    pub spacing: Spacing,
}

/// How much of the surface lies below each place along a fade: rising from 0 to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct VisibleArea {
    /// Places, mm, rising.
    pub at_mm: Vec<f64>,
    /// Share of the area below each place, rising.
    pub below: Vec<f64>,
}

/// A fade made ready: the blend at any place along it.
#[derive(Clone, Debug, PartialEq)]
pub struct Ramp {
    knots: Vec<Stop>,
}

impl Ramp {
    /// Works out the spacing; `area` is needed by [`Spacing::EqualArea`] alone.
    pub fn new(_fade: &Fade, _model: &dyn MixModel, _area: Option<&VisibleArea>) -> Self {
        todo!()
    }

    /// The blend at a place, held at the end stops' beyond them.
    pub fn at(&self, _at_mm: f64) -> Shares {
        let _ = &self.knots;
        todo!()
    }
}
