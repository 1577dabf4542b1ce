//! How much of each layer a printer leaves to sparse lines: what lies within walls, and under
//! and over enough other layers.

use rayon::prelude::*;

use super::{Layer, RowGrid, Rows};
use crate::{Cancelled, Progress};

/// The fewest rows across a part, so that small ones are measured.
const FEWEST_ROWS: usize = 192;
/// The most, so that large ones are done in time.
const MOST_ROWS: usize = 1200;
/// Rows in the thickness of the walls.
const ROWS_IN_WALLS: f64 = 6.0;
/// Rows where there are no walls, mm from each other.
const WITHOUT_WALLS_MM: f64 = 0.5;

/// What of a part is solid wherever it is printed: its walls, its bottoms and its tops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shell {
    /// Thickness of all walls together, mm.
    pub walls_mm: f64,
    /// Solid layers beneath which there is nothing.
    pub bottom_layers: usize,
    /// Solid layers above which there is nothing.
    pub top_layers: usize,
}

/// For each layer the share of its area that lies within the shell, 0 to 1: farther from the
/// outline than the walls, and covered by the outlines of so many layers below and above.
///
/// Measured on level rows across the outlines, so it is right to about a row in the walls'
/// thickness; bridges and thin walls are left to the program that slices.
///
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use geometry::layers::{self, Shell, sparse_shares};
/// use geometry::{DVec3, LayerPlan, Progress, solids};
/// let block = solids::cuboid(DVec3::new(20.0, 20.0, 4.0))?;
/// let layers = layers::cut(&block, &LayerPlan::plain(0.2, 0.2), &Progress::new())?;
/// let shell = Shell { walls_mm: 1.0, bottom_layers: 3, top_layers: 4 };
/// let shares = sparse_shares(&layers, shell, &Progress::new())?;
/// assert_eq!((shares[2], shares[16]), (0.0, 0.0));
/// assert!((shares[3] - 18.0 * 18.0 / 400.0).abs() < 0.01);
/// # Ok(())
/// # }
/// ```
///
/// # Errors
/// [`Cancelled`].
pub fn sparse_shares(
    layers: &[Layer],
    shell: Shell,
    progress: &Progress,
) -> Result<Vec<f64>, Cancelled> {
    let apart_mm = match shell.walls_mm > 0.0 {
        true => shell.walls_mm / ROWS_IN_WALLS,
        false => WITHOUT_WALLS_MM,
    };
    let contours = layers.iter().flat_map(|layer| &layer.contours);
    let grid = RowGrid::across(contours, apart_mm, FEWEST_ROWS, MOST_ROWS);
    let rows: Vec<Rows> = layers
        .par_iter()
        .map(|layer| {
            progress.check()?;
            Ok(Rows::new(&layer.contours, grid))
        })
        .collect::<Result<_, Cancelled>>()?;
    (0..layers.len())
        .into_par_iter()
        .map(|index| {
            progress.check()?;
            Ok(share(&rows, index, shell))
        })
        .collect()
}

fn share(rows: &[Rows], index: usize, shell: Shell) -> f64 {
    let whole = rows.get(index).map_or(0.0, Rows::area_mm2);
    let covered = index
        .checked_sub(shell.bottom_layers)
        .and_then(|first| rows.get(first..=index.saturating_add(shell.top_layers)));
    let (Some(covered), Some(own)) = (covered, rows.get(index)) else {
        return 0.0;
    };
    if whole <= 0.0 {
        return 0.0;
    }
    let mut left = own.inset(shell.walls_mm);
    for other in covered {
        left.keep_common(other);
    }
    (left.area_mm2() / whole).clamp(0.0, 1.0)
}
