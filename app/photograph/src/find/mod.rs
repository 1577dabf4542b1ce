//! Finding the card's marks in a photograph.
//!
//! Dark patches are cut out by a threshold that follows the light, those whose hull is a
//! quadrilateral are read as marks, and the corners of marks are found between pixels by lines
//! through their edges.

mod blobs;
mod edges;
mod shrunk;

use crate::Photo;
use crate::homography::{Homography, Point};
use crate::mark::{self, CELLS, Read};

pub use edges::Edge;

/// A mark in a photograph.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Its place in [`mark::NUMBERS`].
    pub index: usize,
    /// Its corners, px: upper left, upper right, lower right and lower left of the card's mark.
    pub corners: [Point; 4],
    /// How wide its edges are in the picture, from a tenth to nine tenths, px.
    pub edge_px: f64,
    /// Cells that were misread.
    pub wrong: u32,
}

/// All marks of the card in a photograph, each once, by their index; those that are there
/// several times are left out and named apart.
pub fn marks(photo: &Photo) -> (Vec<Found>, Vec<usize>) {
    let (small, factor) = shrunk::shrunk(photo);
    let mut found: Vec<Found> = Vec::new();
    for corners in blobs::quadrilaterals(&small) {
        let corners = corners.map(|(x, y)| (x * factor, y * factor));
        if let Some(mark) = read(photo, corners) {
            found.push(mark);
        }
    }
    found.sort_by_key(|mark| mark.index);
    let mut several = Vec::new();
    for pair in found.windows(2) {
        if let [one, other] = pair
            && one.index == other.index
            && !several.contains(&one.index)
        {
            several.push(one.index);
        }
    }
    found.retain(|mark| !several.contains(&mark.index));
    (found, several)
}

/// A mark, if a quadrilateral of the picture is one.
fn read(photo: &Photo, rough: [Point; 4]) -> Option<Found> {
    let side = side(&rough);
    if side < 2.0 * CELLS as f64 {
        return None;
    }
    let (seen, wrong_way) = bits(photo, &rough)?;
    if wrong_way {
        return None;
    }
    let Read {
        quarters, wrong, ..
    } = mark::read(seen)?;
    let Read { index, .. } = mark::read(seen)?;
    let mut edge = edges::refined(photo, rough, side / CELLS as f64)?;
    // Once more from where they are now: the first search may have been cut short.
    edge = edges::refined(photo, edge.corners, side / CELLS as f64).unwrap_or(edge);
    let mut corners = edge.corners;
    corners.rotate_left(quarters);
    Some(Found {
        index,
        corners,
        edge_px: edge.width_px,
        wrong,
    })
}

/// The mean side of a quadrilateral, px.
fn side(corners: &[Point; 4]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    let sides = corners.iter().zip(next);
    sides
        .map(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1))
        .sum::<f64>()
        / 4.0
}

/// The 25 bits in a quadrilateral from its first corner, and whether its border is not black.
fn bits(photo: &Photo, corners: &[Point; 4]) -> Option<(u32, bool)> {
    let cells = CELLS as f64;
    let square = [(0.0, 0.0), (cells, 0.0), (cells, cells), (0.0, cells)];
    let pairs: Vec<_> = square.into_iter().zip(*corners).collect();
    let map = Homography::fit(&pairs)?;
    let cell = |row: usize, column: usize| {
        let mut sum = 0.0;
        for i in 0..9 {
            let x = column as f64 + 0.3 + 0.2 * f64::from(i % 3);
            let y = row as f64 + 0.3 + 0.2 * f64::from(i / 3);
            sum += photo.luminance_at(map.map((x, y))?)?.sqrt() / 9.0;
        }
        Some(sum)
    };
    let mut light = [[0.0; CELLS]; CELLS];
    for (row, cells) in light.iter_mut().enumerate() {
        for (column, light) in cells.iter_mut().enumerate() {
            *light = cell(row, column)?;
        }
    }
    let is_border = |row: usize, column: usize| {
        row == 0 || column == 0 || row == CELLS - 1 || column == CELLS - 1
    };
    let all = || {
        let rows = light.iter().enumerate();
        rows.flat_map(|(row, cells)| cells.iter().enumerate().map(move |(c, v)| (row, c, *v)))
    };
    let border = all().filter(|(row, column, _)| is_border(*row, *column));
    let (sum, most) = border.fold((0.0, 0.0_f64), |(sum, most), (.., v)| {
        (sum + v, most.max(v))
    });
    let dark = sum / (4 * (CELLS - 1)) as f64;
    let white = all().map(|(.., v)| v).fold(0.0, f64::max);
    let middle = (dark + white) / 2.0;
    let inside = all().filter(|(row, column, _)| !is_border(*row, *column));
    let seen = inside.fold(0, |bits, (.., v)| bits << 1 | u32::from(v > middle));
    Some((seen, most > middle || white < 1.3 * dark))
}
