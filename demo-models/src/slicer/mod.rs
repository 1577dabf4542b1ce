//! A small maker of toolpaths, for tests and demos only.
//!
//! It lays walls, solid bottoms and tops, and sparse lines between, from plain contours. It
//! sets no temperature, homes nothing and knows no machine: what it makes shows what Tintfall
//! does with a toolpath, and is not meant for a printer. Use a real slicer for that.
//!
//! ```
//! use demo_models::slicer::{Recipe, Slice, generate};
//! let square = vec![vec![[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]]];
//! let slices: Vec<Slice<'_>> = (1..=10)
//!     .map(|i| Slice { top_mm: 0.2 * f64::from(i), height_mm: 0.2, contours: &square })
//!     .collect();
//! let mut file = Vec::new();
//! let made = generate(&slices, &Recipe::default(), &mut file)?;
//! assert!(made.filament_mm > 100.0);
//! # Ok::<(), std::io::Error>(())
//! ```

mod emit;
mod fill;
mod fit;
mod shape;

use std::io::{self, Write};

use toolpath::Distance;

use emit::Emitter;
use shape::Area;

/// One layer of the part.
#[derive(Clone, Copy, Debug)]
pub struct Slice<'a> {
    /// Height of its top above the bed, mm.
    pub top_mm: f64,
    /// Its thickness, mm.
    pub height_mm: f64,
    /// Closed contours, mm, the first point not repeated: even-odd, so a contour within
    /// another is a hole.
    pub contours: &'a [Vec<[f64; 2]>],
}

/// How the strand is held back on the way between two lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Retraction {
    /// Not at all.
    None,
    /// By an E move of so many millimetres.
    Length(f64),
    /// By G10 and G11.
    Firmware,
}

/// Where a copy of the part stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stand {
    /// Turn about the origin, degrees, counter-clockwise; before the shift.
    pub turn_deg: f64,
    /// Shift, mm.
    pub shift_mm: [f64; 2],
}

/// What to lay down.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Width of a line, mm.
    pub line_width_mm: f64,
    /// Walls, from the outside inwards.
    pub walls: usize,
    /// Solid layers at each bottom and top.
    pub solid_layers: usize,
    /// Distance between sparse lines, mm; none without.
    pub sparse_mm: Option<f64>,
    /// Filament diameter, mm.
    pub filament_diameter_mm: f64,
    /// How E counts.
    pub extruder: Distance,
    /// How the strand is held back.
    pub retraction: Retraction,
    /// Arcs in place of short straight moves that lie within so many mm of one.
    pub arcs_within_mm: Option<f64>,
    /// Speed of lines, mm/min.
    pub print_mm_min: f64,
    /// Speed between lines, mm/min.
    pub travel_mm_min: f64,
    /// Copies of the part.
    pub stands: Vec<Stand>,
    /// End of line.
    pub end: &'static str,
    /// Line numbers and checksums.
    pub checked: bool,
}

impl Default for Recipe {
    /// A 0.4 mm nozzle's usual numbers: common practice, no source.
    fn default() -> Self {
        Self {
            line_width_mm: 0.45,
            walls: 3,
            solid_layers: 4,
            sparse_mm: Some(3.0),
            filament_diameter_mm: 1.75,
            extruder: Distance::Relative,
            retraction: Retraction::Length(0.8),
            arcs_within_mm: None,
            print_mm_min: 2400.0,
            travel_mm_min: 9000.0,
            stands: vec![Stand::default()],
            end: "\n",
            checked: false,
        }
    }
}

/// What was laid down.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Made {
    /// Filament, mm.
    pub filament_mm: f64,
    /// Lines and arcs with plastic.
    pub moves: u64,
}

/// Writes the toolpath of a part, layer by layer.
///
/// # Errors
/// The stream's.
pub fn generate(slices: &[Slice<'_>], recipe: &Recipe, out: impl Write) -> io::Result<Made> {
    let mut emitter = Emitter::new(out, recipe);
    emitter.begin()?;
    let areas: Vec<Area> = slices.iter().map(|s| Area::new(s.contours)).collect();
    for (index, slice) in slices.iter().enumerate() {
        let lines = lay(&areas, index, recipe);
        emitter.layer(slice)?;
        for stand in &recipe.stands {
            emitter.lines(&lines, stand)?;
        }
    }
    emitter.finish()
}

/// A line to print: open, or closed back to its start.
#[derive(Clone, Debug)]
struct Strip {
    points: Vec<[f64; 2]>,
    closed: bool,
}

/// The lines of one layer, one island after another: a layer begins where the last one ended.
fn lay(areas: &[Area], index: usize, recipe: &Recipe) -> Vec<Strip> {
    let Some(area) = areas.get(index) else {
        return Vec::new();
    };
    let covered = match recipe.solid_layers {
        0 => None,
        layers => covered(areas, index, layers),
    };
    let mut islands: Vec<Area> = area.islands().collect();
    if !index.is_multiple_of(2) {
        islands.reverse();
    }
    let lines = |island: &Area| lay_island(island, covered.as_ref(), index, recipe);
    islands.iter().flat_map(lines).collect()
}

/// The lines of one island: walls from the inside outwards, then solid, then sparse.
fn lay_island(island: &Area, covered: Option<&Area>, index: usize, recipe: &Recipe) -> Vec<Strip> {
    let width = recipe.line_width_mm;
    let mut strips = Vec::new();
    for wall in (0..recipe.walls).rev() {
        let inset = island.inset(width * (wall as f64 + 0.5));
        strips.extend(inset.contours().map(|points| Strip {
            points,
            closed: true,
        }));
    }
    let inner = island.inset(width * (recipe.walls as f64 - 0.1).max(0.0));
    let angle = if index.is_multiple_of(2) { 45.0 } else { 135.0 };
    let (solid, sparse) = match (recipe.solid_layers, covered) {
        (0, _) => (Area::default(), inner),
        (_, Some(covered)) => (inner.without(covered), inner.common(covered)),
        (_, None) => (inner, Area::default()),
    };
    strips.extend(fill::lines(&solid, width, angle));
    if let Some(spacing) = recipe.sparse_mm {
        strips.extend(fill::lines(&sparse, spacing, angle));
    }
    strips
}

/// What lies under and over enough other layers to need no solid fill; `None` if nothing does.
fn covered(areas: &[Area], index: usize, layers: usize) -> Option<Area> {
    let first = index.checked_sub(layers)?;
    let near = areas.get(first..=index + layers)?;
    let (start, rest) = near.split_first()?;
    Some(
        rest.iter()
            .fold(start.clone(), |all, area| all.common(area)),
    )
}
