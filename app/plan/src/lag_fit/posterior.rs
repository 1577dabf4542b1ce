//! What two volumes may be, given readings that lie on a straight line for each way in which they
//! may have been made.
//!
//! Nobody knows which of the ways it was. Each counts as much as it is usual and as it explains the
//! readings (J. Hoeting and others, "Bayesian Model Averaging: A Tutorial", Statistical Science
//! 14(4), 1999, from memory).

use nalgebra::{Matrix2, Vector2};

use crate::machine::Chamber;

/// One height: a volume after its command, which should be dead volume and so many mixed ones.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub times: f64,
    pub after_mm3: f64,
    /// Its error, mm³.
    pub error_mm3: f64,
}

/// Chambers that may be, each with the logarithm of its weight.
#[derive(Clone, Debug, Default)]
pub(super) struct Posterior {
    chambers: Vec<([f64; 2], f64)>,
}

/// What is known of the chamber before anything was read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Before {
    /// Dead and mixed volume together, as the machine file says, mm³.
    pub lag_mm3: f64,
    /// What every place is off by together, mm³: where in its layer the rule reads.
    pub together_mm3: f64,
}

/// How far a chamber may be from what the machine file says, as a natural logarithm: seldom more
/// than twice as large or half, for which a lag test has room (our assumption, no source).
const LAG_GIVE: f64 = 0.7;

/// Nine places of a normal distribution, equally likely, of variance 1; two thirds of them lie
/// within one.
const PLACES: [f64; 9] = [
    -1.711, -1.039, -0.633, -0.303, 0.0, 0.303, 0.633, 1.039, 1.711,
];

/// What is told of dead volume, mixed volume and both together, mm³.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Told {
    pub dead_mm3: f64,
    pub mixed_mm3: f64,
    /// Half widths about them that hold two thirds.
    pub errors_mm3: [f64; 3],
}

impl Posterior {
    /// Takes in what points say, if they were made in one way; nothing where they lie together.
    pub(super) fn add(&mut self, points: &[Point], before: &Before) {
        let Some(line) = Line::through(points) else {
            return;
        };
        let mut covariance = line.covariance;
        covariance[(0, 0)] += before.together_mm3 * before.together_mm3;
        let Some(root) = covariance.cholesky().map(|c| c.l()) else {
            return;
        };
        for one in PLACES {
            for other in PLACES {
                let at = line.best + root * Vector2::new(one, other);
                if at.x < 0.0 || at.y <= 0.0 {
                    continue;
                }
                let off = ((at.x + at.y) / before.lag_mm3).ln() / LAG_GIVE;
                let weight = line.evidence - 0.5 * off * off;
                self.chambers.push(([at.x, at.y], weight));
            }
        }
    }

    /// What is told; nothing where no chamber can be.
    pub(super) fn told(&self) -> Option<Told> {
        let most = self
            .chambers
            .iter()
            .map(|c| c.1)
            .fold(f64::NEG_INFINITY, f64::max);
        let weighted = self
            .chambers
            .iter()
            .map(|(at, log)| (*at, (log - most).exp()));
        let weighted: Vec<([f64; 2], f64)> = weighted.filter(|(_, w)| *w > 1e-9).collect();
        let sum: f64 = weighted.iter().map(|(_, w)| w).sum();
        if !(sum.is_finite() && sum > 0.0) {
            return None;
        }
        let mean = |of: fn(&[f64; 2]) -> f64| -> (f64, f64) {
            let mean = weighted.iter().map(|(at, w)| of(at) * w).sum::<f64>() / sum;
            let offs = weighted.iter().map(|(at, w)| ((of(at) - mean).abs(), *w));
            (mean, two_thirds(offs.collect(), sum))
        };
        let (dead_mm3, dead) = mean(|at| at[0]);
        let (mixed_mm3, mixed) = mean(|at| at[1]);
        let (_, lag) = mean(|at| at[0] + at[1]);
        Some(Told {
            dead_mm3,
            mixed_mm3,
            errors_mm3: [dead, mixed, lag],
        })
    }
}

/// What one standard error of a normal distribution holds.
const TWO_THIRDS: f64 = 0.6827;

/// The distance within which that part of the weight lies.
fn two_thirds(mut offs: Vec<(f64, f64)>, sum: f64) -> f64 {
    offs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut held = 0.0;
    for (off, weight) in &offs {
        held += weight;
        if held >= TWO_THIRDS * sum {
            return *off;
        }
    }
    offs.last().map_or(0.0, |(off, _)| *off)
}

/// A line through points by weighted least squares.
struct Line {
    best: Vector2<f64>,
    covariance: Matrix2<f64>,
    /// Logarithm of how likely the points are, whatever line it is.
    evidence: f64,
}

impl Line {
    fn through(points: &[Point]) -> Option<Self> {
        let (mut normal, mut right, mut evidence) = (Matrix2::zeros(), Vector2::zeros(), 0.0);
        for point in points {
            let row = Vector2::new(1.0, point.times) / point.error_mm3;
            normal += row * row.transpose();
            right += row * point.after_mm3 / point.error_mm3;
            evidence -= point.error_mm3.ln();
        }
        let covariance = normal.try_inverse()?;
        let best = covariance * right;
        for point in points {
            let off = point.after_mm3 - best.x - best.y * point.times;
            evidence -= 0.5 * (off / point.error_mm3).powi(2);
        }
        evidence += 0.5 * covariance.determinant().max(f64::MIN_POSITIVE).ln();
        let sound = evidence.is_finite() && best.iter().all(|v| v.is_finite());
        sound.then_some(Self {
            best,
            covariance,
            evidence,
        })
    }
}

/// How far points are from a chamber, or from the best one where none is given, each by a measure
/// of its own; root mean square.
pub(super) fn rms(points: &[Point], chamber: Option<&Chamber>, measures: &[f64]) -> Option<f64> {
    let [dead, mixed] = match chamber {
        Some(chamber) => [chamber.dead_mm3, chamber.mixed_mm3],
        None => Line::through(points).map(|l| [l.best.x, l.best.y])?,
    };
    let offs = points.iter().zip(measures);
    let squares = offs.map(|(p, measure)| {
        let off = p.after_mm3 - dead - mixed * p.times;
        (off / measure.max(1e-9)).powi(2)
    });
    let mean = squares.sum::<f64>() / points.len() as f64;
    mean.is_finite().then(|| mean.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(error_mm3: f64) -> Vec<Point> {
        let times = [0.1, 0.12, 0.11, 0.1, 3.0, 3.4, 3.1, 3.2];
        let off = [0.7, -1.2, 0.4, 0.1, -0.9, 1.4, -0.3, -0.2];
        let both = times.iter().zip(off);
        both.map(|(&times, off)| Point {
            times,
            after_mm3: 40.0 + 30.0 * times + off,
            error_mm3,
        })
        .collect()
    }

    /// One way, nothing else unknown: the errors of the textbook, σ²(XᵀX)⁻¹ (any text on linear
    /// regression), but for the weak pull of the machine file.
    #[test]
    fn one_way_has_the_errors_of_a_line() {
        let mut posterior = Posterior::default();
        let before = Before {
            lag_mm3: 70.0,
            together_mm3: 0.0,
        };
        posterior.add(&points(1.0), &before);
        let told = posterior.told().expect("told");
        let line = Line::through(&points(1.0)).expect("a line");
        assert!((told.dead_mm3 - line.best.x).abs() < 0.2, "{told:?}");
        assert!((told.mixed_mm3 - line.best.y).abs() < 0.2, "{told:?}");
        for i in 0..2 {
            let plain = line.covariance[(i, i)].sqrt();
            let found = told.errors_mm3[i];
            assert!((found / plain - 1.0).abs() < 0.15, "{i}: {told:?}");
        }
    }

    /// Two ways that disagree widen the errors, unless readings tell which it was.
    #[test]
    fn ways_that_disagree_widen_the_errors() {
        let before = Before {
            lag_mm3: 70.0,
            together_mm3: 0.0,
        };
        let moved = |by: f64| -> Vec<Point> {
            let shift = |p: Point| Point {
                times: p.times + by,
                ..p
            };
            points(1.0).into_iter().map(shift).collect()
        };
        let mut both = Posterior::default();
        both.add(&points(1.0), &before);
        both.add(&moved(0.3), &before);
        let told = both.told().expect("told");
        assert!(told.errors_mm3[0] > 3.0, "{told:?}");
        let mut one = Posterior::default();
        one.add(&points(1.0), &before);
        let bent: Vec<Point> = points(1.0)
            .into_iter()
            .enumerate()
            .map(|(i, p)| Point {
                times: p.times + if i % 2 == 0 { 0.3 } else { 0.0 },
                ..p
            })
            .collect();
        one.add(&bent, &before);
        let told = one.told().expect("told");
        assert!(told.errors_mm3[0] < 2.0, "{told:?}");
    }
}
