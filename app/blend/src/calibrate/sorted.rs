//! The steps of a test print, sorted for a fit.

use super::least_squares::Observation;
use super::{MeasuredStep, Specular};
use crate::mix::{MixModel, Plastic};
use crate::spectrum::Readings;
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
    /// For each spool, how many readings of it alone its colour comes from; a part of one where
    /// it is the listed one instead.
    pub alone: Vec<f64>,
    /// Every step's reading.
    pub observations: Vec<Observation>,
    /// Which steps are mixed.
    pub mixed: Vec<usize>,
}

impl Sorted {
    pub(super) fn new(listed: &[Spool], steps: &[MeasuredStep], specular: Specular) -> Self {
        let mut spools = listed.to_vec();
        let mut off_list = vec![None; spools.len()];
        let mut counts = vec![0.0; spools.len()];
        for (i, spool) in spools.iter_mut().enumerate() {
            let alone = steps.iter().filter(|s| s.alone() == Some(i));
            let readings: Vec<Lab> = alone.map(|s| s.colour.xyz().to_lab()).collect();
            if let Some(measured) = mean(&readings) {
                off_list[i] = Some(ciede2000(spool.xyz().to_lab(), measured));
                let spectrum = mean_spectrum(steps.iter().filter(|s| s.alone() == Some(i)));
                match spectrum {
                    Some(read) => spool.colour = SpoolColour::Spectrum(read),
                    // A listed spectrum says more than a colour does.
                    None if matches!(spool.colour, SpoolColour::Spectrum(_)) => continue,
                    None => spool.colour = SpoolColour::Lab(measured),
                }
                counts[i] = readings.len() as f64;
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

    /// The same with some steps of one spool alone left out, and its colour the mean of those
    /// that are left, or another one.
    pub(super) fn without(
        &self,
        steps: &[MeasuredStep],
        left_out: &[usize],
        spool: usize,
        otherwise: Lab,
    ) -> Self {
        // A listed colour that its blends go with is about half as sure as a reading.
        const LISTED: f64 = 0.25;
        let alone = steps.iter().enumerate();
        let kept = alone.filter(|(i, s)| s.alone() == Some(spool) && !left_out.contains(i));
        let readings: Vec<Lab> = kept.map(|(_, s)| s.colour.xyz().to_lab()).collect();
        let mut other = self.with_colour(spool, mean(&readings).unwrap_or(otherwise));
        if let Some(count) = other.alone.get_mut(spool) {
            *count = (readings.len() as f64).max(LISTED);
        }
        other
    }

    pub(super) fn of(&self, steps: &[usize]) -> Vec<Observation> {
        steps.iter().map(|i| self.observations[*i]).collect()
    }

    /// ΔE00 of each of some steps under a model.
    pub(super) fn differences(&self, model: &dyn MixModel, steps: &[usize]) -> Vec<f64> {
        let off = |o: Observation| ciede2000(o.measured, model.mix(&o.shares).to_lab());
        self.of(steps).into_iter().map(off).collect()
    }

    /// The same steps with one spool of another colour.
    pub(crate) fn with_colour(&self, spool: usize, colour: Lab) -> Self {
        let mut other = self.clone();
        if let Some(own) = other.spools.get_mut(spool) {
            own.colour = own.colour.moved_to(colour);
            other.plastics[spool] = Plastic::of_spool(own);
        }
        other
    }
}

/// The mean of readings that are spectra all.
fn mean_spectrum<'a>(steps: impl Iterator<Item = &'a MeasuredStep>) -> Option<Readings> {
    let each = steps.map(|step| match &step.colour {
        SpoolColour::Spectrum(readings) => Some(readings.clone()),
        SpoolColour::Hex(_) | SpoolColour::Lab(_) => None,
    });
    Readings::mean(&each.collect::<Option<Vec<Readings>>>()?)
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
