//! One line of an outline.

use glam::DVec2;
use serde::Serialize;

/// One line of the outline at a height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contour {
    /// Points in order, mm; the line from the last back to the first is part of a closed
    /// contour and is not repeated. The plastic is to the left: outer contours run
    /// counter-clockwise seen from above, holes clockwise.
    pub points_mm: Vec<DVec2>,
    /// False where the mesh is open and the line could not be closed.
    pub closed: bool,
}

impl Contour {
    /// Area within, mm²; negative for a hole. An open contour is closed by a straight line.
    pub fn area_mm2(&self) -> f64 {
        let Some((&start, rest)) = self.points_mm.split_first() else {
            return 0.0;
        };
        let doubled = |pair: &[DVec2]| (pair[0] - start).perp_dot(pair[1] - start);
        rest.windows(2).map(doubled).sum::<f64>() * 0.5
    }

    /// Length, mm, without the closing line of an open contour.
    pub fn length_mm(&self) -> f64 {
        let sides = self.points_mm.windows(2).map(|p| p[0].distance(p[1]));
        let closing = match (self.points_mm.first(), self.points_mm.last()) {
            (Some(first), Some(last)) if self.closed => first.distance(*last),
            _ => 0.0,
        };
        sides.sum::<f64>() + closing
    }
}
