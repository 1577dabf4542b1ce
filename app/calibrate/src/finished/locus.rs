//! All colours that the plan's spools make, and which of them a seen chromaticity belongs to.

use blend::{Lab, MixModel, ShareLimits, Xyz, ciede2000, reach};

/// How many blends are tried, about.
const BLENDS: usize = 300;
/// How far a camera's chromaticity usually is off, along a* and b* (our assumption, no source).
const CHROMA_SPREAD: f64 = 2.5;
/// How far a blend usually is from what the hotend should have made, ΔE00: weak, for this is
/// what is looked for.
const PRINTED_SPREAD: f64 = 25.0;

/// A colour that the spools make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Made {
    /// Its colour.
    pub lab: Lab,
    /// Its luminance, 1 for white.
    pub y: f64,
}

/// All colours that spools make.
pub struct Locus(Vec<Made>);

/// The colour of a locus that is likeliest, and how well its luminance is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likely {
    /// The mean of those that may be, by how likely each is: their luminance.
    pub y: f64,
    /// How far the logarithm of that may be off.
    pub spread: f64,
}

impl Locus {
    /// Of a model.
    pub fn of(model: &dyn MixModel) -> Self {
        let reached = reach::sample(model, ShareLimits::NONE, BLENDS);
        let made = reached.iter().map(|reached| Made {
            lab: reached.lab,
            y: model.mix(&reached.shares).y.max(1e-4),
        });
        Self(made.collect())
    }

    /// The luminance that a seen colour has by its chromaticity: that of the blends with the same,
    /// the nearer to what should have come out the likelier. Where its own luminance is known to
    /// so much, as a logarithm, that counts as well, and so does that of its plastic beside it with
    /// how well that is known.
    pub fn likely(
        &self,
        seen: [f64; 3],
        printed: Lab,
        known: Option<f64>,
        beside: Option<(f64, f64)>,
    ) -> Option<Likely> {
        let xyz = Xyz::from_linear_srgb(seen);
        let own = xyz.y;
        if own.is_nan() || own <= 0.0 {
            return None;
        }
        let cost = |made: &Made| {
            // The same chromaticity at the blend's own luminance.
            let there = xyz.to_array().map(|v| v * made.y / own);
            let there = Xyz::from_array(there).to_lab();
            let chroma = (there.a - made.lab.a).hypot(there.b - made.lab.b) / CHROMA_SPREAD;
            let far = ciede2000(made.lab, printed) / PRINTED_SPREAD;
            let light = known.map_or(0.0, |spread| (own / made.y).ln() / spread);
            let beside = beside.map_or(0.0, |(y, spread)| (made.y / y).ln() / spread);
            (chroma * chroma + far * far + light * light + beside * beside) / 2.0
        };
        let costs: Vec<f64> = self.0.iter().map(cost).collect();
        let least = costs.iter().copied().fold(f64::MAX, f64::min);
        let (mut sum, mut mean, mut square) = (0.0, 0.0, 0.0);
        for (made, cost) in self.0.iter().zip(&costs) {
            let weight = (least - cost).exp();
            sum += weight;
            mean += weight * made.y.ln();
            square += weight * made.y.ln().powi(2);
        }
        let mean = mean / sum;
        Some(Likely {
            y: mean.exp(),
            spread: (square / sum - mean * mean).max(0.0).sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use blend::{LinearLight, Shares, Spool, SpoolColour};

    use super::*;

    fn model(codes: &[&str]) -> LinearLight {
        let spool = |code: &&str| Spool::new("spool", SpoolColour::Hex(code.parse().unwrap()));
        let spools: Vec<Spool> = codes.iter().map(spool).collect();
        LinearLight::new(&spools)
    }

    #[test]
    fn the_chromaticity_tells_the_blend_and_so_its_luminance() {
        let model = model(&["#f2efe6", "#14507a"]);
        let locus = Locus::of(&model);
        let printed = model.mix(&Shares::new(&[0.9, 0.1]).unwrap()).to_lab();
        for share in [0.1, 0.4, 0.8] {
            let truth = model.mix(&Shares::new(&[share, 1.0 - share]).unwrap());
            // Seen in half the light.
            let seen = truth.to_linear_srgb().map(|v| 0.5 * v);
            let likely = locus.likely(seen, printed, None, None).unwrap();
            let off = (likely.y / truth.y).ln().abs();
            assert!(
                off < 0.15 && off < 2.0 * likely.spread,
                "{share}: {likely:?} {}",
                truth.y
            );
        }
        let count = |spools: usize| Locus::of(&self::model(&vec!["#808080"; spools])).0.len();
        assert_eq!((count(2), count(3)), (300, 300));
        assert!(count(8) < 340);
    }

    #[test]
    fn greys_are_known_not_to_be_told_by_it() {
        let model = model(&["#f0f0f0", "#303030"]);
        let grey = model.mix(&Shares::new(&[0.5, 0.5]).unwrap());
        let likely = Locus::of(&model)
            .likely(grey.to_linear_srgb(), grey.to_lab(), None, None)
            .unwrap();
        assert!(likely.spread > 0.3, "{likely:?}");
    }
}
