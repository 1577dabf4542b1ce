//! The label at a point, and how far round it there is no other.

use glam::DVec3;
use rustc_hash::FxHashMap;

use super::Pieces;
use crate::{Surface, SurfacePoint};

/// The label of what has none.
pub const NO_LABEL: u8 = u8::MAX;

/// Labels below this one can be told apart by place.
const MOST_LABELS: u8 = 63;

/// Edge of the smallest cells by which a neighbourhood is looked up, in pieces.
const CELL: f64 = 2.0;

/// Pieces that are longer than so many cells are in none.
const MOST_CELLS: i32 = 8;

/// How often cells are doubled.
const LEVELS: usize = 8;

/// A skin whose pieces have labels.
///
/// ```
/// use std::sync::Arc;
/// use geometry::{DVec3, Surface, SurfacePoint, solids};
/// use geometry::pieces::{Labelled, Pieces};
///
/// let surface = Surface::new(Arc::new(solids::cuboid(DVec3::splat(20.0))?));
/// let mesh = surface.mesh();
/// let pieces = Pieces::new(mesh, 1.0);
/// // The upper half has label 1.
/// let middle = mesh.bounds().0.z + 10.0;
/// let upper = |facet: usize| {
///     let corners = mesh.corners(facet);
///     pieces.each_of(mesh, facet).map(move |piece| {
///         let [a, b, c] = piece.weights(0.5, 0.5);
///         u8::from((corners[0] * a + corners[1] * b + corners[2] * c).z > middle)
///     })
/// };
/// let labels = (0..mesh.triangles().len()).flat_map(upper).collect();
/// let labelled = Labelled::new(surface.clone(), pieces.clone(), labels);
/// let at = surface.nearest(DVec3::new(100.0, 0.0, middle + 8.0));
/// assert_eq!(labelled.label(at), 1);
/// assert!(labelled.clearance_mm(at.point_mm, |label| label == 1) > 1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone)]
pub struct Labelled {
    surface: Surface,
    pieces: Pieces,
    labels: Vec<u8>,
    /// The labels in cells, each level's twice as wide as those before.
    cells: Vec<FxHashMap<[i32; 3], u64>>,
    /// The labels of pieces that are far longer than a cell: they may be anywhere.
    anywhere: u64,
    cell_mm: f64,
}

impl Labelled {
    /// Takes the pieces of a surface's mesh with a label for each, below 63 or [`NO_LABEL`].
    pub fn new(surface: Surface, pieces: Pieces, labels: Vec<u8>) -> Self {
        let cell_mm = CELL * pieces.size_mm();
        let mut labelled = Self {
            cells: vec![FxHashMap::default()],
            surface,
            pieces,
            labels,
            anywhere: 0,
            cell_mm,
        };
        labelled.fill_cells();
        labelled
    }

    /// The surface whose skin it is.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The pieces.
    pub fn pieces(&self) -> &Pieces {
        &self.pieces
    }

    /// The label of each piece.
    pub fn labels(&self) -> &[u8] {
        &self.labels
    }

    /// The label at a point of its own skin.
    pub fn label(&self, at: SurfacePoint) -> u8 {
        let piece = self.pieces.at(self.surface.mesh(), at.facet, at.point_mm);
        self.labels.get(piece).copied().unwrap_or(NO_LABEL)
    }

    /// The label at a point of any skin: that of the nearest point of its own.
    pub fn label_near(&self, point_mm: DVec3) -> u8 {
        self.label(self.surface.nearest(point_mm))
    }

    /// A distance within which all of the skin's labels are among those asked for, or none is, mm;
    /// there may be room to spare, and 0 where nothing is known.
    pub fn clearance_mm(&self, place_mm: DVec3, asked: impl Fn(u8) -> bool) -> f64 {
        let wanted = (0..64).fold(0u64, |all, bit| {
            all | u64::from(asked(label_of(bit))) << bit
        });
        let mut clear_mm = 0.0;
        for (level, cells) in self.cells.iter().enumerate() {
            let edge_mm = self.cell_mm * f64::from(1u32 << level);
            let found = self.anywhere | around(cells, cell(place_mm, edge_mm));
            if found & wanted != 0 && found & !wanted != 0 {
                break;
            }
            // Within the cells about its own one, it has at least one's edge to each side.
            clear_mm = edge_mm;
        }
        clear_mm
    }

    fn fill_cells(&mut self) {
        let mesh = self.surface.mesh();
        let mut number = 0;
        let mut last: Option<([i32; 3], u64)> = None;
        for facet in 0..mesh.triangles().len() {
            let corners = mesh.corners(facet);
            for piece in self.pieces.each_of(mesh, facet) {
                let bit = 1u64 << bit_of(self.labels.get(number).copied().unwrap_or(NO_LABEL));
                number += 1;
                let places = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
                let places = places.map(|(along, up)| {
                    let [a, b, c] = piece.weights(along, up);
                    cell(
                        corners[0] * a + corners[1] * b + corners[2] * c,
                        self.cell_mm,
                    )
                });
                let [mut low, mut high] = [places[0]; 2];
                for place in &places[1..] {
                    for axis in 0..3 {
                        low[axis] = low[axis].min(place[axis]);
                        high[axis] = high[axis].max(place[axis]);
                    }
                }
                let long = (0..3).any(|axis| high[axis].saturating_sub(low[axis]) > MOST_CELLS);
                if long {
                    self.anywhere |= bit;
                    continue;
                }
                if low == high && last == Some((low, bit)) {
                    continue;
                }
                last = (low == high).then_some((low, bit));
                for x in low[0]..=high[0] {
                    for y in low[1]..=high[1] {
                        for z in low[2]..=high[2] {
                            *self.cells[0].entry([x, y, z]).or_default() |= bit;
                        }
                    }
                }
            }
        }
        for _ in 1..LEVELS {
            let mut wider = FxHashMap::default();
            if let Some(cells) = self.cells.last() {
                for (place, bits) in cells {
                    *wider.entry(place.map(|x| x.div_euclid(2))).or_default() |= bits;
                }
            }
            self.cells.push(wider);
        }
    }
}

fn bit_of(label: u8) -> u8 {
    label.min(MOST_LABELS)
}

fn label_of(bit: u8) -> u8 {
    if bit == MOST_LABELS { NO_LABEL } else { bit }
}

fn cell(place: DVec3, edge_mm: f64) -> [i32; 3] {
    (place / edge_mm).floor().to_array().map(|x| x as i32)
}

/// The labels in a cell and in those about it.
fn around(cells: &FxHashMap<[i32; 3], u64>, [x, y, z]: [i32; 3]) -> u64 {
    let mut found = 0;
    for dx in -1..=1 {
        for dy in -1..=1 {
            for dz in -1..=1 {
                let place = [
                    x.saturating_add(dx),
                    y.saturating_add(dy),
                    z.saturating_add(dz),
                ];
                found |= cells.get(&place).copied().unwrap_or(0);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    fn quartered() -> Labelled {
        let surface = Surface::new(Arc::new(solids::icosphere(10.0, 3).unwrap()));
        let mesh = surface.mesh();
        let pieces = Pieces::new(mesh, 0.5);
        let of_facet = |facet: usize| {
            let corners = mesh.corners(facet);
            pieces.each_of(mesh, facet).map(move |piece| {
                let [a, b, c] = piece.weights(0.5, 0.5);
                let middle = corners[0] * a + corners[1] * b + corners[2] * c;
                match (middle.x > 0.0, middle.z > 3.0) {
                    (_, true) => NO_LABEL,
                    (true, _) => 1,
                    (false, _) => 0,
                }
            })
        };
        let labels = (0..mesh.triangles().len()).flat_map(of_facet).collect();
        Labelled::new(surface.clone(), pieces.clone(), labels)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn within_its_clearance_nothing_changes(seed in any::<u64>()) {
            let labelled = quartered();
            let mut state = seed | 1;
            let mut next = || {
                state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
            };
            let mut point = || labelled.surface().nearest(DVec3::new(next(), next(), next()) * 30.0);
            let at = point();
            for asked in [0, 1, NO_LABEL] {
                let is = |at| labelled.label(at) == asked;
                let clear = labelled.clearance_mm(at.point_mm, |label| label == asked);
                for _ in 0..200 {
                    let other = point();
                    if other.point_mm.distance(at.point_mm) < clear {
                        prop_assert_eq!(is(other), is(at));
                    }
                }
            }
        }
    }

    #[test]
    fn far_from_an_edge_there_is_room() {
        let labelled = quartered();
        let at = labelled.surface().nearest(DVec3::new(10.0, 0.0, -3.0));
        assert!(labelled.clearance_mm(at.point_mm, |label| label == 1) >= 2.0);
        assert_eq!(labelled.label_near(DVec3::new(0.0, 0.0, 50.0)), NO_LABEL);
    }
}
