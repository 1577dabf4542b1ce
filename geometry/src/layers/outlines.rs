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

/// What outlines of a layer come to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Summed {
    /// Volume in them, mm³.
    pub(super) solid_mm3: f64,
    /// That less what the facets alone draw, mm³.
    pub(super) more_mm3: f64,
    /// Whether any of them is open.
    pub(super) open: bool,
}

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

    /// Sets the heights, once all level faces are known: those of so many stretches of the layer,
    /// and of one more for each level face.
    pub(super) fn set_levels(&mut self, stretches: usize) {
        if self.breaks.len() > MOST_BREAKS {
            self.breaks.clear();
        }
        self.breaks.sort_by(f64::total_cmp);
        let mut bottom = self.span.bottom_mm;
        for &top in self.breaks.iter().chain([&self.span.top_mm]) {
            let share = (top - bottom) / self.span.height_mm();
            let count = (share * stretches as f64).ceil().max(1.0);
            let height = (top - bottom) / count;
            for stretch in 0..count as usize {
                let from = bottom + stretch as f64 * height;
                let levels = PLACES.map(|share| (from + share * height, 0.25 * height, Vec::new()));
                self.levels.extend(levels);
            }
            bottom = top;
        }
    }

    pub(super) fn add(&mut self, mesh: &Mesh, facet: usize) {
        for (z, _, segments) in &mut self.levels {
            segments.extend(Segment::of(mesh, facet, *z));
        }
    }

    /// What is in the outlines.
    pub(super) fn summed(&self, mesh: &Mesh, chainer: &mut Chainer) -> Summed {
        let mut sums = Summed::default();
        for (z, height, segments) in &self.levels {
            let section = chainer.chain(mesh, *z, segments);
            let solid = section.area_mm2();
            sums.solid_mm3 += solid * height;
            sums.more_mm3 += (solid - section.drawn_area_mm2) * height;
            sums.open |= section.open_ends > 0;
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use glam::DVec3;

    use crate::layers::{LayerPlan, cut};
    use crate::{Mesh, Progress, solids};

    /// Layers taller than what overlaps in them add up to what thin ones do.
    #[test]
    fn tall_layers_add_up_to_what_thin_ones_do() {
        let ball = solids::icosphere(10.0, 4).expect("valid");
        let at = |z: f64| ball.clone().map(|p| p + DVec3::Z * z).expect("valid");
        let both = Mesh::join([at(10.0), at(27.0)]).expect("valid");
        let (low, _) = both.bounds();
        let both = both.map(|p| p - DVec3::Z * low.z).expect("valid");
        let high = both.bounds().1.z;
        let volume = |count: f64| {
            let plan = LayerPlan::plain(high / count, high / count);
            let layers = cut(&both, &plan, &Progress::new()).expect("cut");
            layers.iter().map(|layer| layer.volume_mm3).sum::<f64>()
        };
        let (tall, thin) = (volume(3.0), volume(400.0));
        assert!((tall / thin - 1.0).abs() < 1e-4, "{tall} {thin}");
    }
}
