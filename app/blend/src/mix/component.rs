//! Absorption and scattering of one spool's plastic.

use super::{Saunderson, absorption_and_scattering, k_over_s};
use crate::Spool;
use crate::spectrum::{BANDS, Spectrum};

/// Scattering that an opaque spool is taken to have, per mm: a white plastic of it hides its
/// backing to within about 3 % at 1 mm. An assumption, no source; it tells how strongly a
/// translucent spool, whose scattering is measured, tints an opaque one.
pub const OPAQUE_SCATTER_PER_MM: f64 = 10.0;

/// The most absorption that an opaque spool is taken to have, for a scattering of 1. It is
/// the K/S of a plastic measured at 2 % reflectance through the usual surface, about as dark
/// as pigmented plastic gets (common practice, no source). Where a colour is darker than that,
/// as a black from a screen is, the plastic is taken to scatter less and not to absorb more;
/// otherwise a trace of it would drown any white.
const MOST_ABSORPTION: f64 = 10.0;

/// Reflectance inside the plastic is kept this far from 0 and 1.
const INSIDE_MARGIN: f64 = 1e-6;

/// Absorption K and scattering S of one component in each band, for an opaque spool's
/// scattering of 1 (times [`OPAQUE_SCATTER_PER_MM`] for values per mm).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Absorption.
    pub k: [f64; BANDS],
    /// Scattering.
    pub s: [f64; BANDS],
}

/// A spool's plastic as its readings show it, with the surface's part still in them.
#[derive(Clone, Debug, PartialEq)]
pub enum Plastic {
    /// Read where it hides what lies behind it.
    Opaque(Box<Spectrum>),
    /// Read over two backings.
    OverBackings(Box<OverBackings>),
}

/// A piece of plastic read over black and over white.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverBackings {
    /// Its reflectance over black and over white.
    pub read: [Spectrum; 2],
    /// Reflectance of the black and of the white backing.
    pub backings: [f64; 2],
    /// Its thickness.
    pub thickness_mm: f64,
}

impl Plastic {
    /// A spool's plastic: from its readings over black and white if it has them, from its
    /// colour taken as opaque if not.
    pub fn of_spool(spool: &Spool) -> Self {
        match &spool.translucent {
            None => Self::Opaque(Box::new(spool.spectrum())),
            Some(piece) => Self::OverBackings(Box::new(OverBackings {
                read: [piece.over_black.spectrum(), piece.over_white.spectrum()],
                backings: [piece.black_reflectance, piece.white_reflectance],
                thickness_mm: piece.thickness_mm,
            })),
        }
    }

    /// K and S behind a surface.
    pub fn component(&self, surface: Saunderson) -> Component {
        match self {
            Self::Opaque(measured) => Component::opaque(measured, surface),
            Self::OverBackings(piece) => Component::over_backings(piece, surface),
        }
    }

    /// The least reflectance that was read in any band.
    pub fn least(&self) -> f64 {
        match self {
            Self::Opaque(measured) => measured.least(),
            Self::OverBackings(piece) => piece.read[0].least(),
        }
    }
}

impl Component {
    /// A spool's plastic behind a surface, with a tinting strength of 1.
    pub fn of_spool(spool: &Spool, surface: Saunderson) -> Self {
        Plastic::of_spool(spool).component(surface)
    }

    /// A plastic that hides what lies behind it, from its measured reflectance. S is 1, as the
    /// single-constant theory has it, save where the colour is too dark for that (see the
    /// source).
    pub fn opaque(measured: &Spectrum, surface: Saunderson) -> Self {
        let mut component = Self {
            k: [0.0; BANDS],
            s: [1.0; BANDS],
        };
        for (i, measured) in measured.0.iter().enumerate() {
            let inside = surface.inside(*measured);
            let ratio = k_over_s(inside.clamp(INSIDE_MARGIN, 1.0 - INSIDE_MARGIN));
            component.k[i] = ratio.min(MOST_ABSORPTION);
            component.s[i] = (MOST_ABSORPTION / ratio).min(1.0);
        }
        component
    }

    /// A plastic read over black and over white.
    pub fn over_backings(piece: &OverBackings, surface: Saunderson) -> Self {
        let [over_black, over_white] = &piece.read;
        let [black, white] = piece.backings;
        // Where the two readings agree the layer hides: as good as an opaque spool.
        let mut component = Self::opaque(over_black, surface);
        let inside = |r: f64| surface.inside(r).clamp(INSIDE_MARGIN, 1.0 - INSIDE_MARGIN);
        for i in 0..BANDS {
            let readings = [
                (inside(over_black.0[i]), black),
                (inside(over_white.0[i]), white),
            ];
            if let Some((k, s)) = absorption_and_scattering(readings, piece.thickness_mm) {
                component.k[i] = k / OPAQUE_SCATTER_PER_MM;
                component.s[i] = s / OPAQUE_SCATTER_PER_MM;
            }
        }
        component
    }

    /// The same plastic with a tinting strength: K and S both times it.
    pub fn with_strength(mut self, strength: f64) -> Self {
        for value in self.k.iter_mut().chain(&mut self.s) {
            *value *= strength;
        }
        self
    }
}
