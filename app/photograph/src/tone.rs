//! A camera's tone curve, as references of known reflectance tell it.
//!
//! One fixes the scale of each channel. Two tell a power of the codes' light v as well, and three
//! that with a shoulder: exp(a + b ln v - c ln(1.5 - v)).

use nalgebra::{DMatrix, DVector};

/// Tone curves steeper or flatter than this are none of a camera.
const SLOPES: std::ops::RangeInclusive<f64> = 0.5..=3.0;
/// Where the shoulder of a tone curve would end, in the codes' light. Of bends that three greys can
/// tell, this one strays least over the fifteen cameras of the tests: L* 0.3 in the mean and 1.9 at
/// worst, where a factor that grows with the light strays by 0.5 and 3.5.
const SHOULDER: f64 = 1.5;

/// The logarithm of a reflectance by that of a share of the paper's light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Tone {
    /// The paper's own, for each channel.
    pub(crate) paper: [f64; 3],
    pub(crate) slope: f64,
    pub(crate) bend: f64,
}

impl Tone {
    /// That of sRGB, and paper that reflects everything.
    pub(crate) fn straight() -> Self {
        Self {
            paper: [0.0; 3],
            slope: 1.0,
            bend: 0.0,
        }
    }

    /// From pairs: a reflectance's logarithm, and (logarithm of the share of the paper's light,
    /// of the paper's own light) for each channel.
    pub(crate) fn fit(seen: &[(f64, [(f64, f64); 3])]) -> Result<Self, String> {
        let distinct = {
            let mut all: Vec<f64> = seen.iter().map(|(known, _)| *known).collect();
            all.sort_by(f64::total_cmp);
            all.dedup_by(|a, b| (*a - *b).abs() < 0.2);
            all.len()
        };
        // With one grey the curve is taken for that of sRGB.
        let curve = distinct.saturating_sub(1).min(2);
        let columns = 3 + curve;
        let rows = 3 * seen.len();
        let mut sides = DMatrix::zeros(rows, columns);
        let mut known = DVector::zeros(rows);
        let equations = seen.iter().flat_map(|(reflectance, channels)| {
            channels
                .iter()
                .enumerate()
                .map(move |(c, light)| (*reflectance, c, *light))
        });
        for (row, (reflectance, channel, (share, level))) in equations.enumerate() {
            let bend = shoulder(share + level) - shoulder(level);
            let mut set = |column: usize, value: f64| {
                if let Some(entry) = sides.get_mut((row, column)) {
                    *entry = value;
                }
            };
            set(channel, 1.0);
            if curve > 0 {
                set(3, share);
            }
            if curve > 1 {
                set(4, bend);
            }
            if let Some(entry) = known.get_mut(row) {
                *entry = if curve > 0 {
                    reflectance
                } else {
                    reflectance - share
                };
            }
        }
        let found = sides.clone().svd(true, true).solve(&known, 1e-9);
        let found = found.map_err(|why| format!("the references can't be used: {why}"))?;
        let value = |i: usize| found.get(i).copied().unwrap_or(0.0);
        let tone = Self {
            paper: [value(0), value(1), value(2)],
            slope: if curve > 0 { value(3) } else { 1.0 },
            bend: if curve > 1 { value(4) } else { 0.0 },
        };
        // The slope where the light is that of a middle grey.
        for (_, channels) in seen {
            for (share, level) in channels {
                let light = (share + level).exp();
                let slope = tone.slope + tone.bend * light / left(light);
                if !SLOPES.contains(&slope) {
                    return Err(
                        "the references contradict each other: no camera's tone curve has them \
                         so light and so dark; check that each lies on its place, and its \
                         reflectance"
                            .to_owned(),
                    );
                }
            }
        }
        Ok(tone)
    }

    pub(crate) fn reflectance(&self, share: f64, level: f64, paper: f64) -> f64 {
        let share = share.max(1e-5).ln();
        let bend = shoulder(share + level) - shoulder(level);
        (paper + self.slope * share + self.bend * bend).exp()
    }
}

/// How far a tone curve bends at a logarithm of light.
fn shoulder(log: f64) -> f64 {
    -left(log.exp()).ln()
}

/// What is left up to the end of the shoulder; wide primaries may go beyond full light.
fn left(light: f64) -> f64 {
    (SHOULDER - light).max(0.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cameras' curves of many shapes, from light to codes: powers of sRGB's codes, an S in them,
    /// ITU-R BT.709, light that runs into a limit (K. Naka, W. Rushton, Journal of Physiology 185,
    /// 1966; E. Reinhard and others, SIGGRAPH 2002), and two fits to films (an S in the exposure's
    /// logarithm, and a ratio of squares). Shapes and numbers from memory, or invented.
    fn cameras() -> Vec<Box<dyn Fn(f64) -> f64>> {
        let code = |light: f64| blend::Srgb::code(light.clamp(0.0, 1.0));
        let mut all: Vec<Box<dyn Fn(f64) -> f64>> = Vec::new();
        for power in [0.85, 1.0, 1.15] {
            all.push(Box::new(move |light| code(light).powf(power)));
        }
        for strength in [-0.15, 0.15, 0.35] {
            all.push(Box::new(move |light| {
                let c = code(light);
                (1.0 - strength) * c + strength * c * c * (3.0 - 2.0 * c)
            }));
        }
        for half in [0.5, 1.0, 2.0] {
            all.push(Box::new(move |light| {
                code((1.0 + half) * light / (half + light))
            }));
        }
        for power in [0.6, 0.7] {
            let limit = 1.0 + 0.18_f64.powf(power);
            let of = move |light: f64| limit / (1.0 + (0.18 / light).powf(power));
            all.push(Box::new(of));
        }
        for (most, exposure) in [(1.0, 0.9), (0.75, 0.6)] {
            all.push(Box::new(move |light| {
                let x = exposure * light;
                code(x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14) / most)
            }));
        }
        all.push(Box::new(|light| {
            0.46 + 0.49 * ((light / 0.18).log2() / 2.9).tanh()
        }));
        all.push(Box::new(|light| match light < 0.018 {
            true => 4.5 * light,
            false => 1.099 * light.powf(0.45) - 0.099,
        }));
        all
    }

    /// Three references, and greys between them.
    #[test]
    fn three_greys_tell_curves_of_many_shapes() {
        let lightness = |y: f64| blend::Xyz { x: y, y, z: y }.to_lab().l;
        let (mut means, mut worst) = (Vec::new(), 0.0_f64);
        for (i, camera) in cameras().into_iter().enumerate() {
            let mut all = Vec::new();
            for exposure in [0.65, 0.8, 1.0] {
                let seen =
                    |reflectance: f64| blend::Srgb::linear(camera(exposure * reflectance)).ln();
                let level = seen(0.86);
                let of = |reflectance: f64| (seen(reflectance) - level, level);
                let greys = [0.04, 0.18, 0.9].map(|r: f64| (r.ln(), [of(r); 3]));
                let tone = Tone::fit(&greys).unwrap();
                all.extend((6..180).map(|step| {
                    let known = f64::from(step) / 200.0;
                    let (share, level) = of(known);
                    let read = tone.reflectance(share.exp(), level, tone.paper[0]);
                    (lightness(read) - lightness(known)).abs()
                }));
            }
            let most = all.iter().copied().fold(0.0, f64::max);
            let mean = all.iter().sum::<f64>() / all.len() as f64;
            println!("{i}: {mean:.2}, {most:.2} at worst");
            means.push(mean);
            worst = worst.max(most);
        }
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        println!("{mean:.2}, {worst:.2}");
        assert!(mean < 0.35 && worst < 2.2, "{mean} {worst}");
    }

    /// A curve that is flatter in the shadows, and three greys through it.
    #[test]
    fn three_greys_tell_a_tone_curve_and_one_takes_it_for_straight() {
        let truth = Tone {
            paper: [-0.15, -0.1, -0.2],
            slope: 1.1,
            bend: -0.2,
        };
        let level = -0.4;
        let of = |reflectance: f64| {
            let mut out = [(0.0, level); 3];
            for (channel, out) in out.iter_mut().enumerate() {
                let (mut low, mut high) = (-8.0, 1.0);
                for _ in 0..60 {
                    let middle = (low + high) / 2.0;
                    let there = truth.reflectance(f64::exp(middle), level, truth.paper[channel]);
                    match there < reflectance {
                        true => low = middle,
                        false => high = middle,
                    }
                }
                out.0 = low;
            }
            (reflectance.ln(), out)
        };
        let found = Tone::fit(&[of(0.04), of(0.18), of(0.9)]).unwrap();
        assert!((found.slope - truth.slope).abs() < 1e-6, "{found:?}");
        assert!((found.bend - truth.bend).abs() < 1e-6, "{found:?}");
        let one = Tone::fit(&[of(0.18)]).unwrap();
        assert_eq!((one.slope, one.bend), (1.0, 0.0));
        let mut upside_down = [of(0.9), of(0.18)];
        upside_down[0].0 = 0.18_f64.ln();
        upside_down[1].0 = 0.9_f64.ln();
        assert!(Tone::fit(&upside_down).is_err());
    }
}
