//! The mixing model made from measured spools.

use super::errors::{moved_by_axes, variance};
use super::family::Numbers;
use super::{MeasuredSpools, Specular};
use crate::mix::{Behind, MixModel, Plastic, Strand, known_by};
use crate::spectrum::Spectrum;
use crate::{Lab, MAX_COMPONENTS, Shares, Spool, Xyz};

/// The mixing model that was fitted, and a standard error on each colour.
#[derive(Clone, Debug)]
pub struct Calibrated {
    fitted: Strand,
    /// The model with what was read and fitted moved along each axis of its error in turn, by
    /// one standard error.
    moved: Vec<Strand>,
    /// How far the model itself is from unmeasured blends, ΔE00.
    model_error: f64,
    /// Which spools were never measured.
    unmeasured: [bool; MAX_COMPONENTS],
}

/// With less than this of other spools a blend begins to be a spool alone, whose colour was
/// read and not predicted.
const ALL_BUT_ALONE: f64 = 0.05;

impl Calibrated {
    /// The model of a plan's spools, found in the measured spools by name. A spool that was
    /// not measured is taken by its own colour at strength 1, as the model's name then says.
    /// `None` if none of them was measured.
    pub fn new(spools: &[Spool], measured: &MeasuredSpools) -> Option<Self> {
        let places: Vec<Option<usize>> = spools
            .iter()
            .map(|s| measured.spools.iter().position(|m| m.name == s.name))
            .collect();
        let strangers: Vec<Spool> = spools
            .iter()
            .zip(&places)
            .filter(|(_, place)| place.is_none())
            .map(|(spool, _)| spool.clone())
            .collect();
        if strangers.len() == spools.len() || measured.check().is_err() {
            return None;
        }
        let own = Own {
            spools,
            places: &places,
            measured,
        };
        let mut unmeasured = [false; MAX_COMPONENTS];
        for (mark, place) in unmeasured.iter_mut().zip(&places) {
            *mark = place.is_none();
        }
        Some(Self {
            fitted: own
                .model(&measured.numbers(), None)
                .named(name(measured, &strangers)),
            moved: own.moved(),
            model_error: measured.model_rms_delta_e00,
            unmeasured,
        })
    }
}

/// A plan's own spools, and where each stands among the measured ones.
struct Own<'a> {
    spools: &'a [Spool],
    places: &'a [Option<usize>],
    measured: &'a MeasuredSpools,
}

impl Own<'_> {
    /// The model of some numbers, with one measured spool of another colour perhaps.
    fn model(&self, numbers: &Numbers, other: Option<(usize, Lab)>) -> Strand {
        let both = self.spools.iter().zip(self.places);
        let plastics: Vec<Plastic> = both
            .map(|(own, place)| {
                let known = place.and_then(|i| self.measured.spools.get(i));
                match other.filter(|(spool, _)| Some(*spool) == *place) {
                    Some((_, colour)) => Plastic::of_spool(&Spool {
                        colour: known.unwrap_or(own).colour.moved_to(colour),
                        ..known.unwrap_or(own).clone()
                    }),
                    None => Plastic::of_spool(known.unwrap_or(own)),
                }
            })
            .collect();
        let strength = |place: &Option<usize>| {
            let fitted = place.and_then(|i| numbers.strengths.get(i));
            fitted.copied().unwrap_or(1.0)
        };
        let own = Numbers {
            strengths: self.places.iter().map(strength).collect(),
            ..numbers.clone()
        };
        own.model(&plastics)
    }

    fn moved(&self) -> Vec<Strand> {
        let gloss = self.measured.specular == Specular::Included;
        let numbers = self.measured.numbers();
        let by_axes = moved_by_axes(&self.measured.covariance).into_iter();
        let by_axes = by_axes.map(|by| self.model(&numbers.moved(gloss, &by), None));
        let spools = self.measured.spools_moved.iter();
        let spools = spools
            .filter(|moved| self.places.contains(&Some(moved.spool)))
            .map(|moved| self.model(&moved.numbers(), Some((moved.spool, moved.colour))));
        by_axes.chain(spools).collect()
    }
}

fn name(measured: &MeasuredSpools, unmeasured: &[Spool]) -> String {
    let steps = measured.steps.iter().filter(|s| !s.left_out).count();
    let mut name = format!(
        "{}, fitted to {steps} measured steps (RMS {:.1} ΔE00",
        measured.mixing, measured.rms_delta_e00
    );
    if let Some(rms) = measured.leave_one_out_rms_delta_e00 {
        name += &format!(", each predicted from the others {rms:.1}");
    }
    name += ")";
    if !measured.provenance.file.is_empty() {
        name += &format!(" from {}", measured.provenance.file);
    }
    if !unmeasured.is_empty() {
        let who: Vec<&str> = unmeasured.iter().map(|s| s.name.as_str()).collect();
        name += &format!("; {} unmeasured: {}", who.join(", "), known_by(unmeasured));
    }
    name
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

    fn spectrum(&self, shares: &Shares) -> Option<Spectrum> {
        self.fitted.spectrum(shares)
    }

    fn wall_spectrum(
        &self,
        shares: &Shares,
        thickness_mm: f64,
        behind: Behind,
    ) -> Option<Spectrum> {
        self.fitted.wall_spectrum(shares, thickness_mm, behind)
    }

    /// What the errors of readings and fitted numbers do to this blend, and how far the model
    /// itself is from blends that were not measured. Two in three printed blends are nearer; one
    /// reading of them scatters on top. `None` for a blend with a spool that was not measured.
    fn uncertainty(&self, shares: &Shares) -> Option<f64> {
        let parts = shares.as_slice().iter();
        if parts.zip(self.unmeasured).any(|(s, not)| not && *s > 0.0) {
            return None;
        }
        let here = self.mix(shares).to_lab();
        let most = shares.as_slice().iter().copied().fold(0.0, f64::max);
        let mixed = ((1.0 - most) / ALL_BUT_ALONE).min(1.0);
        let of_model = mixed * self.model_error;
        Some((variance(shares, here, &self.moved) + of_model * of_model).sqrt())
    }
}
