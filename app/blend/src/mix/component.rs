//! Absorption and scattering of one spool's plastic.

use super::{Saunderson, absorption_and_scattering, k_over_s, reflectance_of_layer};
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

/// Two readings of a band this far apart tell how much light goes through; readings are good to
/// about as much (common practice, no source).
const TOLD_APART: f64 = 0.005;

/// A piece of which no band tells more than this hides its backing.
const LEAST_TOLD: f64 = 0.5;

/// Scattering changes slowly with the wavelength: over about so many bands it is nearly one.
const SLOWLY: f64 = 8.0;

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
    ///
    /// The two readings of a band tell scattering only where the piece lets light through. A
    /// band that it hides takes it from the others, for scattering changes slowly with the
    /// wavelength, and what it absorbs follows from that and from what was read. A piece that
    /// hides everywhere is as good as an opaque spool.
    pub(crate) fn over_backings(piece: &OverBackings, surface: Saunderson) -> Self {
        let inside = piece.inside(surface);
        let x = piece.thickness_mm;
        let [black, white] = piece.backings;
        let told = inside.map(|[b, w]| {
            let told = absorption_and_scattering([(b, black), (w, white)], x);
            let apart = (w - b).powi(2);
            told.map(|(_, s)| (s.ln(), apart / (apart + TOLD_APART * TOLD_APART)))
                .filter(|(ln_s, _)| ln_s.is_finite())
                .unwrap_or_default()
        });
        if !told.iter().any(|(_, told)| *told > LEAST_TOLD) {
            return Self::opaque(&piece.read[0], surface);
        }
        let mut component = Self {
            k: [0.0; BANDS],
            s: [0.0; BANDS],
        };
        for i in 0..BANDS {
            let (own, told_here) = told[i];
            let s = (told_here * own + (1.0 - told_here) * nearby(&told, i)).exp();
            let k = absorption_for(inside[i][0], s, x, black);
            component.k[i] = k / OPAQUE_SCATTER_PER_MM;
            component.s[i] = s / OPAQUE_SCATTER_PER_MM;
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

impl OverBackings {
    /// Both readings of each band inside the surface.
    fn inside(&self, surface: Saunderson) -> [[f64; 2]; BANDS] {
        let [over_black, over_white] = &self.read;
        let inside = |r: f64| surface.inside(r).clamp(INSIDE_MARGIN, 1.0 - INSIDE_MARGIN);
        std::array::from_fn(|i| [inside(over_black.0[i]), inside(over_white.0[i])])
    }

    /// Whether the piece hides its backing in every band, so that its readings tell no more
    /// than one over any backing.
    pub fn hides(&self) -> bool {
        let apart = |[b, w]: [f64; 2]| (w - b).powi(2);
        let told = |both| apart(both) / (apart(both) + TOLD_APART * TOLD_APART);
        let mut each = self.inside(Saunderson::USUAL).into_iter();
        !each.any(|both| told(both) > LEAST_TOLD)
    }
}

/// The logarithm of scattering around a band, from all bands that tell it, the nearer the more.
fn nearby(told: &[(f64, f64)], band: usize) -> f64 {
    let (mut sum, mut all) = (0.0, 0.0);
    for (i, (ln_s, told)) in told.iter().enumerate() {
        let away = i.abs_diff(band) as f64 / SLOWLY;
        // Far bands count a little, so that there is always one.
        let weight = told * ((-0.5 * away * away).exp() + 1e-6);
        sum += weight * ln_s;
        all += weight;
    }
    sum / all
}

/// The absorption, per mm, with which a layer of a scattering has a reflectance over a backing:
/// the more the darker, found by halving. The least where even none is too dark.
fn absorption_for(reflectance: f64, s: f64, thickness_mm: f64, backing: f64) -> f64 {
    let (mut low, mut high) = (1e-6_f64.ln(), 1e5_f64.ln());
    for _ in 0..48 {
        let middle = (low + high) / 2.0;
        match reflectance_of_layer(middle.exp(), s, thickness_mm, backing) > reflectance {
            true => low = middle,
            false => high = middle,
        }
    }
    ((low + high) / 2.0).exp()
}
