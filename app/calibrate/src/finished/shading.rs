//! How the light on a face depends on which way it faces.
//!
//! The card tells the light on its own plane alone. What falls on a face is a smooth function of
//! its normal: nine spherical harmonics hold it for a matt, convex body (R. Ramamoorthi,
//! P. Hanrahan, "On the relationship between radiance and irradiance", JOSA A 18, 2448, 2001;
//! R. Basri, D. Jacobs, "Lambertian reflectance and linear subspaces", IEEE TPAMI 25, 218, 2003;
//! both from memory). A lamp that is near makes it change with height as well, for which there is
//! one term more. The light is taken for of one colour, that on the card.

use geometry::DVec3;
use nalgebra::{DMatrix, DVector};

/// Terms of the model.
const TERMS: usize = 10;
/// Of the terms beyond the first, how large they may well be.
const SPREADS: [f64; TERMS] = [1e3, 1.0, 1.0, 1.0, 0.4, 0.4, 0.4, 0.4, 0.4, 0.25];
/// The last is for a part of this height or more, mm. Lamps that are so near that a few millimetres
/// matter are none: of a plate's heights it would make light out of the colours of its faces.
const TALL_MM: f64 = 60.0;
/// A face that faces up has the card's light; how far that may well be off.
const UP_SPREAD: f64 = 0.05;
/// How well one ratio is known: what the expectations above are weighed against.
const RATIO_SPREAD: f64 = 0.05;
/// So many ratios count as one: what strays does so together, over a patch of the skin.
pub(super) const TOGETHER: f64 = 400.0;

/// The light on a face as a share of that on the card's plane.
#[derive(Clone, Debug, PartialEq)]
pub struct Shading {
    terms: [f64; TERMS],
    /// The heights that the last term runs between, mm.
    heights_mm: (f64, f64),
    /// How far ratios stray from it, as a share; half of them are nearer.
    pub stray: f64,
}

/// What is known of the light at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// The normal: right, away from the card's lower edge, up.
    pub normal: DVec3,
    /// The height above the table, mm.
    pub up_mm: f64,
    /// The light seen over that which the colour there would have on the card.
    pub ratio: f64,
    /// How much it counts.
    pub weight: f64,
}

impl Shading {
    /// The same light on all faces.
    pub fn even() -> Self {
        let mut terms = [0.0; TERMS];
        if let Some(first) = terms.first_mut() {
            *first = 1.0;
        }
        Self {
            terms,
            heights_mm: (0.0, 1.0),
            stray: 0.0,
        }
    }

    /// The shading that ratios tell; shadows and highlights among them count for nothing. `None`
    /// where they tell nothing.
    pub fn fit(ratios: &[Ratio]) -> Option<Self> {
        let up = |ratio: &Ratio| ratio.up_mm;
        let low = ratios.iter().map(up).fold(f64::MAX, f64::min);
        let high = ratios.iter().map(up).fold(f64::MIN, f64::max);
        let mut shading = Self {
            heights_mm: (low, high.max(low + 1e-3)),
            ..Self::even()
        };
        let total: f64 = ratios.iter().map(|ratio| ratio.weight).sum();
        if total.is_nan() || total <= 0.0 {
            return None;
        }
        let middle = median(ratios.iter().map(|ratio| ratio.ratio).collect());
        if let Some(first) = shading.terms.first_mut() {
            *first = middle;
        }
        shading.stray = 0.4 * middle;
        for _ in 0..8 {
            shading.terms = shading.solved(ratios)?;
            let off = ratios.iter().map(|ratio| shading.off(ratio).abs());
            shading.stray = median(off.collect()).max(0.004);
        }
        Some(shading)
    }

    /// How well the light on a face is known before anything is seen of it, as a share of the
    /// card's.
    pub fn known_beforehand(normal: DVec3) -> f64 {
        let row = DVector::from_row_slice(&Self::even().row(normal, 0.5));
        let up = DVector::from_row_slice(&Self::even().row(DVec3::Z, 0.5));
        let mut sides = DMatrix::<f64>::zeros(TERMS, TERMS);
        sides.ger(1.0 / (UP_SPREAD * UP_SPREAD), &up, &up, 0.0);
        for (i, spread) in SPREADS.iter().enumerate() {
            if let Some(side) = sides.get_mut((i, i)) {
                *side += 1.0 / (spread * spread);
            }
        }
        let variance = sides.cholesky().map(|sides| row.dot(&sides.solve(&row)));
        variance.map_or(1.0, |v| v.max(0.0).sqrt())
    }

    /// The light on a face.
    pub fn at(&self, normal: DVec3, up_mm: f64) -> f64 {
        let row = self.row(normal, up_mm);
        row.iter().zip(self.terms).map(|(a, b)| a * b).sum()
    }

    /// How far a ratio is off, as a share of what is expected.
    pub fn off(&self, ratio: &Ratio) -> f64 {
        let expected = self.at(ratio.normal, ratio.up_mm).max(0.05);
        ratio.ratio / expected - 1.0
    }

    fn row(&self, n: DVec3, up_mm: f64) -> [f64; TERMS] {
        let (low, high) = self.heights_mm;
        [
            1.0,
            n.x,
            n.y,
            n.z,
            n.x * n.y,
            n.y * n.z,
            n.z * n.x,
            n.x * n.x - n.y * n.y,
            (3.0 * n.z * n.z - 1.0) / 2.0,
            2.0 * (up_mm - low) / (high - low) - 1.0,
        ]
    }

    /// How large the terms may well be, over the heights that are seen.
    fn spreads(&self) -> [f64; TERMS] {
        let (low, high) = self.heights_mm;
        let mut spreads = SPREADS;
        if let Some(last) = spreads.last_mut() {
            *last *= ((high - low) / TALL_MM).clamp(1e-3, 1.0);
        }
        spreads
    }

    fn solved(&self, ratios: &[Ratio]) -> Option<[f64; TERMS]> {
        let mut sides = DMatrix::<f64>::zeros(TERMS, TERMS);
        let mut known = DVector::<f64>::zeros(TERMS);
        let mut add = |row: [f64; TERMS], value: f64, weight: f64| {
            let row = DVector::from_row_slice(&row);
            known.axpy(weight * value, &row, 1.0);
            sides.ger(weight, &row, &row, 1.0);
        };
        let bound = 5.0 * self.stray.max(0.01);
        for ratio in ratios {
            let far = self.off(ratio) / bound;
            if far.abs() < 1.0 {
                let weight = ratio.weight * (1.0 - far * far).powi(2);
                let spread = RATIO_SPREAD * self.at(ratio.normal, ratio.up_mm).max(0.1);
                let weight = weight / (TOGETHER * spread * spread);
                add(self.row(ratio.normal, ratio.up_mm), ratio.ratio, weight);
            }
        }
        add(
            self.row(DVec3::Z, self.heights_mm.0),
            1.0,
            1.0 / (UP_SPREAD * UP_SPREAD),
        );
        for (i, spread) in self.spreads().into_iter().enumerate() {
            if let Some(side) = sides.get_mut((i, i)) {
                *side += 1.0 / (spread * spread);
            }
        }
        let found = sides.cholesky()?.solve(&known);
        let mut terms = [0.0; TERMS];
        for (to, from) in terms.iter_mut().zip(found.iter()) {
            *to = *from;
        }
        terms.iter().all(|v| v.is_finite()).then_some(terms)
    }
}

/// The middle one; 0 of none.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_light_on_what_looks_up_is_known_beforehand() {
        let up = Shading::known_beforehand(DVec3::Z);
        let upright = Shading::known_beforehand(-DVec3::Y);
        assert!(up < 0.06 && upright > 0.5, "{up} {upright}");
    }

    /// What is thought darker than it is, the more so the higher it lies on a plate, is no lamp that
    /// hangs millimetres above it.
    #[test]
    fn a_plate_makes_no_light_of_its_own() {
        let ratio = |i: u32| {
            let (normal, up_mm, ratio) = match i % 3 {
                0 => (DVec3::Z, 2.0, 1.1),
                1 => (DVec3::Z, 4.0, 1.4),
                _ => (-DVec3::Y, f64::from(i % 5), 0.8),
            };
            Ratio {
                normal,
                up_mm,
                ratio,
                weight: 0.1,
            }
        };
        let ratios: Vec<Ratio> = (0..3000).map(ratio).collect();
        let shading = Shading::fit(&ratios).unwrap();
        let rise = shading.at(DVec3::Z, 4.0) - shading.at(DVec3::Z, 2.0);
        assert!(rise.abs() < 0.02, "{rise}");
    }

    /// A sky and a lamp fall on a sphere: half and half by the cosine's clamp, whose nine terms
    /// leave about 2 % (the papers above).
    #[test]
    fn a_lamp_and_a_sky_are_held_and_shadows_passed_over() {
        let lamp = DVec3::new(-0.5, -0.4, 0.8).normalize();
        let lit = |n: DVec3| 0.4 * (0.5 + 0.5 * n.z) + 0.6 * n.dot(lamp).max(0.0) / lamp.z;
        let up = lit(DVec3::Z);
        let mut ratios = Vec::new();
        for i in 0..4000 {
            let z = 0.95 - 1.3 * f64::from(i) / 4000.0;
            let across = (1.0 - z * z).sqrt();
            let turn = -f64::from(i) * 2.4;
            let normal = DVec3::new(across * turn.cos(), -(across * turn.sin()).abs(), z);
            let shadow = if i % 11 == 0 { 0.5 } else { 1.0 };
            ratios.push(Ratio {
                normal,
                up_mm: f64::from(i % 50),
                ratio: shadow * lit(normal) / up,
                weight: 1.0,
            });
        }
        let shading = Shading::fit(&ratios).unwrap();
        let off = |ratio: &&Ratio| {
            let there = lit(ratio.normal) / up;
            there > 0.3 && (shading.at(ratio.normal, ratio.up_mm) / there - 1.0).abs() > 0.08
        };
        let wrong = ratios.iter().filter(off).count();
        assert!(wrong < ratios.len() / 20, "{wrong} of {}", ratios.len());
    }
}
