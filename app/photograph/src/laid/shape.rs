//! What lies on the card: a sample's shape, and the face of it that is read.

/// A sample's shape, in its own millimetres: x across the face, y into it, z from the foot.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Its corners.
    pub points: Vec<[f64; 3]>,
    /// Its edges, by their corners.
    pub edges: Vec<[usize; 2]>,
    /// The face that looks up.
    pub face: Face,
}

/// A sample's flat face, a rectangle: what a person's frame goes round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Face {
    /// Half of its width, mm.
    pub half_mm: f64,
    /// Where it lies along y, mm.
    pub depth_mm: f64,
    /// Its length from the foot's end, mm.
    pub length_mm: f64,
}

impl Face {
    /// Its corners: with the foot towards you the upper left one, and on clockwise.
    pub fn corners(&self) -> [[f64; 3]; 4] {
        let (half, depth, length) = (self.half_mm, self.depth_mm, self.length_mm);
        [
            [-half, depth, length],
            [half, depth, length],
            [half, depth, 0.0],
            [-half, depth, 0.0],
        ]
    }
}

impl Shape {
    /// The same turned end for end.
    pub(super) fn turned(&self) -> Self {
        let mut turned = self.clone();
        let top = self.points.iter().map(|p| p[2]).fold(0.0, f64::max);
        for point in &mut turned.points {
            *point = [-point[0], point[1], top - point[2]];
        }
        turned
    }
}
