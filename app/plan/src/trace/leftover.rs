//! How much of a colour hangs on the last traces of another spool.
//!
//! The melt chamber's model is good to a part in some hundreds. In a pale blend a strong spool's traces
//! of that size are seen; so a photograph, which reads each millimetre behind a flush, must not be
//! believed to more than that.

use blend::{Lab, MixModel, ShareLimits, Shares, ciede2000, reach};

/// How far the blend that comes out may be off what the chamber's model says, a share of it (our
/// assumption, no source).
const BLEND_OFF: f64 = 0.005;
/// How many blends stand for all, about.
const BLENDS: usize = 300;

/// The colours that spools make, each with how far it may be off for that, ΔE00.
pub(super) struct Leftover(Vec<(Lab, f64)>);

impl Leftover {
    /// Of a model's spools.
    pub(super) fn of(model: &dyn MixModel) -> Self {
        let made = reach::sample(model, ShareLimits::NONE, BLENDS);
        let made = made
            .iter()
            .map(|made| (made.lab, off(model, made.lab, &made.shares)));
        Self(made.collect())
    }

    /// How far a colour may be off, as the made one that is nearest to it, ΔE00.
    pub(super) fn error_de00(&self, lab: Lab) -> f64 {
        let far = |made: &Lab| ciede2000(*made, lab);
        let nearest = self.0.iter().min_by(|a, b| far(&a.0).total_cmp(&far(&b.0)));
        nearest.map_or(0.0, |(_, off)| *off)
    }
}

/// The most that a blend's colour changes by so much of another spool.
fn off(model: &dyn MixModel, lab: Lab, shares: &Shares) -> f64 {
    let count = shares.as_slice().len();
    let with_more = |spool: usize| {
        let weights: Vec<f64> = shares
            .as_slice()
            .iter()
            .enumerate()
            .map(|(i, share)| {
                let more = if i == spool { BLEND_OFF } else { 0.0 };
                share * (1.0 - BLEND_OFF) + more
            })
            .collect();
        let blend = Shares::from_weights(&weights).ok()?;
        Some(ciede2000(model.mix(&blend).to_lab(), lab))
    };
    (0..count).filter_map(with_more).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use blend::{KubelkaMunk, Spool, SpoolColour};

    use super::*;

    #[test]
    fn traces_of_a_strong_spool_are_seen_in_a_pale_one_and_not_the_other_way() {
        let spool = |code: &str| Spool::new("spool", SpoolColour::Hex(code.parse().expect("hex")));
        let spools = [spool("#f4f2ec"), spool("#2e3338")];
        let model = KubelkaMunk::new(&spools);
        let leftover = Leftover::of(&model);
        let error = |share: f64| {
            let blend = Shares::new(&[share, 1.0 - share]).expect("shares");
            leftover.error_de00(model.mix(&blend).to_lab())
        };
        assert!(
            error(1.0) > 2.0 && error(0.0) < 0.3,
            "{} {}",
            error(1.0),
            error(0.0)
        );
        assert!(error(0.5) < 0.5 * error(1.0), "{}", error(0.5));
    }
}
