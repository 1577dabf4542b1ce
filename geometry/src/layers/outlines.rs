//! Volume of a layer from outlines, where the facets alone tell a wrong one.

use super::LayerSpan;
use super::slice::{Chainer, Segment};
use crate::Mesh;

/// Places in a stretch of heights, as shares of it, at which outlines are taken: two of Gauss
/// and Legendre's in either half. Area over height is a quadratic between the heights of
/// vertices and crossings, and two places are exact for cubics.
const PLACES: [f64; 4] = [
    0.105_662_432_702_593_55,
    0.394_337_567_297_406_45,
    0.605_662_432_702_593_6,
    0.894_337_567_297_406_4,
];

/// Level faces within a layer that it is cut at, since the area jumps there; where there are
/// more, it is taken as a whole.
const MOST_BREAKS: usize = 8;

/// Outlines within one layer, to be summed to its volume.
#[derive(Clone)]
pub(super) struct Outlines {
    span: LayerSpan,
    /// Heights of level faces.
    breaks: Vec<f64>,
    /// Heights, what each counts, mm, and what crosses it.
    levels: Vec<(f64, f64, Vec<Segment>)>,
}

impl Outlines {
    pub(super) fn new(span: LayerSpan) -> Self {
        Self {
            span,
            breaks: Vec::new(),
            levels: Vec::new(),
        }
    }

    /// Takes note of a level face.
    pub(super) fn flat_at(&mut self, z: f64) {
        let within = self.span.bottom_mm < z && z < self.span.top_mm;
        if within && self.breaks.len() <= MOST_BREAKS && !self.breaks.contains(&z) {
            self.breaks.push(z);
        }
    }

    /// Sets the heights, once all level faces are known.
    pub(super) fn set_levels(&mut self) {
        if self.breaks.len() > MOST_BREAKS {
            self.breaks.clear();
        }
        self.breaks.sort_by(f64::total_cmp);
        let mut bottom = self.span.bottom_mm;
        for &top in self.breaks.iter().chain([&self.span.top_mm]) {
            let height = top - bottom;
            let levels = PLACES.map(|share| (bottom + share * height, 0.25 * height, Vec::new()));
            self.levels.extend(levels);
            bottom = top;
        }
    }

    pub(super) fn add(&mut self, mesh: &Mesh, facet: usize) {
        for (z, _, segments) in &mut self.levels {
            segments.extend(Segment::of(mesh, facet, *z));
        }
    }

    /// What is in the outlines, and that less what the facets alone draw, mm³.
    pub(super) fn volumes_mm3(&self, mesh: &Mesh, chainer: &mut Chainer) -> (f64, f64) {
        let mut sums = (0.0, 0.0);
        for (z, height, segments) in &self.levels {
            let section = chainer.chain(mesh, *z, segments);
            let solid = section.area_mm2();
            sums.0 += solid * height;
            sums.1 += (solid - section.drawn_area_mm2) * height;
        }
        sums
    }
}
