//! Subtractive mixing after Kubelka and Munk.

use super::{
    Behind, Component, OPAQUE_SCATTER_PER_MM, Reflects, Saunderson, reflectance_of_layer,
    reflectance_of_thick,
};
use crate::spectrum::{BANDS, Spectrum};
use crate::{MAX_COMPONENTS, Shares, Spool};

/// Kubelka–Munk mixing: in each band the absorption K and the scattering S of a blend are the
/// sums of its components', weighted by share.
///
/// K and S are kept apart for each component, so it is the two-constant theory. A spool known
/// by its opaque colour alone gets the same S in every band, which makes it the single-constant
/// theory with a tinting strength for each component; a spool read over black and white gets
/// both as measured. Reflection at the surface follows Saunderson.
///
/// ```
/// use blend::{KubelkaMunk, MixModel, Shares, Spool, SpoolColour};
/// let spool = |code: &str| Spool::new("x", SpoolColour::Hex(code.parse().expect("a colour")));
/// let model = KubelkaMunk::new(&[spool("#ffd800"), spool("#0050b0")]);
/// let green = model.mix(&Shares::new(&[0.5, 0.5]).expect("a sum of 1")).to_lab();
/// assert!(green.a < -10.0, "yellow and blue plastic make green: {green:?}");
/// ```
#[derive(Clone, Debug)]
pub struct KubelkaMunk {
    components: Vec<Component>,
    surface: Saunderson,
    name: String,
}

impl KubelkaMunk {
    /// Spools of equal tinting strength behind the usual surface.
    pub fn new(spools: &[Spool]) -> Self {
        let components = spools
            .iter()
            .map(|spool| Component::of_spool(spool, Saunderson::USUAL))
            .collect();
        Self::of(components, Saunderson::USUAL)
    }

    /// Components that are known already, at most [`MAX_COMPONENTS`]; more are left out.
    pub fn of(mut components: Vec<Component>, surface: Saunderson) -> Self {
        components.truncate(MAX_COMPONENTS);
        Self {
            components,
            surface,
            name: "Kubelka–Munk".to_owned(),
        }
    }

    /// The same model under a name that says where its numbers come from.
    pub fn named(self, name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            ..self
        }
    }

    /// Measured reflectance of a thick piece of a blend.
    pub fn reflectance(&self, shares: &Shares) -> Spectrum {
        let (k, mut s) = self.sums(shares);
        for (s, k) in s.iter_mut().zip(&k) {
            *s = self.surface.outside(reflectance_of_thick(k / *s));
        }
        Spectrum(s)
    }

    /// Measured reflectance of a wall of a blend over what lies behind it, touching it.
    pub(crate) fn wall_reflectance(
        &self,
        shares: &Shares,
        thickness_mm: f64,
        behind: Behind,
    ) -> Spectrum {
        let backing = match behind {
            Behind::Grey(reflectance) => [reflectance.clamp(0.0, 1.0); BANDS],
            Behind::Blend(other) => {
                let (k, s) = self.sums(&other);
                std::array::from_fn(|i| reflectance_of_thick(k[i] / s[i]))
            }
        };
        let (k, s) = self.sums(shares);
        Spectrum(std::array::from_fn(|i| {
            self.surface.outside(reflectance_of_layer(
                k[i] * OPAQUE_SCATTER_PER_MM,
                s[i] * OPAQUE_SCATTER_PER_MM,
                thickness_mm,
                backing[i],
            ))
        }))
    }

    #[inline]
    fn sums(&self, shares: &Shares) -> ([f64; BANDS], [f64; BANDS]) {
        let mut k = [0.0; BANDS];
        // So little that it tells only in a blend of nothing.
        let mut s = [1e-12; BANDS];
        for (component, share) in self.components.iter().zip(shares.as_slice()) {
            if *share == 0.0 {
                continue;
            }
            for i in 0..BANDS {
                k[i] += share * component.k[i];
                s[i] += share * component.s[i];
            }
        }
        (k, s)
    }
}

impl Reflects for KubelkaMunk {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn count(&self) -> usize {
        self.components.len()
    }

    fn reflectance(&self, shares: &Shares) -> Spectrum {
        KubelkaMunk::reflectance(self, shares)
    }

    fn wall_reflectance(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Spectrum {
        KubelkaMunk::wall_reflectance(self, shares, thickness_mm, behind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Lab, MixModel, SpoolColour, Srgb, ciede2000, spool::Translucent};
    use proptest::prelude::*;

    fn spool(code: [u8; 3]) -> Spool {
        Spool::new("x", SpoolColour::Hex(Srgb(code)))
    }

    fn shares(weights: &[f64]) -> Shares {
        Shares::from_weights(weights).expect("shares")
    }

    fn lightness(model: &dyn MixModel, weights: &[f64]) -> f64 {
        model.mix(&shares(weights)).to_lab().l
    }

    /// A trace of black darkens white far more than mixing in linear light would have it
    /// (common practice, no source).
    #[test]
    fn a_trace_of_black_in_white() {
        for black in [[0; 3], [30; 3], [45; 3]] {
            let model = KubelkaMunk::new(&[spool([245; 3]), spool(black)]);
            let trace = lightness(&model, &[0.98, 0.02]);
            assert!((45.0..80.0).contains(&trace), "{black:?}: {trace}");
            assert!(lightness(&model, &[1.0, 0.0]) > 96.0);
        }
    }

    /// By hand: reflectances 0.5 and 0.2 have K/S 0.25 and 1.6; half and half 0.925, which is
    /// R = 1.925 − √(0.925² + 1.85) = 0.2802.
    #[test]
    fn two_greys_by_hand() {
        let component = |r: f64| Component::opaque(&Spectrum::flat(r), Saunderson::NONE);
        let model = KubelkaMunk::of(vec![component(0.5), component(0.2)], Saunderson::NONE);
        let found = model.reflectance(&shares(&[1.0, 1.0])).0[17];
        let expected = 1.925 - (0.925f64 * 0.925 + 1.85).sqrt();
        assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        assert!((found - 0.2802).abs() < 1e-4, "{found}");
    }

    #[test]
    fn strength_counts_as_more_of_the_spool() {
        let [white, blue] =
            [[240; 3], [20, 60, 150]].map(|c| Component::of_spool(&spool(c), Saunderson::USUAL));
        let plain = KubelkaMunk::of(vec![white, blue], Saunderson::USUAL);
        let strong = KubelkaMunk::of(vec![white, blue.with_strength(3.0)], Saunderson::USUAL);
        let one = plain.mix(&shares(&[1.0, 3.0])).to_lab();
        let other = strong.mix(&shares(&[1.0, 1.0])).to_lab();
        assert!(ciede2000(one, other) < 1e-6);
    }

    fn translucent_spool() -> Spool {
        let lab = |l, a, b| SpoolColour::Lab(Lab { l, a, b });
        let mut spool = spool([200, 90, 60]);
        spool.translucent = Some(Translucent {
            thickness_mm: 0.8,
            over_black: lab(38.0, 25.0, 20.0),
            over_white: lab(58.0, 38.0, 34.0),
            black_reflectance: 0.02,
            white_reflectance: 0.85,
        });
        spool
    }

    /// At the thickness and over the backings of its readings a translucent spool has the
    /// colours that were read.
    #[test]
    fn a_translucent_wall_has_the_colours_it_was_read_with() {
        let spool = translucent_spool();
        let model = KubelkaMunk::new(std::slice::from_ref(&spool));
        let translucent = spool.translucent.expect("readings");
        for (reflectance, read) in [
            (translucent.black_reflectance, &translucent.over_black),
            (translucent.white_reflectance, &translucent.over_white),
        ] {
            let wall = model.wall(&Shares::SINGLE, 0.8, Behind::Grey(reflectance));
            let off = ciede2000(wall.to_lab(), read.xyz().to_lab());
            assert!(off < 0.1, "{off}");
        }
        let thick = model
            .wall(&Shares::SINGLE, 100.0, Behind::Grey(0.9))
            .to_lab();
        let opaque = model.mix(&Shares::SINGLE).to_lab();
        assert!(ciede2000(thick, opaque) < 1e-3);
    }

    #[test]
    fn a_wall_over_its_own_blend_is_opaque() {
        let model = KubelkaMunk::new(&[translucent_spool(), spool([250; 3])]);
        let blend = shares(&[0.6, 0.4]);
        let over_itself = model.wall(&blend, 0.4, Behind::Blend(blend)).to_lab();
        assert!(ciede2000(over_itself, model.mix(&blend).to_lab()) < 1e-6);
        let over_black = model.wall(&blend, 0.4, Behind::Grey(0.0)).to_lab();
        assert!(over_black.l < over_itself.l - 1.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// A spool alone has its own colour.
        #[test]
        fn pure_spools_keep_their_colour(codes in prop::collection::vec(any::<[u8; 3]>(), 1..4)) {
            let spools: Vec<Spool> = codes.iter().map(|c| spool(*c)).collect();
            let model = KubelkaMunk::new(&spools);
            for (i, own) in spools.iter().enumerate() {
                let pure = Shares::pure(i, spools.len()).expect("shares");
                let off = ciede2000(model.mix(&pure).to_lab(), own.xyz().to_lab());
                prop_assert!(off < 0.02, "{off}");
            }
        }

        /// In each band a blend lies between its components.
        #[test]
        fn blends_lie_between(codes in prop::array::uniform2(any::<[u8; 3]>()), t in 0.0..1.0) {
            let model = KubelkaMunk::new(&codes.map(spool));
            let one = model.reflectance(&shares(&[1.0, 0.0]));
            let other = model.reflectance(&shares(&[0.0, 1.0]));
            let blend = model.reflectance(&shares(&[1.0 - t, t]));
            for i in 0..BANDS {
                let (low, high) = (one.0[i].min(other.0[i]), one.0[i].max(other.0[i]));
                prop_assert!(blend.0[i] > low - 1e-9 && blend.0[i] < high + 1e-9);
            }
        }
    }
}
