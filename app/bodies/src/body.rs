//! One body.

use blend::{Shares, Srgb};
use geometry::inspect::Inspection;
use geometry::{DVec3, Mesh};

/// One body, and the blend that is stored for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// The number of its tool, from 0.
    pub tool: usize,
    /// What it is called: the region that most of it shows.
    pub name: String,
    /// The blend.
    pub shares: Shares,
    /// Its colour as predicted.
    pub colour: Srgb,
    /// The solid, in the part's own place.
    pub mesh: Mesh,
    /// Its volume, mm³.
    pub volume_mm3: f64,
    /// What it weighs if printed solid, g.
    pub mass_g: f64,
    /// Area of the part's skin that is of it, mm².
    pub visible_mm2: f64,
    /// Which way that faces: of length 1 where all of it faces one way.
    pub faces: DVec3,
}

impl Body {
    /// Looks it over as any mesh, and says what is wrong with it; empty for a sound one.
    pub fn faults(&self) -> Vec<String> {
        Inspection::of(&self.mesh).unmended()
    }
}
