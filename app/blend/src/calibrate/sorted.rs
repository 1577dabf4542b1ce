//! The steps of a test print, sorted for a fit.

use super::least_squares::Observation;
use super::{MeasuredStep, Specular};
use crate::mix::{MixModel, Plastic};
use crate::{Lab, Spool, SpoolColour, ciede2000};

/// The steps sorted into those of one spool alone and those of several.
#[derive(Clone)]
pub(super) struct Sorted {
    /// The spools, each with the colour that it was measured with alone.
    pub spools: Vec<Spool>,
    pub plastics: Vec<Plastic>,
    pub specular: Specular,
    /// For each spool measured alone, how far it is from the colour that it is listed with.
    pub off_list: Vec<Option<f64>>,
    /// For each spool, how many readings of it alone its colour comes from.
    pub alone: Vec<usize>,
    /// Every step's reading.
    pub observations: Vec<Observation>,
    /// Which steps are mixed.
    pub mixed: Vec<usize>,
}

impl Sorted {
    pub fn new(listed: &[Spool], steps: &[MeasuredStep], specular: Specular) -> Self {
        let mut spools = listed.to_vec();
        let mut off_list = vec![None; spools.len()];
        let mut counts = vec![0; spools.len()];
        for (i, spool) in spools.iter_mut().enumerate() {
            let alone = steps.iter().filter(|s| s.alone() == Some(i));
            let readings: Vec<Lab> = alone.map(|s| s.colour.xyz().to_lab()).collect();
            if let Some(measured) = mean(&readings) {
                off_list[i] = Some(ciede2000(spool.xyz().to_lab(), measured));
                if !matches!(spool.colour, SpoolColour::Spectrum(_)) {
                    counts[i] = readings.len();
                    spool.colour = SpoolColour::Lab(measured);
                }
            }
        }
        let observe = |s: &MeasuredStep| Observation::new(s.shares, s.colour.xyz().to_lab());
        let is_mixed = |i: &usize| steps[*i].alone().is_none();
        Self {
            plastics: spools.iter().map(Plastic::of_spool).collect(),
            specular,
            off_list,
            alone: counts,
            observations: steps.iter().map(observe).collect(),
            mixed: (0..steps.len()).filter(is_mixed).collect(),
            spools,
        }
    }

    pub fn of(&self, steps: &[usize]) -> Vec<Observation> {
        steps.iter().map(|i| self.observations[*i]).collect()
    }

    /// ΔE00 of each of some steps under a model.
    pub fn differences(&self, model: &dyn MixModel, steps: &[usize]) -> Vec<f64> {
        let off = |o: Observation| ciede2000(o.measured, model.mix(&o.shares).to_lab());
        self.of(steps).into_iter().map(off).collect()
    }

    /// The same steps with one spool of another colour.
    pub fn with_colour(&self, spool: usize, colour: Lab) -> Self {
        let mut other = self.clone();
        if let Some(own) = other.spools.get_mut(spool) {
            own.colour = SpoolColour::Lab(colour);
            other.plastics[spool] = Plastic::of_spool(own);
        }
        other
    }
}

fn mean(colours: &[Lab]) -> Option<Lab> {
    let count = colours.len() as f64;
    (!colours.is_empty()).then(|| Lab {
        l: colours.iter().map(|c| c.l).sum::<f64>() / count,
        a: colours.iter().map(|c| c.a).sum::<f64>() / count,
        b: colours.iter().map(|c| c.b).sum::<f64>() / count,
    })
}

pub(super) fn rms(values: &[f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}
