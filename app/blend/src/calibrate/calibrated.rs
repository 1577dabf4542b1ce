//! The mixing model made from measured spools.

use nalgebra::DMatrix;

use super::parameters::model;
use super::{MeasuredSpools, Specular};
use crate::mix::{Behind, KubelkaMunk, MixModel, Plastic, Saunderson, known_by};
use crate::{Shares, Spool, Xyz, ciede2000};

/// Kubelka–Munk mixing with fitted strengths and surface, and a standard error on each colour.
#[derive(Clone, Debug)]
pub struct Calibrated {
    fitted: KubelkaMunk,
    /// The model with the fitted numbers moved along each axis of their error in turn, by one
    /// standard error.
    moved: Vec<KubelkaMunk>,
    /// Scatter of the readings about the fit, ΔE00.
    scatter: f64,
}

impl Calibrated {
    /// The model of a plan's spools, found in the measured spools by name. A spool that was
    /// not measured is taken by its own colour at strength 1, as the model's name then says.
    /// `None` if none of them was measured.
    pub fn new(spools: &[Spool], measured: &MeasuredSpools) -> Option<Self> {
        let places: Vec<Option<usize>> = spools
            .iter()
            .map(|s| measured.spools.iter().position(|m| m.name == s.name))
            .collect();
        let unmeasured: Vec<Spool> = spools
            .iter()
            .zip(&places)
            .filter(|(_, place)| place.is_none())
            .map(|(spool, _)| spool.clone())
            .collect();
        if unmeasured.len() == spools.len() || measured.check().is_err() {
            return None;
        }
        let plastics: Vec<Plastic> = spools
            .iter()
            .zip(&places)
            .map(|(own, place)| place.and_then(|i| measured.spools.get(i)).unwrap_or(own))
            .map(Plastic::of_spool)
            .collect();
        let with = |strengths: &[f64], surface| {
            let strength = |place: &Option<usize>| {
                place.and_then(|i| strengths.get(i)).copied().unwrap_or(1.0)
            };
            let strengths: Vec<f64> = places.iter().map(strength).collect();
            model(&plastics, &strengths, surface)
        };
        let moved = errors(measured).into_iter();
        Some(Self {
            fitted: with(&measured.strengths, measured.surface).named(name(measured, &unmeasured)),
            moved: moved.map(|(s, surface)| with(&s, surface)).collect(),
            scatter: measured
                .leave_one_out_rms_delta_e00
                .unwrap_or(measured.rms_delta_e00),
        })
    }
}

fn name(measured: &MeasuredSpools, unmeasured: &[Spool]) -> String {
    let steps = measured.steps.iter().filter(|s| !s.left_out).count();
    let mut name = format!(
        "Kubelka–Munk, fitted to {steps} measured steps (RMS {:.1} ΔE00)",
        measured.rms_delta_e00
    );
    if !measured.provenance.file.is_empty() {
        name += &format!(" from {}", measured.provenance.file);
    }
    if !unmeasured.is_empty() {
        let who: Vec<&str> = unmeasured.iter().map(|s| s.name.as_str()).collect();
        name += &format!("; {} unmeasured: {}", who.join(", "), known_by(unmeasured));
    }
    name
}

/// Strengths and surface moved by one standard error along each axis of the covariance.
fn errors(measured: &MeasuredSpools) -> Vec<(Vec<f64>, Saunderson)> {
    let size = measured.parameter_count();
    let flat = measured.covariance.iter().flatten().copied();
    let axes = DMatrix::from_iterator(size, size, flat).symmetric_eigen();
    let strengths = measured.strengths.len() - 1;
    axes.eigenvectors
        .column_iter()
        .zip(axes.eigenvalues.iter())
        .map(|(axis, variance)| {
            let by = axis * variance.max(0.0).sqrt();
            let mut moved = measured.strengths.clone();
            for (strength, by) in moved.iter_mut().skip(1).zip(by.iter()) {
                *strength *= by.exp();
            }
            let k2 = measured.surface.k2() + by[strengths];
            let k1 = match measured.specular {
                Specular::Included => measured.surface.k1() + by[strengths + 1],
                Specular::Excluded => 0.0,
            };
            (moved, Saunderson::nearest(k1, k2))
        })
        .collect()
}

impl MixModel for Calibrated {
    fn name(&self) -> String {
        self.fitted.name()
    }

    fn count(&self) -> usize {
        self.fitted.count()
    }

    fn mix(&self, shares: &Shares) -> Xyz {
        self.fitted.mix(shares)
    }

    fn wall(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Xyz {
        self.fitted.wall(shares, thickness_mm, behind)
    }

    /// The scatter of unmeasured steps about the fit, and what the error of the fitted numbers
    /// adds to it for this blend.
    fn uncertainty(&self, shares: &Shares) -> Option<f64> {
        let here = self.mix(shares).to_lab();
        let from_fit: f64 = self
            .moved
            .iter()
            .map(|m| ciede2000(here, m.mix(shares).to_lab()).powi(2))
            .sum();
        Some((from_fit + self.scatter * self.scatter).sqrt())
    }
}
