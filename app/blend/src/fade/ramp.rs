//! A fade made ready: its spacing worked out once, then asked many times.

use super::{Fade, Spacing, Stop, VisibleArea};
use crate::{Lab, MixModel, Shares, ciede2000};

/// The path of colours between two stops is first cut into this many pieces,
const PIECES: usize = 32;
/// and a piece longer than this, ΔE00, is halved
const LONGEST_PIECE: f64 = 0.25;
/// up to this many times.
const MOST_HALVINGS: u32 = 16;

/// A fade made ready: the blend at any place along it.
///
/// ```
/// use blend::{Fade, LinearLight, Ramp, Shares, Spacing, Spool, SpoolColour, Stop};
/// let white = Spool::new("Chalk", SpoolColour::Hex("#f4f1ea".parse().expect("a colour")));
/// let blue = Spool::new("Deep water", SpoolColour::Hex("#12507b".parse().expect("a colour")));
/// let fade = Fade {
///     stops: vec![
///         Stop { at_mm: 0.0, shares: Shares::new(&[1.0, 0.0]).expect("a sum of 1") },
///         Stop { at_mm: 100.0, shares: Shares::new(&[0.0, 1.0]).expect("a sum of 1") },
///     ],
///     spacing: Spacing::Linear,
/// };
/// let ramp = Ramp::new(&fade, &LinearLight::new(&[white, blue]), None);
/// assert!((ramp.at(40.0).as_slice()[0] - 0.6).abs() < 1e-12);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Ramp {
    /// Places never fall from one to the next; shares change evenly between two of them.
    knots: Vec<Stop>,
}

impl Ramp {
    /// Works out the spacing between each stop and the next.
    ///
    /// `area` is needed by [`Spacing::EqualArea`] alone; without it, or between two stops
    /// that have no surface between them, the surface is taken as even along the fade, which
    /// gives [`Spacing::EqualSteps`]. Between stops of the very same colour the shares change
    /// evenly. The fade should pass [`Fade::check`]; one that doesn't gives a ramp of no
    /// particular meaning, never a panic.
    pub fn new(fade: &Fade, model: &dyn MixModel, area: Option<&VisibleArea>) -> Self {
        let mut knots = Vec::new();
        for pair in fade.stops.windows(2) {
            let (from, to) = (&pair[0], &pair[1]);
            knots.push(*from);
            let even = || vec![(0.0, from.at_mm), (1.0, to.at_mm)];
            let places = match fade.spacing {
                Spacing::Linear => continue,
                Spacing::EqualSteps => even(),
                Spacing::EqualArea => area
                    .and_then(|a| a.between(from.at_mm, to.at_mm))
                    .unwrap_or_else(even),
            };
            let path = colour_path(&from.shares, &to.shares, model);
            knots.extend(joined(&places, &path).map(|(at_mm, t)| Stop {
                at_mm,
                shares: from.shares.toward(&to.shares, t),
            }));
        }
        knots.extend(fade.stops.last());
        Self { knots }
    }

    /// The blend at a place, held at the end stops' beyond them.
    pub fn at(&self, at_mm: f64) -> Shares {
        let after = self.knots.partition_point(|k| k.at_mm <= at_mm);
        let before = after.checked_sub(1).and_then(|i| self.knots.get(i));
        match (before, self.knots.get(after)) {
            (Some(from), Some(to)) => from
                .shares
                .toward(&to.shares, (at_mm - from.at_mm) / (to.at_mm - from.at_mm)),
            (Some(end), None) | (None, Some(end)) => end.shares,
            (None, None) => Shares::SINGLE,
        }
    }

    /// The place of the first and the last stop, mm; `None` for a fade without stops.
    pub fn extent_mm(&self) -> Option<(f64, f64)> {
        Some((self.knots.first()?.at_mm, self.knots.last()?.at_mm))
    }
}

/// How far along the path of colours from one blend to another, from 0 to 1 by summed ΔE00,
/// mixes of the two lie: pairs (way along the path, weight of the second blend). The steps of
/// the weight are small where the colour changes fast, as it does near black.
fn colour_path(from: &Shares, to: &Shares, model: &dyn MixModel) -> Vec<(f64, f64)> {
    let colour_at = |t: f64| model.mix(&from.toward(to, t)).to_lab();
    let mut path = vec![(0.0, 0.0)];
    let mut way = 0.0;
    let mut here = (0.0, colour_at(0.0));
    // Ends of pieces still to be walked, the nearest last, with the halvings behind them.
    let mut ahead: Vec<(f64, Lab, u32)> = (1..=PIECES)
        .rev()
        .map(|i| i as f64 / PIECES as f64)
        .map(|t| (t, colour_at(t), 0))
        .collect();
    while let Some((t, colour, halvings)) = ahead.pop() {
        let length = ciede2000(here.1, colour);
        if length > LONGEST_PIECE && halvings < MOST_HALVINGS {
            let middle = (here.0 + t) / 2.0;
            ahead.push((t, colour, halvings + 1));
            ahead.push((middle, colour_at(middle), halvings + 1));
            continue;
        }
        way += length;
        here = (t, colour);
        path.push((way, t));
    }
    if way.is_finite() && way > 0.0 {
        for point in &mut path {
            point.0 /= way;
        }
        path
    } else {
        vec![(0.0, 0.0), (1.0, 1.0)]
    }
}

/// Joins fraction → place and fraction → weight to place → weight, both being straight
/// between their points, which are in rising order.
fn joined(places: &[(f64, f64)], path: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    let of_places = places
        .iter()
        .map(|&(f, at_mm)| (f, at_mm, value_at(path, f)));
    let of_path = path.iter().map(|&(f, t)| (f, value_at(places, f), t));
    let mut all: Vec<(f64, f64, f64)> = of_places.chain(of_path).collect();
    all.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.2.total_cmp(&b.2)));
    all.into_iter().map(|(_, at_mm, t)| (at_mm, t))
}

/// The value at `x` of a function given by rising points and straight between them.
fn value_at(points: &[(f64, f64)], x: f64) -> f64 {
    let after = points.partition_point(|p| p.0 <= x);
    match (
        after.checked_sub(1).and_then(|i| points.get(i)),
        points.get(after),
    ) {
        (Some(&(x0, y0)), Some(&(x1, y1))) => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
        (Some(&(_, y)), None) | (None, Some(&(_, y))) => y,
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{KubelkaMunk, LinearLight, Spool, SpoolColour, Srgb};
    use proptest::prelude::*;

    fn spools(colours: &[[u8; 3]]) -> Vec<Spool> {
        let spool = |c: &[u8; 3]| Spool::new("x", SpoolColour::Hex(Srgb(*c)));
        colours.iter().map(spool).collect()
    }

    fn model(colours: &[[u8; 3]]) -> LinearLight {
        LinearLight::new(&spools(colours))
    }

    fn stop(at_mm: f64, shares: &[f64]) -> Stop {
        Stop {
            at_mm,
            shares: Shares::from_weights(shares).expect("shares"),
        }
    }

    fn first_share(shares: Shares) -> f64 {
        shares.as_slice()[0]
    }

    /// Common practice, no source: over a plain cylinder of 100 mm, first spool at 0 and
    /// second at 100, the share at 40 mm is 60 to 40.
    #[test]
    fn linear_fade_at_forty_percent() {
        let fade = Fade {
            stops: vec![stop(0.0, &[1.0, 0.0]), stop(100.0, &[0.0, 1.0])],
            spacing: Spacing::Linear,
        };
        let ramp = Ramp::new(&fade, &model(&[[255; 3], [0; 3]]), None);
        assert!((first_share(ramp.at(40.0)) - 0.6).abs() < 1e-12);
        assert_eq!(ramp.at(-5.0), fade.stops[0].shares);
        assert_eq!(ramp.at(105.0), fade.stops[1].shares);
        assert_eq!(ramp.extent_mm(), Some((0.0, 100.0)));
    }

    #[test]
    fn equal_steps_have_equal_colour_difference() {
        let colours = [[20, 20, 20], [250, 240, 60], [30, 60, 160]];
        even_along(&LinearLight::new(&spools(&colours)));
        even_along(&KubelkaMunk::new(&spools(&colours)));
    }

    /// ΔE00 from each of 64 places to the next is the same within 2 %, between each two stops.
    fn even_along(model: &dyn MixModel) {
        let fade = Fade {
            stops: vec![
                stop(2.0, &[1.0, 0.0, 0.0]),
                stop(30.0, &[0.0, 1.0, 0.0]),
                stop(90.0, &[0.0, 0.0, 1.0]),
            ],
            spacing: Spacing::EqualSteps,
        };
        let ramp = Ramp::new(&fade, model, None);
        for (from, to) in [(2.0, 30.0), (30.0, 90.0)] {
            let steps = 64;
            let colour = |i: usize| {
                let at_mm = from + (to - from) * i as f64 / steps as f64;
                model.mix(&ramp.at(at_mm)).to_lab()
            };
            let differences: Vec<f64> = (0..steps)
                .map(|i| ciede2000(colour(i), colour(i + 1)))
                .collect();
            let mean = differences.iter().sum::<f64>() / steps as f64;
            for d in differences {
                assert!((d / mean - 1.0).abs() < 0.02, "{d} for a mean of {mean}");
            }
        }
        assert_eq!(ramp.at(30.0), fade.stops[1].shares);
    }

    /// On a cone point up (area below z of height h is 1 − (1 − z/h)²), equal area puts the
    /// middle shade where half the surface lies below.
    #[test]
    fn equal_area_gives_each_shade_the_same_surface() {
        let at_mm: Vec<f64> = (0..=1000).map(|i| i as f64 / 10.0).collect();
        let below = at_mm
            .iter()
            .map(|z| 1.0 - (1.0 - z / 100.0).powi(2))
            .collect();
        let area = VisibleArea { at_mm, below };
        let model = model(&[[10, 10, 10], [240, 240, 240]]);
        let stops = vec![stop(0.0, &[1.0, 0.0]), stop(100.0, &[0.0, 1.0])];
        let make = |spacing, area| {
            Ramp::new(
                &Fade {
                    stops: stops.clone(),
                    spacing,
                },
                &model,
                area,
            )
        };
        let by_area = make(Spacing::EqualArea, Some(&area));
        let by_steps = make(Spacing::EqualSteps, None);
        for share_of_area in [0.1, 0.25, 0.5, 0.75, 0.9] {
            let z = 100.0 * (1.0 - (1.0f64 - share_of_area).sqrt());
            let here = first_share(by_area.at(z));
            let there = first_share(by_steps.at(100.0 * share_of_area));
            assert!((here - there).abs() < 1e-4, "{here} {there}");
        }
        let unknown = make(Spacing::EqualArea, None);
        assert!((first_share(unknown.at(33.0)) - first_share(by_steps.at(33.0))).abs() < 1e-12);
    }

    #[test]
    fn a_ledge_and_a_gap_in_the_surface() {
        // Walls from 0 to 10 and 20 to 30 with nothing between, and a ledge at 25.
        let area = VisibleArea {
            at_mm: vec![0.0, 10.0, 20.0, 25.0, 25.0, 30.0],
            below: vec![0.0, 0.3, 0.3, 0.5, 0.8, 1.0],
        };
        let fade = Fade {
            stops: vec![stop(0.0, &[1.0, 0.0]), stop(30.0, &[0.0, 1.0])],
            spacing: Spacing::EqualArea,
        };
        let ramp = Ramp::new(&fade, &model(&[[0; 3], [255; 3]]), Some(&area));
        let gap = first_share(ramp.at(10.0)) - first_share(ramp.at(20.0));
        assert!(gap.abs() < 1e-9);
        let ledge = first_share(ramp.at(25.0 - 1e-9)) - first_share(ramp.at(25.0));
        assert!(ledge > 0.1);
    }

    #[test]
    fn broken_fades_and_places_never_panic() {
        let model = model(&[[0; 3], [255; 3]]);
        for stops in [
            vec![],
            vec![stop(1.0, &[1.0])],
            vec![stop(5.0, &[1.0, 0.0]), stop(5.0, &[0.0, 1.0])],
            vec![stop(5.0, &[1.0, 0.0]), stop(f64::NAN, &[0.0, 1.0])],
            vec![stop(9.0, &[1.0, 0.0]), stop(1.0, &[0.0, 1.0, 1.0])],
        ] {
            for spacing in [Spacing::Linear, Spacing::EqualSteps, Spacing::EqualArea] {
                let fade = Fade {
                    stops: stops.clone(),
                    spacing,
                };
                let empty = VisibleArea {
                    at_mm: vec![],
                    below: vec![],
                };
                let ramp = Ramp::new(&fade, &model, Some(&empty));
                for at_mm in [-1.0, 5.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                    let _ = ramp.at(at_mm);
                }
            }
        }
    }

    fn any_fade() -> impl Strategy<Value = Fade> {
        let spacing = prop_oneof![
            Just(Spacing::Linear),
            Just(Spacing::EqualSteps),
            Just(Spacing::EqualArea)
        ];
        let steps = prop::collection::vec((0.01..50.0, prop::array::uniform3(0.0..1.0)), 2..5);
        (steps, spacing).prop_map(|(steps, spacing)| {
            let mut at_mm = -20.0;
            let stops = steps
                .into_iter()
                .map(|(step, weights): (f64, [f64; 3])| {
                    at_mm += step;
                    stop(at_mm, &weights.map(|w| w + 1e-3))
                })
                .collect();
            Fade { stops, spacing }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn hits_its_stops_and_keeps_the_sum(
            fade in any_fade(),
            colours in prop::array::uniform3(any::<[u8; 3]>()),
            places in prop::collection::vec(-30.0..180.0, 20),
        ) {
            let model = model(&colours);
            let area = VisibleArea {
                at_mm: vec![-20.0, 3.0, 40.0, 100.0, 200.0],
                below: vec![0.0, 0.5, 0.6, 0.6, 1.0],
            };
            let ramp = Ramp::new(&fade, &model, Some(&area));
            for s in &fade.stops {
                for (found, asked) in ramp.at(s.at_mm).as_slice().iter().zip(s.shares.as_slice()) {
                    prop_assert!((found - asked).abs() < 1e-9);
                }
            }
            for at_mm in places {
                let sum: f64 = ramp.at(at_mm).as_slice().iter().sum();
                prop_assert!((sum - 1.0).abs() < 1e-9);
            }
        }

        /// Between two stops the weight of the second never falls.
        #[test]
        fn never_turns_back(
            fade in any_fade(),
            colours in prop::array::uniform3(any::<[u8; 3]>()),
        ) {
            let ramp = Ramp::new(&fade, &model(&colours), None);
            for pair in fade.stops.windows(2) {
                let (from, to) = (pair[0].shares.as_slice(), pair[1].shares.as_slice());
                let mut way = [0.0; 3];
                for i in 0..=40 {
                    let at_mm = pair[0].at_mm + (pair[1].at_mm - pair[0].at_mm) * i as f64 / 40.0;
                    let here = ramp.at(at_mm);
                    for k in 0..3 {
                        let moved = (here.as_slice()[k] - from[k]) * (to[k] - from[k]).signum();
                        prop_assert!(moved > way[k] - 1e-9);
                        way[k] = moved;
                    }
                }
            }
        }
    }
}
