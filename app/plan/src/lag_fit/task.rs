//! What is fitted to colours by height: the values, what they make of each reading, and their
//! errors.

use std::f64::consts::PI;

use blend::colour::LocalMetric;
use blend::mix::{Component, Mixing, Saunderson, Strand};
use blend::{Lab, MixModel, Shares};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use super::scatter::{self, Scatter};
use crate::delivery::{Feed, delivered};
use crate::machine::Chamber;

/// A reading and the volumes between which it was laid.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    pub from_mm3: f64,
    pub to_mm3: f64,
    pub mm3_per_mm: f64,
    pub metric: LocalMetric,
}

/// How far things are usually off: see where they are set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gives {
    pub colour: f64,
    pub strength: f64,
    pub between: f64,
}

/// Where blends were not measured, they may be stirred as the model says (0), lie side by side
/// (1), or anything between: what is usual, and how far it may be from that. Side by side, light
/// wanders from one spool into the other, as Yule's and Nielsen's exponent n says: 1 and the
/// exponential of a value, of which the same is told (our assumptions, no source).
const PART: (f64, f64) = (0.6, 0.5);
const WANDERING: (f64, f64) = (-0.2, 1.0);

/// Waves in which blends are off, from one spool to the other: half a wave, a whole one, and
/// one and a half, each of less height than the one before.
const WAVES: usize = 3;

/// The values are dead and mixed volume; for each component how far its colour is off; the same
/// for the waves in which blends between two spools are off; for all but the first component the
/// logarithm of its strength against what the model says; and where blends were not measured how
/// far they lie side by side, and how far light then wanders.
pub(super) struct Task<'a> {
    pub model: &'a dyn MixModel,
    pub tanks: usize,
    pub feeds: Vec<Feed>,
    pub seen: Vec<Seen>,
    /// How each of them scatters.
    pub scatter: Vec<Scatter>,
    /// Standard error of a reading's height, mm.
    pub height_mm: f64,
    pub components: usize,
    /// The two spools that change.
    pub pair: [usize; 2],
    pub gives: Gives,
    /// The spools, where their blends were not measured.
    pub unmeasured: Option<Vec<Component>>,
}

/// How a rule's zero is off the bed, mm, for all readings together (common practice, no source).
pub(super) const ZERO_MM: f64 = 0.05;

/// How far a single height is off, mm, until the readings themselves tell (common practice, no
/// source).
pub(super) const HEIGHT_MM: f64 = 0.1;

/// Heights at which a reading may have been taken, in standard errors, and their weights: a
/// normal distribution's mean of anything smooth (Gauss and Hermite, five nodes; M. Abramowitz,
/// I. Stegun, *Handbook of Mathematical Functions*, table 25.10, from memory).
const NODES: [(f64, f64); 5] = [
    (-2.856_970, 0.011_257),
    (-1.355_626, 0.222_076),
    (0.0, 0.533_333),
    (1.355_626, 0.222_076),
    (2.856_970, 0.011_257),
];

/// What a reading's blend looks like, but for how far its spools are off.
#[derive(Clone, Copy)]
struct Look {
    lab: Lab,
    /// Its shares by strength.
    toned: Shares,
}

impl Task<'_> {
    /// Standard errors of dead volume, mixed volume and lag at the best values: from the scatter
    /// of readings, and from all that is usually off and that they do not tell (the covariance of
    /// the posterior; A. Gelman and others, *Bayesian Data Analysis*, normal approximation, from
    /// memory).
    pub(super) fn errors(&self, best: &DVector<f64>) -> Option<[f64; 3]> {
        let slopes = self.slopes(best);
        let mut whole = (slopes.transpose() * slopes).cholesky()?.inverse();
        let of_mm: f64 = self.seen.iter().map(|s| s.mm3_per_mm).sum();
        whole[(0, 0)] += (ZERO_MM * of_mm / self.seen.len() as f64).powi(2);
        let lag = whole[(0, 0)] + whole[(1, 1)] + 2.0 * whole[(0, 1)];
        Some([whole[(0, 0)], whole[(1, 1)], lag].map(|v| v.max(0.0).sqrt()))
    }

    /// How far readings are off, root mean square, ΔE00.
    pub(super) fn rms(&self, values: &DVector<f64>) -> f64 {
        let looks = self.looks(values, &self.blends(values));
        let squares: f64 = self.off(&looks, values).flatten().map(|d| d * d).sum();
        (squares / self.seen.len() as f64).sqrt()
    }

    /// How readings scatter about some values, and the standard error of their heights, mm.
    pub(super) fn scatter_at(&self, values: &DVector<f64>) -> (Vec<Scatter>, f64) {
        let looks = self.looks(values, &self.blends(values));
        let slopes = looks.iter().zip(&self.seen).map(|(look, seen)| {
            let each = self.off_at_nodes(seen, look, values);
            steepest(&each).map(|v| v / self.height_mm)
        });
        let read: Vec<([f64; 3], [f64; 3])> = self.off(&looks, values).zip(slopes).collect();
        let errors = scatter::likeliest(&read, self.followed(values));
        let scatters = read.iter();
        let scatters = scatters
            .map(|(_, slope)| Scatter::new(*slope, &errors))
            .collect();
        (scatters, errors.height_mm)
    }

    /// How many numbers the fit follows readings with: the trace of what maps readings to what
    /// is made of them.
    fn followed(&self, values: &DVector<f64>) -> f64 {
        let slopes = self.slopes(values);
        let of_readings = slopes.rows(0, 3 * self.seen.len());
        let product = of_readings.transpose() * of_readings;
        match (slopes.transpose() * &slopes).cholesky() {
            Some(whole) => whole.solve(&product).trace(),
            None => values.len() as f64,
        }
    }

    fn strengths(&self) -> usize {
        self.components.saturating_sub(1)
    }

    fn first_wave(&self) -> usize {
        2 + 3 * self.components
    }

    fn first_strength(&self) -> usize {
        self.first_wave() + 3 * WAVES
    }

    fn first_way(&self) -> usize {
        self.first_strength() + self.strengths()
    }

    fn count(&self) -> usize {
        let ways = if self.unmeasured.is_some() { 2 } else { 0 };
        self.first_way() + ways
    }

    /// What is usual before anything was read.
    pub(super) fn usual(&self, dead_mm3: f64, mixed_mm3: f64) -> DVector<f64> {
        let mut usual = DVector::zeros(self.count());
        usual[0] = dead_mm3;
        usual[1] = mixed_mm3;
        for (value, way) in usual
            .iter_mut()
            .skip(self.first_way())
            .zip([PART, WANDERING])
        {
            *value = way.0;
        }
        usual
    }

    pub(super) fn chamber(&self, values: &DVector<f64>) -> Chamber {
        Chamber {
            dead_mm3: values[0].max(0.0),
            mixed_mm3: values[1].max(0.0),
            tanks: self.tanks,
        }
    }

    /// The blend of each reading at each of the heights where it may have been taken.
    fn blends(&self, values: &DVector<f64>) -> Vec<[Shares; NODES.len()]> {
        let chamber = self.chamber(values);
        let at = NODES.map(|(node, _)| self.blends_at(&chamber, node * self.height_mm));
        let readings = 0..at[0].len();
        readings
            .map(|i| std::array::from_fn(|node| at[node][i]))
            .collect()
    }

    /// The blend of each reading under a chamber, were it read so much higher up.
    fn blends_at(&self, chamber: &Chamber, by_mm: f64) -> Vec<Shares> {
        let Some(start) = self.feeds.first().map(|f| f.from) else {
            return Vec::new();
        };
        let place = |s: &Seen| {
            let by = by_mm * s.mm3_per_mm;
            [s.from_mm3 + by, s.to_mm3 + by].map(|v| v.max(0.0))
        };
        let mut edges: Vec<f64> = self.seen.iter().flat_map(place).collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let out = delivered(chamber, &start, &self.feeds, &edges);
        let of = |seen: &Seen| {
            let [from, _] = place(seen);
            let at = edges.partition_point(|e| *e <= from).saturating_sub(1);
            out.get(at).copied().unwrap_or(start)
        };
        self.seen.iter().map(of).collect()
    }

    /// How blends look with some values.
    fn looks(
        &self,
        values: &DVector<f64>,
        blends: &[[Shares; NODES.len()]],
    ) -> Vec<[Look; NODES.len()]> {
        let beside = self.beside(values);
        let look = |shares: Shares| {
            let toned = self.toned(&shares, values);
            let stirred = self.model.mix(&toned).to_lab();
            let lab = match &beside {
                None => stirred,
                Some(beside) => {
                    let part = values[self.first_way()];
                    between(stirred, beside.mix(&toned).to_lab(), part)
                }
            };
            Look { lab, toned }
        };
        blends.iter().map(|at| at.map(look)).collect()
    }

    /// The spools side by side, where their blends were not measured.
    fn beside(&self, values: &DVector<f64>) -> Option<Strand> {
        let components = self.unmeasured.clone()?;
        let exponent = 1.0 + values[self.first_way() + 1].exp();
        let mixing = Mixing::SideBySide { exponent };
        Some(Strand::new(components, &[], Saunderson::USUAL, mixing))
    }

    /// A blend as it looks with the strengths of some values.
    fn toned(&self, shares: &Shares, values: &DVector<f64>) -> Shares {
        let strength = |i: usize| match i.checked_sub(1) {
            Some(i) => values
                .get(self.first_strength() + i)
                .map_or(1.0, |log| log.exp()),
            None => 1.0,
        };
        let parts = shares.as_slice().iter().enumerate();
        let weights: Vec<f64> = parts.map(|(i, share)| share * strength(i)).collect();
        Shares::from_weights(&weights).unwrap_or(*shares)
    }

    /// How far off each reading is in the mean over its heights, in its metric, ΔE00.
    fn off<'b>(
        &'b self,
        looks: &'b [[Look; NODES.len()]],
        values: &'b DVector<f64>,
    ) -> impl Iterator<Item = [f64; 3]> + 'b {
        self.seen.iter().zip(looks).map(|(seen, look)| {
            let each = self.off_at_nodes(seen, look, values);
            mean(&each).into()
        })
    }

    /// The same at each of its heights.
    fn off_at_nodes(
        &self,
        seen: &Seen,
        looks: &[Look; NODES.len()],
        values: &DVector<f64>,
    ) -> [Vector3<f64>; NODES.len()] {
        looks.map(|look| {
            let toned = look.toned.as_slice();
            let by = |axis: usize| -> f64 {
                let of_spools = toned.iter().enumerate();
                let of_spools: f64 = of_spools
                    .map(|(i, share)| share * values[2 + 3 * i + axis])
                    .sum();
                let waves = self.waves(toned).into_iter().enumerate();
                let of_waves: f64 = waves
                    .map(|(k, wave)| wave * values[self.first_wave() + 3 * k + axis])
                    .sum();
                of_spools + of_waves
            };
            let off = seen.metric.difference(Lab {
                l: look.lab.l + by(0),
                a: look.lab.a + by(1),
                b: look.lab.b + by(2),
            });
            Vector3::from(off)
        })
    }

    /// The height of each wave at a blend.
    fn waves(&self, toned: &[f64]) -> [f64; WAVES] {
        let [one, other] = self.pair.map(|i| toned.get(i).copied().unwrap_or(0.0));
        let both = one + other;
        let at = if both > 0.0 { other / both } else { 0.0 };
        std::array::from_fn(|k| both * ((k + 1) as f64 * PI * at).sin())
    }

    /// Differences in standard errors, then how far values are from what is usual, likewise.
    pub(super) fn residuals(&self, values: &DVector<f64>) -> DVector<f64> {
        self.residuals_of(&self.looks(values, &self.blends(values)), values)
    }

    fn residuals_of(&self, looks: &[[Look; NODES.len()]], values: &DVector<f64>) -> DVector<f64> {
        let offs = self.off(looks, values).zip(&self.scatter);
        let read = offs.flat_map(|(off, scatter)| scatter.whitened(off));
        let gives = values.iter().enumerate().skip(2);
        let give = gives.map(|(i, v)| {
            if i < self.first_wave() {
                v / self.gives.colour
            } else if i < self.first_strength() {
                let wave = (i - self.first_wave()) / 3 + 1;
                v * wave as f64 / self.gives.between
            } else if i < self.first_way() {
                v / self.gives.strength
            } else {
                let (usual, give) = if i == self.first_way() {
                    PART
                } else {
                    WANDERING
                };
                (v - usual) / give
            }
        });
        let length = 3 * self.seen.len() + self.count() - 2;
        DVector::from_iterator(length, read.chain(give))
    }

    /// Slopes of the residuals by each value.
    pub(super) fn slopes(&self, values: &DVector<f64>) -> DMatrix<f64> {
        let blends = self.blends(values);
        let looks = self.looks(values, &blends);
        let with = |i: usize, value: f64| {
            let mut moved = values.clone();
            moved[i] = value;
            let residuals = if i < 2 {
                self.residuals(&moved)
            } else if i < self.first_strength() {
                // Spools and waves that are off need no new mixing.
                self.residuals_of(&looks, &moved)
            } else {
                self.residuals_of(&self.looks(&moved, &blends), &moved)
            };
            (residuals, value)
        };
        let columns: Vec<DVector<f64>> = (0..self.count())
            .map(|i| {
                let here = values[i];
                let step = match i {
                    0 | 1 => 1e-4 * here.abs().max(1.0),
                    _ => 1e-3,
                };
                // A volume can't be below nothing.
                let less = match i {
                    0 | 1 => (here - step).max(0.0),
                    _ => here - step,
                };
                let ((above, more), (below, less)) = (with(i, here + step), with(i, less));
                (above - below) / (more - less)
            })
            .collect();
        DMatrix::from_columns(&columns)
    }
}

fn mean(each: &[Vector3<f64>; NODES.len()]) -> Vector3<f64> {
    let weighed = each.iter().zip(&NODES);
    weighed.map(|(off, (_, weight))| off * *weight).sum()
}

/// The direction in which values at the nodes differ most, as long as their standard deviation.
fn steepest(each: &[Vector3<f64>; NODES.len()]) -> [f64; 3] {
    let mean = mean(each);
    let weighed = each.iter().zip(&NODES);
    let spread: Matrix3<f64> = weighed
        .map(|(off, (_, weight))| (off - mean) * (off - mean).transpose() * *weight)
        .sum();
    let axes = spread.symmetric_eigen();
    let most = axes.eigenvalues.imax();
    (axes.eigenvectors.column(most) * axes.eigenvalues[most].max(0.0).sqrt()).into()
}

fn between(one: Lab, other: Lab, part: f64) -> Lab {
    let at = |a: f64, b: f64| a + (b - a) * part;
    Lab {
        l: at(one.l, other.l),
        a: at(one.a, other.a),
        b: at(one.b, other.b),
    }
}
