//! A blend as the strand that leaves the nozzle: stirred, side by side, or between.

use super::mixing::MOST_EXPONENT;
use super::{Behind, Component, KubelkaMunk, Mixing, Reflects, Saunderson};
use crate::spectrum::{BANDS, Spectrum};
use crate::{MAX_COMPONENTS, Shares};

/// Spools that meet as a [`Mixing`] says.
///
/// Stirred, a spool's strength is its tinting strength: K and S count so many times. Side by side
/// it is how much of the strand's outside a given volume of it covers (J. Murray, Journal of the
/// Franklin Institute 221, 1936, for reflectances by area; J. Yule and W. Nielsen, TAGA
/// Proceedings 1951, for their roots; both from memory). Partly stirred, a streak of each spool
/// covers its share of the strand and holds `stirring` times the whole blend, the rest of it the
/// spool itself; this has the intensity of segregation (1 − stirring)² of P. Danckwerts, Applied
/// Scientific Research A3, 1952 (from memory).
///
/// ```
/// use blend::mix::{Component, Mixing, Saunderson, Strand};
/// use blend::{MixModel, Shares, Spool, SpoolColour};
/// let surface = Saunderson::USUAL;
/// let spool = |code: &str| Spool::new("x", SpoolColour::Hex(code.parse().expect("a colour")));
/// let components = ["#ffd800", "#0050b0"].map(|c| Component::of_spool(&spool(c), surface));
/// let half = Shares::new(&[0.5, 0.5]).expect("a sum of 1");
/// let green_of = |mixing| {
///     Strand::new(components.to_vec(), &[1.0, 1.0], surface, mixing).mix(&half).to_lab().a
/// };
/// let stirred = green_of(Mixing::Stirred);
/// let between = green_of(Mixing::PartlyStirred { stirring: 0.5 });
/// let beside = green_of(Mixing::SideBySide { exponent: 1.0 });
/// assert!(stirred < between && between < beside, "{stirred} {between} {beside}");
/// ```
#[derive(Clone, Debug)]
pub struct Strand {
    stirred: KubelkaMunk,
    mixing: Mixing,
    /// Each spool's covering strength.
    strengths: [f64; MAX_COMPONENTS],
    /// The n-th root of each spool's own reflectance, thick; only where spools lie side by side.
    roots: Vec<[f64; BANDS]>,
}

impl Strand {
    /// Components of strength 1 and their strengths (1 where none is given), at most
    /// [`MAX_COMPONENTS`]; more are left out.
    pub fn new(
        components: Vec<Component>,
        strengths: &[f64],
        surface: Saunderson,
        mixing: Mixing,
    ) -> Self {
        let mut each = [1.0; MAX_COMPONENTS];
        for (one, strength) in each.iter_mut().zip(strengths) {
            *one = *strength;
        }
        let strong = components.into_iter().zip(&each);
        let strong = strong.map(|(c, strength)| c.with_strength(*strength));
        let stirred = KubelkaMunk::of(strong.collect(), surface);
        let roots = match mixing {
            Mixing::SideBySide { exponent } => roots(&stirred, exponent),
            Mixing::Stirred | Mixing::PartlyStirred { .. } => Vec::new(),
        };
        Self {
            stirred,
            mixing,
            strengths: each,
            roots,
        }
    }

    /// The same model under a name that says where its numbers come from.
    pub fn named(self, name: impl Into<String>) -> Self {
        let stirred = self.stirred.named(name);
        Self { stirred, ..self }
    }

    /// Measured reflectance of a thick piece of a blend.
    pub fn reflectance(&self, shares: &Shares) -> Spectrum {
        match self.mixing {
            Mixing::Stirred => self.stirred.reflectance(shares),
            Mixing::SideBySide { exponent } => self.side_by_side(shares, exponent),
            Mixing::PartlyStirred { stirring } => {
                let look = |streak: &Shares| self.stirred.reflectance(streak);
                self.averaged(self.streaks(shares, stirring), look)
            }
        }
    }

    /// Measured reflectance of a wall of a blend over what lies behind it, touching it. What lies
    /// behind is taken as stirred.
    pub(crate) fn wall_reflectance(
        &self,
        shares: &Shares,
        thickness_mm: f64,
        behind: Behind,
    ) -> Spectrum {
        let look = |streak: &Shares| self.stirred.wall_reflectance(streak, thickness_mm, behind);
        match self.mixing {
            Mixing::Stirred => look(shares),
            Mixing::PartlyStirred { stirring } => {
                self.averaged(self.streaks(shares, stirring), look)
            }
            Mixing::SideBySide { exponent } => {
                let count = self.count();
                let areas = self.areas(shares).into_iter().enumerate();
                let own = areas.filter_map(|(i, area)| Some((area, Shares::pure(i, count)?)));
                let own = own.filter(|(area, _)| *area > 0.0);
                let root = |own: &Shares| look(own).map(|r| power_root(r, exponent));
                self.averaged(own, root).map(|root| power(root, exponent))
            }
        }
    }

    /// How much of the strand's outside each spool covers.
    fn areas(&self, shares: &Shares) -> [f64; MAX_COMPONENTS] {
        let mut areas = [0.0; MAX_COMPONENTS];
        let mut all = 0.0;
        let parts = shares.as_slice().iter().zip(&self.strengths);
        for (area, (share, strength)) in areas.iter_mut().zip(parts) {
            *area = share * strength;
            all += *area;
        }
        areas.map(|area| area / all)
    }

    fn side_by_side(&self, shares: &Shares, exponent: f64) -> Spectrum {
        let mut sum = [0.0; BANDS];
        for (root, area) in self.roots.iter().zip(self.areas(shares)) {
            if area > 0.0 {
                for (sum, root) in sum.iter_mut().zip(root) {
                    *sum += area * root;
                }
            }
        }
        Spectrum(sum).map(|root| power(root, exponent))
    }

    /// The blend's streaks, each with the area that it covers.
    fn streaks(&self, shares: &Shares, stirring: f64) -> impl Iterator<Item = (f64, Shares)> {
        let all = *shares;
        let count = shares.count();
        (0..count).filter_map(move |i| {
            let area = *all.as_slice().get(i)?;
            let own = Shares::pure(i, count)?;
            (area > 0.0).then(|| (area, own.toward(&all, stirring)))
        })
    }

    /// The mean over the strand of what a blend, stirred, looks like.
    fn averaged(
        &self,
        streaks: impl Iterator<Item = (f64, Shares)>,
        look: impl Fn(&Shares) -> Spectrum,
    ) -> Spectrum {
        let mut sum = [0.0; BANDS];
        for (area, streak) in streaks {
            let seen = look(&streak);
            for (sum, seen) in sum.iter_mut().zip(seen.0) {
                *sum += area * seen;
            }
        }
        Spectrum(sum)
    }
}

/// The exponent that is worked with: what no fit and no file gives is brought into range.
fn within(exponent: f64) -> f64 {
    exponent.clamp(1.0, MOST_EXPONENT)
}

fn power(value: f64, exponent: f64) -> f64 {
    match within(exponent) {
        1.0 => value,
        n => value.powf(n),
    }
}

fn roots(stirred: &KubelkaMunk, exponent: f64) -> Vec<[f64; BANDS]> {
    let count = stirred.count();
    let own = (0..count).filter_map(|i| Shares::pure(i, count));
    let root = |shares: Shares| {
        let own = stirred.reflectance(&shares);
        own.map(|r| power_root(r, exponent)).0
    };
    own.map(root).collect()
}

fn power_root(value: f64, exponent: f64) -> f64 {
    match within(exponent) {
        1.0 => value,
        n => value.max(0.0).powf(1.0 / n),
    }
}

impl Reflects for Strand {
    fn name(&self) -> String {
        self.stirred.name()
    }

    fn count(&self) -> usize {
        self.stirred.count()
    }

    fn reflectance(&self, shares: &Shares) -> Spectrum {
        Strand::reflectance(self, shares)
    }

    fn wall_reflectance(&self, shares: &Shares, thickness_mm: f64, behind: Behind) -> Spectrum {
        Strand::wall_reflectance(self, shares, thickness_mm, behind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{MixModel, Spool, SpoolColour, Srgb, ciede2000};
    use proptest::prelude::*;

    fn components(codes: &[[u8; 3]]) -> Vec<Component> {
        let spool = |code: &[u8; 3]| Spool::new("x", SpoolColour::Hex(Srgb(*code)));
        let component = |code| Component::of_spool(&spool(code), Saunderson::USUAL);
        codes.iter().map(component).collect()
    }

    fn strand(codes: &[[u8; 3]], strengths: &[f64], mixing: Mixing) -> Strand {
        Strand::new(components(codes), strengths, Saunderson::USUAL, mixing)
    }

    fn ways() -> impl Strategy<Value = Mixing> {
        prop_oneof![
            Just(Mixing::Stirred),
            (0.0..=1.0).prop_map(|stirring| Mixing::PartlyStirred { stirring }),
            (1.0..=MOST_EXPONENT).prop_map(|exponent| Mixing::SideBySide { exponent }),
        ]
    }

    /// Worked by hand: greys of reflectance 0.64 and 0.16, half and half by area, are
    /// 0.40 side by side, and (0.8 + 0.4)²/4 = 0.36 with an exponent of 2.
    #[test]
    fn two_greys_by_hand() {
        let grey = |r| Component::opaque(&Spectrum::flat(r), Saunderson::NONE);
        let half = Shares::new(&[0.5, 0.5]).expect("shares");
        for (exponent, expected) in [(1.0, 0.40), (2.0, 0.36)] {
            let mixing = Mixing::SideBySide { exponent };
            let model = Strand::new(vec![grey(0.64), grey(0.16)], &[], Saunderson::NONE, mixing);
            let found = model.reflectance(&half).0;
            assert!((found[7] - expected).abs() < 1e-9, "{}", found[7]);
        }
    }

    /// Twice the covering strength is twice the area.
    #[test]
    fn strength_side_by_side_is_area() {
        let mixing = Mixing::SideBySide { exponent: 1.0 };
        let codes = [[240; 3], [20, 60, 150]];
        let strong = strand(&codes, &[1.0, 2.0], mixing);
        let plain = strand(&codes, &[], mixing);
        let one = strong.mix(&Shares::new(&[0.5, 0.5]).expect("shares"));
        let other = plain.mix(&Shares::from_weights(&[1.0, 2.0]).expect("shares"));
        assert!(ciede2000(one.to_lab(), other.to_lab()) < 1e-9);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// However spools meet, one alone keeps its colour, and a thick wall is opaque.
        #[test]
        fn alone_and_thick(
            codes in prop::array::uniform2(any::<[u8; 3]>()),
            strength in 0.1..10.0, t in 0.0..1.0, mixing in ways(),
        ) {
            let model = strand(&codes, &[1.0, strength], mixing);
            for (i, code) in codes.into_iter().enumerate() {
                let pure = Shares::pure(i, 2).expect("shares");
                let own = crate::Xyz::from_srgb(Srgb(code)).to_lab();
                prop_assert!(ciede2000(model.mix(&pure).to_lab(), own) < 0.02);
            }
            let blend = Shares::new(&[1.0 - t, t]).expect("shares");
            let thick = model.wall(&blend, 1e4, Behind::Grey(0.5)).to_lab();
            prop_assert!(ciede2000(thick, model.mix(&blend).to_lab()) < 1e-3);
        }

        /// The ends of the family are its other members.
        #[test]
        fn streaks_run_from_side_by_side_to_stirred(
            codes in prop::array::uniform3(any::<[u8; 3]>()),
            weights in prop::array::uniform3(0.01..1.0),
        ) {
            let blend = Shares::from_weights(&weights).expect("shares");
            for (stirring, same) in [
                (0.0, Mixing::SideBySide { exponent: 1.0 }),
                (1.0, Mixing::Stirred),
            ] {
                let one = strand(&codes, &[], Mixing::PartlyStirred { stirring }).mix(&blend);
                let other = strand(&codes, &[], same).mix(&blend);
                prop_assert!(ciede2000(one.to_lab(), other.to_lab()) < 1e-6);
            }
        }
    }
}
