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
mod recipe;
mod shape;

use std::io::{self, Write};

use emit::Emitter;
use recipe::Strip;
use shape::Area;

pub use recipe::{Made, Recipe, Retraction, Slice, Stand};

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
