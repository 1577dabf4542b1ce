//! The test part: an upright bar in bands of known shares, one flat face of it to measure.
//!
//! A bar and not a staircase: the foot of an instrument is wider than any band, and on a
//! staircase it would stand on the next step. On a flat face it lies flat everywhere, and one
//! photograph shows all bands in one light.

use blend::calibrate::test_steps;
use blend::{Shares, Spool};
use geometry::mesh::MeshError;
use geometry::{DVec3, LayerPlan, Mask, Mesh};
use plan::{Filling, Machine, MeshSource, Paint, Plan, Region};

/// The flat face, mm wide: the usual opening of a hand instrument is 4 to 8 mm, and its foot
/// needs something to stand on (common practice, no source).
pub(crate) const FACE_MM: f64 = 24.0;
/// The bar's depth, mm: thick enough that nothing shines through.
pub(crate) const DEPTH_MM: f64 = 10.0;
/// The part of a band that is measured, mm high.
pub(crate) const MEASURED_MM: f64 = 8.0;
/// The foot's height, mm: it holds the bar upright and shows which end is the lower one.
pub(crate) const FOOT_MM: f64 = 5.0;
/// How far the foot stands out on all sides but the face, mm, and how high it slopes off.
pub(crate) const FOOT_OUT_MM: f64 = 4.0;
/// How deep the bar is notched at the sides where bands meet, mm.
const NOTCH_MM: f64 = 1.0;
/// What may be left of the blend before where a band is measured.
const REST: f64 = 0.01;
/// Layers of a test print, mm: what most parts are printed in.
const LAYER_MM: f64 = 0.2;

/// How a test part is to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Steps that mix each pair of spools.
    pub between: usize,
    /// The tallest bar that the printer can take, mm; steps that don't fit go on another one.
    pub tallest_mm: f64,
}

impl Options {
    /// Enough steps for a fit of so many spools, on bars of at most 200 mm.
    pub fn for_spools(spools: usize) -> Self {
        Self {
            between: if spools > 2 { 5 } else { 9 },
            tallest_mm: 200.0,
        }
    }
}

/// Why there is no test part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PartError {
    /// The bar is too low for two steps.
    #[error(
        "a step needs {step_mm:.1} mm, so two don't fit a bar of {tallest_mm} mm; allow a taller \
         one, or give the machine file the chamber volumes of a lag test"
    )]
    TooLow {
        /// What a step needs.
        step_mm: f64,
        /// What was allowed.
        tallest_mm: f64,
    },
    /// Too few or too many steps were asked for.
    #[error("{0} steps between two spools; choose 2 to 20")]
    Between(usize),
    /// The mesh is none; a fault of this program.
    #[error(transparent)]
    Mesh(#[from] MeshError),
}

/// One band of a test part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Its number over all bars, from 1, in the order of printing.
    pub number: usize,
    /// What the machine is told to feed.
    pub shares: Shares,
    /// Where it begins above the bed, mm.
    pub from_mm: f64,
    /// Where it ends.
    pub to_mm: f64,
}

impl Step {
    /// The middle of the part to measure, mm above the bed: up at the band's upper end, where
    /// the least of the blend before is left.
    pub fn measure_at_mm(&self) -> f64 {
        self.to_mm - MEASURED_MM / 2.0 - 0.5
    }
}

/// One bar to print, with its plan.
#[derive(Clone, Debug)]
pub struct TestPart {
    /// Its bands from the foot upwards.
    pub steps: Vec<Step>,
    /// The bar, standing on the bed, its face towards −y.
    pub mesh: Mesh,
    /// Its plan. The mesh's file is the one that was named.
    pub plan: Plan,
}

impl TestPart {
    /// Makes the bars for some spools: one, or as many as the steps need. `named` gives the
    /// mesh file of each bar, counted from 0 of so many.
    ///
    /// # Errors
    /// [`PartError`].
    ///
    /// ```
    /// use blend::{Spool, SpoolColour, Srgb};
    /// use calibrate::{Options, TestPart};
    /// let spools = [
    ///     Spool::new("Sail white", SpoolColour::Hex(Srgb([0xf2, 0xef, 0xe6]))),
    ///     Spool::new("Deep water", SpoolColour::Hex(Srgb([0x14, 0x50, 0x7a]))),
    /// ];
    /// let machine = plan::Machine::default();
    /// let options = Options::for_spools(2);
    /// let bars = TestPart::all(&spools, &machine, &options, |_, _| "bar.stl".into())?;
    /// assert_eq!(bars.len(), 1);
    /// assert_eq!(bars[0].steps.len(), 11);
    /// # Ok::<(), calibrate::PartError>(())
    /// ```
    pub fn all(
        spools: &[Spool],
        machine: &Machine,
        options: &Options,
        named: impl Fn(usize, usize) -> String,
    ) -> Result<Vec<Self>, PartError> {
        if !(2..=20).contains(&options.between) {
            return Err(PartError::Between(options.between));
        }
        let step_mm = step_height_mm(machine);
        let room = ((options.tallest_mm - FOOT_MM) / step_mm + 1e-9).floor();
        if room.is_nan() || room < 2.0 {
            return Err(PartError::TooLow {
                step_mm,
                tallest_mm: options.tallest_mm,
            });
        }
        let shares: Vec<Shares> = test_steps(spools.len(), options.between)
            .iter()
            .map(|asked| machine.fed(asked))
            .collect();
        let bars = shares.len().div_ceil(room as usize);
        // All bars about equally tall.
        let each = shares.len().div_ceil(bars.max(1)).max(1);
        shares
            .chunks(each)
            .enumerate()
            .map(|(bar, shares)| {
                let steps = steps(bar * each, shares, step_mm);
                let tops: Vec<f64> = steps.iter().map(|s| s.to_mm).collect();
                let mesh = bar_mesh(&tops)?;
                let file = named(bar, bars);
                let plan = plan_of(&steps, spools, machine, file, (bar, bars));
                Ok(Self { steps, mesh, plan })
            })
            .collect()
    }
}

/// The height of a step, mm, in whole layers: what is measured, above what is laid until the
/// blend before is flushed out. Only the bar's skin is counted as laid, for the inside may be
/// printed hollow.
pub(crate) fn step_height_mm(machine: &Machine) -> f64 {
    let skin_mm = 2.0 * machine.nozzle_mm;
    let around_mm = 2.0 * (FACE_MM + DEPTH_MM) - 4.0 * skin_mm;
    let layer_mm3 = around_mm * skin_mm * LAYER_MM;
    let settling = (machine.chamber.flushed_mm3(REST) / layer_mm3).ceil();
    let measured = ((MEASURED_MM + 1.0) / LAYER_MM).ceil();
    (settling + measured) * LAYER_MM
}

fn steps(before: usize, shares: &[Shares], step_mm: f64) -> Vec<Step> {
    let top = |i: usize| rounded(FOOT_MM + step_mm * i as f64);
    shares
        .iter()
        .enumerate()
        .map(|(i, shares)| Step {
            number: before + i + 1,
            shares: *shares,
            from_mm: top(i),
            to_mm: top(i + 1),
        })
        .collect()
}

/// Micrometres are enough, and a person may read it.
fn rounded(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

fn plan_of(
    steps: &[Step],
    spools: &[Spool],
    machine: &Machine,
    file: String,
    (bar, bars): (usize, usize),
) -> Plan {
    let title = match bars {
        1 => "Test print for measuring spools".to_owned(),
        _ => format!("Test print for measuring spools, bar {} of {bars}", bar + 1),
    };
    let regions = steps.iter().enumerate().map(|(i, step)| {
        let paint = Paint::Fixed(step.shares);
        match i {
            0 => Region::new(format!("Foot and step {}", step.number), Mask::Whole, paint),
            _ => {
                let band = Mask::Band {
                    from_mm: step.from_mm,
                    to_mm: step.to_mm,
                };
                Region::new(format!("Step {}", step.number), band, paint)
            }
        }
    });
    Plan {
        version: Plan::VERSION,
        title,
        mesh: MeshSource::named(file),
        spools: spools.to_vec().into(),
        machine: machine.clone().into(),
        layers: LayerPlan {
            first_layer_mm: LAYER_MM,
            layer_mm: LAYER_MM,
            changes: Vec::new(),
        },
        skin_mm: 1.2,
        wall: None,
        step_de00: 4.0,
        filling: Filling::SOLID,
        laying: Default::default(),
        blends: Vec::new(),
        regions: regions.collect(),
    }
}

/// A stack of rectangles joined into a closed bar: a foot that slopes off by 45°, then a bar
/// whose sides are notched by 45° wherever bands meet. The face towards −y is flat all the way up.
fn bar_mesh(tops_mm: &[f64]) -> Result<Mesh, MeshError> {
    let half = FACE_MM / 2.0;
    let foot = (half + FOOT_OUT_MM, DEPTH_MM + FOOT_OUT_MM);
    let bar = (half, DEPTH_MM);
    let mut rings = vec![(0.0, foot), (FOOT_MM - FOOT_OUT_MM, foot), (FOOT_MM, bar)];
    let between = tops_mm.len().saturating_sub(1);
    for top in tops_mm.iter().take(between) {
        rings.push((top - NOTCH_MM, bar));
        rings.push((*top, (half - NOTCH_MM, DEPTH_MM)));
        rings.push((top + NOTCH_MM, bar));
    }
    rings.extend(tops_mm.last().map(|top| (*top, bar)));
    stacked(&rings)
}

/// Rings of (height, (half width, depth)) joined from the bed upwards.
fn stacked(rings: &[(f64, (f64, f64))]) -> Result<Mesh, MeshError> {
    let corners = rings.iter().flat_map(|(z, (half, depth))| {
        [(-half, 0.0), (*half, 0.0), (*half, *depth), (-half, *depth)]
            .map(|(x, y)| DVec3::new(x, y, *z))
    });
    let mut triangles = vec![[0, 2, 1], [0, 3, 2]];
    let rings = rings.len() as u32;
    for ring in 0..rings.saturating_sub(1) {
        for side in 0..4 {
            let (a, b) = (4 * ring + side, 4 * ring + (side + 1) % 4);
            triangles.extend([[a, b, b + 4], [a, b + 4, a + 4]]);
        }
    }
    let top = 4 * rings.saturating_sub(1);
    triangles.extend([[top, top + 1, top + 2], [top, top + 2, top + 3]]);
    Mesh::new(corners.collect(), triangles)
}

#[cfg(test)]
mod tests {
    use blend::{SpoolColour, Srgb};

    use super::*;

    fn spools(count: usize) -> Vec<Spool> {
        (0..count)
            .map(|i| Spool::new(format!("spool {i}"), SpoolColour::Hex(Srgb([i as u8; 3]))))
            .collect()
    }

    fn bars(count: usize) -> Vec<TestPart> {
        let options = Options::for_spools(count);
        TestPart::all(&spools(count), &Machine::default(), &options, |bar, _| {
            format!("{bar}.stl")
        })
        .unwrap()
    }

    #[test]
    fn the_lag_has_settled_where_a_step_is_measured() {
        let machine = Machine::default();
        let height = step_height_mm(&machine);
        let layers = height / LAYER_MM;
        assert!((layers - layers.round()).abs() < 1e-9);
        for bar in bars(2) {
            for step in &bar.steps {
                let lowest = step.measure_at_mm() - MEASURED_MM / 2.0;
                let laid = (lowest - step.from_mm) * 64.8 * 0.8;
                assert!(machine.chamber.step_response(laid) > 0.98, "{laid}");
            }
        }
    }

    #[test]
    fn the_bar_is_closed_and_its_plan_is_sound() {
        for count in [2, 3] {
            for bar in bars(count) {
                let mut open = std::collections::HashMap::<(u32, u32), i32>::new();
                for [a, b, c] in bar.mesh.triangles() {
                    for (from, to) in [(a, b), (b, c), (c, a)] {
                        *open.entry((*from.min(to), *from.max(to))).or_default() +=
                            if from < to { 1 } else { -1 };
                    }
                }
                assert!(open.values().all(|n| *n == 0));
                let (lo, hi) = bar.mesh.bounds();
                assert_eq!(lo.z, 0.0);
                assert!(hi.z <= 200.0 && bar.mesh.volume_mm3() > 0.0);
                assert!(bar.plan.problems().is_empty(), "{:?}", bar.plan.problems());
                let text = bar.plan.to_ron().unwrap();
                assert_eq!(Plan::from_ron(&text).unwrap(), bar.plan);
            }
        }
    }

    #[test]
    fn steps_that_do_not_fit_go_on_another_bar() {
        let three = bars(3);
        assert!(three.len() > 1);
        let numbers: Vec<usize> = three
            .iter()
            .flat_map(|b| b.steps.iter().map(|s| s.number))
            .collect();
        assert_eq!(numbers, (1..=22).collect::<Vec<_>>());
        let low = Options {
            between: 5,
            tallest_mm: 20.0,
        };
        let error = TestPart::all(&spools(2), &Machine::default(), &low, |_, _| String::new());
        assert!(error.unwrap_err().to_string().contains("taller"));
    }
}
