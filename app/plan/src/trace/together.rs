//! What the colours of a photographed print are off together.
//!
//! A camera's own matrix is off by as much for colours that are alike, and the light on the faces is
//! misjudged alike where they are near each other. Both are taken for normal and smooth: Gaussian
//! processes over the colour and over the height (C. Rasmussen, C. Williams, *Gaussian Processes for
//! Machine Learning*, 2006, from memory), whose covariance of the readings is split into its
//! largest parts.

use blend::colour::LocalMetric;
use blend::{Lab, Xyz};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn, SymmetricEigen};

use super::Together;

/// Colours so far apart in CIELAB share little of a camera's error, and what of its variance all
/// colours share: by the rendered photographs of docs/photographs.md.
const CAMERA: Alike = Alike {
    colour: 15.0,
    common: 0.1,
};
/// The same of the light's error.
const LIGHT: Alike = Alike {
    colour: 30.0,
    common: 0.3,
};
/// Of the height of the part: faces so far apart share little of the light's error; by the same.
const NEAR: f64 = 0.15;
/// The most parts that a covariance is split into.
const MOST_PARTS: usize = 16;
/// Places that a covariance is split by.
const MOST_PLACES: usize = 150;
/// Rounds that splitting it may take.
const MOST_ROUNDS: usize = 10_000;
/// Nothing is further off than this together, ΔE00.
const MOST_OFF: f64 = 100.0;
/// Parts that are smaller than this beside the readings' own variance change nothing.
const LEAST: f64 = 0.05;

/// The part of the covariance of all readings, in usual errors, that they share.
pub(super) struct Shared(Option<Known>);

/// How errors of colours go together.
struct Alike {
    colour: f64,
    common: f64,
}

impl Alike {
    /// What of their variance two colours share that are so near otherwise.
    fn share(&self, one: &Place, other: &Place, near_otherwise: f64) -> f64 {
        let apart = one.lab.iter().zip(other.lab).map(|(a, b)| (a - b).powi(2));
        let like = near(apart.sum::<f64>().sqrt() / self.colour);
        self.common + (1.0 - self.common) * like * near_otherwise
    }
}

struct Known {
    /// A column for each part, a row for each number.
    parts: DMatrix<f64>,
    /// 1 + partsᵀ parts.
    inner: Cholesky<f64, Dyn>,
}

/// A colour among what was seen.
pub(super) struct Place {
    /// Its first number.
    row: usize,
    /// Its height, 1 at the part's top.
    height: f64,
    lab: [f64; 3],
    camera: f64,
    /// How it looks where there is more light than thought, in usual errors.
    lighter: [f64; 3],
}

impl Place {
    /// A colour whose first number is in a row, at a share of the part's height, with the usual
    /// error of reading it.
    pub(super) fn new(row: usize, height: f64, lab: Lab, together: Together, usual: f64) -> Self {
        let usual = usual.max(1e-9);
        let brighter = Xyz::from_lab(lab).to_array().map(|v| 1.05 * v);
        let lighter = LocalMetric::at(lab).difference(Xyz::from_array(brighter).to_lab());
        let length = lighter.iter().map(|v| v * v).sum::<f64>().sqrt().max(1e-9);
        // The usual error is that of all three axes together.
        let along = 3f64.sqrt() * together.lightness_de00.min(MOST_OFF) / usual;
        Self {
            row,
            height,
            lab: [lab.l, lab.a, lab.b],
            camera: together.camera_de00.min(MOST_OFF) / usual,
            lighter: lighter.map(|v| v / length * along),
        }
    }
}

impl Shared {
    /// Of colours among so many numbers.
    pub(super) fn of(places: &[Place], rows: usize) -> Self {
        let camera = split(places, |one, other| {
            one.camera * other.camera * CAMERA.share(one, other, 1.0)
        });
        let light = split(places, |one, other| {
            if one.lighter == [0.0; 3] || other.lighter == [0.0; 3] {
                return 0.0;
            }
            let high = near((one.height - other.height) / NEAR);
            LIGHT.share(one, other, high)
        });
        let mut columns: Vec<DVector<f64>> = Vec::new();
        for part in camera {
            for axis in 0..3 {
                let mut column = DVector::zeros(rows);
                for (place, value) in places.iter().zip(part.iter()) {
                    column[place.row + axis] = *value;
                }
                columns.push(column);
            }
        }
        for part in light {
            let mut column = DVector::zeros(rows);
            for (place, value) in places.iter().zip(part.iter()) {
                for (axis, lighter) in place.lighter.iter().enumerate() {
                    column[place.row + axis] = value * lighter;
                }
            }
            columns.push(column);
        }
        columns.retain(|column| column.norm_squared() > LEAST);
        if columns.is_empty() {
            return Self(None);
        }
        let parts = DMatrix::from_columns(&columns);
        let mut inner = parts.transpose() * &parts;
        for i in 0..inner.nrows() {
            inner[(i, i)] += 1.0;
        }
        Self(inner.cholesky().map(|inner| Known { parts, inner }))
    }

    /// aᵀ(1 + parts partsᵀ)⁻¹b = aᵀb − aᵀ parts (1 + partsᵀ parts)⁻¹ partsᵀ b.
    pub(super) fn product(&self, a: &DMatrix<f64>, b: &DMatrix<f64>) -> DMatrix<f64> {
        let plain = a.transpose() * b;
        match &self.0 {
            None => plain,
            Some(Known { parts, inner }) => {
                let (a, b) = (parts.transpose() * a, parts.transpose() * b);
                plain - a.transpose() * inner.solve(&b)
            }
        }
    }
}

/// 1 for none apart, falling as a bell does.
fn near(apart: f64) -> f64 {
    (-0.5 * apart * apart).exp()
}

/// The largest parts of a covariance: each the root of its variance along its direction. Of many
/// places those of a few stand for all (C. Williams, M. Seeger, "Using the Nyström Method to Speed
/// Up Kernel Machines", 2001, from memory).
fn split(places: &[Place], covariance: impl Fn(&Place, &Place) -> f64) -> Vec<DVector<f64>> {
    let every = places.len().div_ceil(MOST_PLACES).max(1);
    let few: Vec<&Place> = places.iter().step_by(every).collect();
    let with_few = |all: &[&Place]| {
        let pair = |i: usize, j: usize| Some(covariance(all.get(i)?, few.get(j)?));
        DMatrix::from_fn(all.len(), few.len(), |i, j| pair(i, j).unwrap_or(0.0))
    };
    let among = with_few(&few);
    if among.iter().all(|v| *v == 0.0) || !among.iter().all(|v| v.is_finite()) {
        return Vec::new();
    }
    let Some(found) = SymmetricEigen::try_new(among, f64::EPSILON, MOST_ROUNDS) else {
        return Vec::new();
    };
    let all = with_few(&places.iter().collect::<Vec<_>>());
    let mut order: Vec<usize> = (0..few.len()).collect();
    order.sort_by(|a, b| found.eigenvalues[*b].total_cmp(&found.eigenvalues[*a]));
    let parts = order.into_iter().take(MOST_PARTS);
    parts
        .filter(|i| found.eigenvalues[*i] > 1e-9)
        .map(|i| &all * found.eigenvectors.column(i) / found.eigenvalues[i].sqrt())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(count: usize) -> Vec<Place> {
        let together = Together {
            camera_de00: 1.2,
            lightness_de00: 3.0,
        };
        let place = |i: usize| {
            let along = i as f64 / count as f64;
            let lab = Lab {
                l: 30.0 + 60.0 * along,
                a: -5.0,
                b: -30.0 + 35.0 * along,
            };
            Place::new(3 * i, along, lab, together, 0.7)
        };
        (0..count).map(place).collect()
    }

    /// Woodbury's identity, by the inverse itself.
    #[test]
    fn products_are_those_of_the_inverse_covariance() {
        let places = places(12);
        let shared = Shared::of(&places, 36);
        let parts = &shared.0.as_ref().expect("parts").parts;
        let whole = DMatrix::identity(36, 36) + parts * parts.transpose();
        let inverse = whole.try_inverse().expect("an inverse");
        let a = DMatrix::from_fn(36, 2, |i, j| ((i * 7 + j * 3) % 11) as f64 - 5.0);
        let b = DMatrix::from_fn(36, 3, |i, j| ((i * 5 + j) % 13) as f64 - 6.0);
        let far = shared.product(&a, &b) - a.transpose() * inverse * b;
        assert!(far.amax() < 1e-9, "{far}");
    }

    #[test]
    fn what_all_share_costs_little_and_what_one_has_alone_costs_all() {
        let places = places(30);
        let shared = Shared::of(&places, 90);
        let cost = |off: &DMatrix<f64>| shared.product(off, off).sum() / off.norm_squared();
        let lighter = |counts: &dyn Fn(usize) -> f64| {
            let mut off = DMatrix::zeros(90, 1);
            for (i, place) in places.iter().enumerate() {
                for (axis, v) in place.lighter.iter().enumerate() {
                    off[(place.row + axis, 0)] = v * counts(i);
                }
            }
            off
        };
        let all = cost(&lighter(&|_| 1.0));
        let every_second = cost(&lighter(&|i| if i % 2 == 0 { 1.0 } else { -1.0 }));
        assert!(all < 0.05 && every_second > 0.8, "{all} {every_second}");
        // A colorimeter's readings share nothing.
        let lab = Lab {
            l: 50.0,
            a: 0.0,
            b: 0.0,
        };
        let alone = [Place::new(0, 0.5, lab, Together::default(), 1.5)];
        let off = DMatrix::from_element(3, 1, 2.0);
        assert!(Shared::of(&alone, 3).0.is_none());
        assert_eq!(Shared::of(&alone, 3).product(&off, &off).sum(), 12.0);
    }
}
