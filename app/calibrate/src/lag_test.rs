//! The lag test: a thin square tower that changes its blend a few times, its plan, and the
//! tables for what is read off it.
//!
//! The tower is all wall, two lines thick, so that no slicer leaves anything hollow: what is
//! laid at a height is then known. It is narrow, so that the chamber's content spreads over
//! some millimetres of height.

use std::fmt::Write as _;

use blend::{MixModel, Shares, Spool, ciede2000};
use geometry::mesh::MeshError;
use geometry::{DVec3, LayerPlan, Mask, Mesh};
use plan::{Filling, Laying, Machine, MeshSource, Paint, Plan, Region};

use project::cautions;

/// Side of the tower, mm.
pub(crate) const SIDE_MM: f64 = 10.0;
/// How far the foot stands out, mm.
pub(crate) const FOOT_OUT_MM: f64 = 5.0;
/// Thickness of the foot, mm.
const FOOT_MM: f64 = 1.0;
/// Layers, mm.
const LAYER_MM: f64 = 0.2;
/// How often the blend changes.
const CHANGES: usize = 4;
/// What may be left of the blend before at a band's end.
const REST: f64 = 0.005;
/// A chamber may be so many times what the machine file says before bands run into each other.
const SPARE: f64 = 2.0;
/// What is pure at the end of each band, mm.
const PURE_MM: f64 = 3.0;
/// Bands no higher than this, mm.
const HIGHEST_MM: f64 = 40.0;

/// A lag test to print.
#[derive(Clone, Debug)]
pub struct LagTest {
    /// The tower on the bed.
    pub mesh: Mesh,
    /// Its plan: every command at its place, nothing sent ahead.
    pub plan: Plan,
    /// Where the blend is told to change, mm.
    pub changes_mm: Vec<f64>,
}

/// Why there is no lag test.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LagTestError {
    /// No two spools differ enough.
    #[error(
        "these spools differ by at most ΔE00 {0:.1}, so a lag can't be seen; use a dark and a \
         light spool for this test"
    )]
    TooAlike(f64),
    /// Bands would be too high.
    #[error(
        "the chamber in the machine file needs bands {0:.0} mm high, and a thin tower of that \
         height would fall over; is its volume in mm³?"
    )]
    TooHigh(f64),
    /// The mesh is none; a fault of this program.
    #[error(transparent)]
    Mesh(#[from] MeshError),
}

impl LagTest {
    /// Makes the test for some spools; `file` is the mesh's name in the plan. The two spools
    /// that differ most are printed in turn.
    ///
    /// # Errors
    /// [`LagTestError`].
    pub fn new(
        spools: &[Spool],
        model: &dyn MixModel,
        machine: &Machine,
        file: &str,
    ) -> Result<Self, LagTestError> {
        let pair = most_different(spools.len(), model)?;
        let wall_mm = 2.0 * machine.nozzle_mm;
        let area_mm2 = 4.0 * (SIDE_MM - wall_mm) * wall_mm;
        let settled_mm = SPARE * machine.chamber.flushed_mm3(REST) / area_mm2;
        if settled_mm > HIGHEST_MM {
            return Err(LagTestError::TooHigh(settled_mm));
        }
        let band_mm = ((settled_mm + PURE_MM) / LAYER_MM).ceil() * LAYER_MM;
        let foot_mm = FOOT_MM + FOOT_OUT_MM;
        let changes_mm: Vec<f64> = (0..CHANGES)
            .map(|i| round(foot_mm + PURE_MM + band_mm * i as f64))
            .collect();
        let top_mm = round(foot_mm + PURE_MM + band_mm * CHANGES as f64);
        Ok(Self {
            mesh: tower(wall_mm, top_mm)?,
            plan: plan_of(spools, machine, file, pair, (&changes_mm, top_mm)),
            changes_mm,
        })
    }

    /// An empty table for colours by height: every two layers from before each change on.
    pub fn colour_table(&self) -> String {
        let mut text = String::from(
            "# Colours of the lag test by height: l, a, b (CIELAB, D65, 2°) or hex.\n\
             # Fill in as many rows as you can read, and leave the rest empty.\n\
             height_mm,l,a,b,hex\n",
        );
        let ends = self.changes_mm.iter().skip(1).copied();
        let top = self.plan_top_mm();
        for (from, to) in self.changes_mm.iter().zip(ends.chain([top])) {
            let mut at = from - 1.0 + LAYER_MM / 2.0;
            while at < to - 1.0 - LAYER_MM {
                // A String takes whatever is written.
                let _ = writeln!(text, "{at:.1},,,,");
                at += 2.0 * LAYER_MM;
            }
        }
        text
    }

    /// An empty table for where changes began and ended.
    pub fn ends_table(&self) -> String {
        let mut text = String::from(
            "# Lag test: where each change was first seen, and where the new colour was first \
             pure,\n\
             # in mm above the bed. Read along the middle of one side with a ruler and a lens.\n\
             change,begins_mm,ends_mm\n",
        );
        for i in 1..=self.changes_mm.len() {
            let _ = writeln!(text, "{i},,");
        }
        text
    }

    /// A page that says how to print and read it.
    pub fn guide(&self) -> String {
        let list: Vec<String> = self
            .changes_mm
            .iter()
            .map(|mm| format!("{mm:.1}"))
            .collect();
        let mut text = format!(
            "Lag test\n\
             \n\
             A square tower of {SIDE_MM} mm with a wall of two lines, {:.1} mm high. The commands \
             change\n\
             the blend at {} mm above the bed. The dead volume of the melt chamber delays the \
             change,\n\
             and its mixed volume slows it.\n\
             \n\
             Print it\n\
             - alone on the bed, in layers of {LAYER_MM} mm, with two walls, no infill, no top, no \
             ironing;\n\
             - with every change of blend as in the schedule, at the beginning of its layer;\n\
             - slowly enough that each layer sets: 10 s or more for a layer. A brim keeps it \
             upright.\n\
             \n\
             Read it in one of two ways\n\
             - with a ruler and a lens: for each change, find the height where the old colour \
             first begins\n  \
             to change, and the height where the new colour is first pure. Fill in ends.csv.\n\
             - from colours, which is better: use a photograph, or a colorimeter with a small \
             opening, by\n  \
             height along the middle of one side. Fill in colours.csv.\n\
             \n\
             Then run\n  \
             tintfall lag-fit lag-test.plan.ron ends.csv --out machine.ron\n\
             and name that file in your plans: machine: \"machine.ron\".\n\
             \n\
             Before you print\n",
            self.plan_top_mm(),
            list.join(", ")
        );
        for caution in cautions::SHORT {
            let _ = writeln!(text, "  - {caution}");
        }
        text
    }

    fn plan_top_mm(&self) -> f64 {
        self.mesh.bounds().1.z
    }
}

/// The two components whose colours differ most.
fn most_different(count: usize, model: &dyn MixModel) -> Result<[Shares; 2], LagTestError> {
    let pure: Vec<Shares> = (0..count).filter_map(|i| Shares::pure(i, count)).collect();
    let mut best: Option<(f64, [Shares; 2])> = None;
    for (i, one) in pure.iter().enumerate() {
        for other in pure.iter().skip(i + 1) {
            let off = ciede2000(model.mix(one).to_lab(), model.mix(other).to_lab());
            if best.is_none_or(|(most, _)| off > most) {
                best = Some((off, [*one, *other]));
            }
        }
    }
    match best {
        Some((off, pair)) if off >= 10.0 => Ok(pair),
        Some((off, _)) => Err(LagTestError::TooAlike(off)),
        None => Err(LagTestError::TooAlike(0.0)),
    }
}

fn plan_of(
    spools: &[Spool],
    machine: &Machine,
    file: &str,
    pair: [Shares; 2],
    (changes_mm, top_mm): (&[f64], f64),
) -> Plan {
    let mut regions = vec![Region::new(
        "Foot and first band",
        Mask::Whole,
        Paint::Fixed(pair[0]),
    )];
    let ends = changes_mm.iter().skip(1).copied().chain([top_mm]);
    let in_turn = pair.iter().cycle().skip(1);
    let bands = changes_mm.iter().copied().zip(ends).zip(in_turn);
    for (i, ((from_mm, to_mm), shares)) in bands.enumerate() {
        let paint = Paint::Fixed(*shares);
        let band = Mask::Band { from_mm, to_mm };
        regions.push(Region::new(format!("Band {}", i + 2), band, paint));
    }
    Plan {
        version: Plan::VERSION,
        title: "Lag test".to_owned(),
        mesh: MeshSource::named(file),
        spools: spools.to_vec().into(),
        machine: machine.clone().into(),
        layers: LayerPlan::plain(LAYER_MM, LAYER_MM),
        skin_mm: 1.2,
        wall: None,
        step_de00: 4.0,
        filling: Filling::SOLID,
        laying: Laying {
            lead: false,
            ..Laying::default()
        },
        blends: Vec::new(),
        regions,
    }
}

/// A square tube with a foot: a closed profile carried round four corners.
fn tower(wall_mm: f64, top_mm: f64) -> Result<Mesh, MeshError> {
    let outer = SIDE_MM / 2.0;
    let inner = outer - wall_mm;
    let foot = outer + FOOT_OUT_MM;
    // Half sides and heights, outside upwards, then down the inside.
    let profile = [
        (foot, 0.0),
        (foot, FOOT_MM),
        (outer, FOOT_MM + FOOT_OUT_MM),
        (outer, top_mm),
        (inner, top_mm),
        (inner, 0.0),
    ];
    let corners = profile.iter().flat_map(|&(half, z)| {
        [(-half, -half), (half, -half), (half, half), (-half, half)]
            .map(|(x, y)| DVec3::new(x, y, z))
    });
    let rings = profile.len() as u32;
    let mut triangles = Vec::new();
    for ring in 0..rings {
        let above = (ring + 1) % rings;
        for side in 0..4 {
            let next = (side + 1) % 4;
            let (a, b) = (4 * ring + side, 4 * ring + next);
            let (c, d) = (4 * above + next, 4 * above + side);
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    Mesh::new(corners.collect(), triangles)
}

/// Micrometres are enough, and a person may read it.
fn round(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}
