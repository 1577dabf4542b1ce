//! Which blend each stretch of a move asks for.

use geometry::layers::MOST_LAYERS;
use geometry::{DVec3, LayerSpan};
use plan::Painted;
use plan::schedule::{Asked, AskedLayer, Asks, LookupCache, RegionStep};
use toolpath::{Move, Path};

use super::register::{Copies, Placement};

/// Distance between looks along a move, mm: a region narrower than a line can't be printed.
const LOOK_MM: f64 = 0.4;

/// Edges between regions are found this closely, mm.
const EDGE_MM: f64 = 0.02;

/// The skin is looked for as far as this many depths of colour, to learn how far a free
/// stretch goes on.
const FAR: f64 = 4.0;

/// A line lies beside the part, as a support does, if its middle is so far outside of the skin,
/// mm, and half a layer: walls lie half a line within it, and outlines are rounded.
const OVER_MM: f64 = 0.05;

/// A place is plainly beneath a facet if the way to it leans by less than this cosine tells.
const PLAIN: f64 = 0.99;

/// It is looked for this many times farther where that much is free, to know it for the places
/// around and above.
const WIDE: f64 = 8.0;

/// Colours nearer than this are one, as far as the choice of where to change goes (ΔE00).
const SAME_DE00: f64 = 1.0;

/// Heights nearer than this are one layer's, mm.
const SAME_HEIGHT_MM: f64 = 1e-3;

/// Sorts moves by what they ask for. It follows the layers as the toolpath lays them.
pub(super) struct Classifier<'a> {
    asked: &'a Asked<'a>,
    copies: Copies,
    /// Height of the part's bed above the plate, mm.
    lift_mm: f64,
    /// Plan's layer height, for toolpaths that climb without layers.
    layer_mm: f64,
    /// Heights at which anything was printed, of the part, rising.
    heights: Vec<f64>,
    present: Option<Present<'a>>,
    last_look: Option<(DVec3, Look)>,
    /// What earlier looks tell about the places around them.
    known: Option<LookupCache>,
}

/// The layer being printed.
struct Present<'a> {
    top_mm: f64,
    span: LayerSpan,
    layer: AskedLayer<'a>,
    /// The whole layer asks for this, and so do its neighbours as far as is seen.
    even: Option<RegionStep>,
}

#[derive(Clone, Copy, Debug)]
struct Look {
    asks: Asks,
    /// It is free for at least this far around, mm.
    clear_mm: f64,
}

impl<'a> Classifier<'a> {
    pub(super) fn new(asked: &'a Asked<'a>, stands: &[Placement]) -> Self {
        let mesh = asked.painted().surface().mesh();
        Self {
            asked,
            copies: Copies::new(asked.painted().surface(), stands),
            lift_mm: stands.first().map_or(0.0, |s| s.lift_mm),
            layer_mm: asked.painted().plan().layers.layer_mm,
            heights: Vec::new(),
            present: None,
            last_look: None,
            known: Some(LookupCache::new(mesh.bounds())),
        }
    }

    /// The layer that the last move was in.
    pub(super) fn span(&self) -> Option<LayerSpan> {
        self.present.as_ref().map(|p| p.span)
    }

    /// The blend of a region step in the layer of the last move.
    pub(super) fn shares(&self, region_step: RegionStep) -> blend::Shares {
        self.present
            .as_ref()
            .map_or(blend::Shares::SINGLE, |p| p.layer.shares(region_step))
    }

    /// How deep the outermost line reaches, mm.
    pub(super) fn front_mm(&self) -> f64 {
        self.asked.painted().plan().machine.nozzle_mm
    }

    /// Whether the visible skin is farther than `front_mm` from a place of the plate's, in the
    /// layer of the last move.
    pub(super) fn is_behind(&self, place_mm: [f64; 3], front_mm: f64) -> bool {
        let Some(present) = &self.present else {
            return false;
        };
        let (_, mut point) = self.copies.to_part(DVec3::from(place_mm));
        point.z = present.span.middle_mm();
        let surface = self.asked.painted().surface();
        surface.nearest_seen_within(point, front_mm).is_none()
    }

    /// Goes on to the layer of a printing move, and gives the region step that all of the layer asks
    /// for, if it does.
    pub(super) fn whole(&mut self, step: &Move) -> Option<RegionStep> {
        let (low, high) = (
            step.from[2].min(step.to[2]) - self.lift_mm,
            step.from[2].max(step.to[2]) - self.lift_mm,
        );
        self.enter(low, high);
        self.present.as_ref().and_then(|p| p.even)
    }

    /// Calls with each stretch of a printing move and what it asks for: fractions of its way,
    /// from 0 to 1. The move's layer must have been gone on to.
    pub(super) fn stretches(&mut self, step: &Move, mut each: impl FnMut(f64, f64, Asks)) {
        if self.is_brim(step) {
            return each(0.0, 1.0, Asks::Free);
        }
        if let Some(asks) = self.throughout(step) {
            return each(0.0, 1.0, asks);
        }
        let length = step.length_mm();
        let mut from = 0.0;
        let mut at = 0.0;
        let mut look = self.look(step, 0.0);
        while at < length {
            let next = (at + LOOK_MM.max(look.clear_mm)).min(length);
            let ahead = self.look(step, next / length);
            if ahead.asks != look.asks {
                let edge = self.edge(step, at / length, next / length, look.asks);
                if edge > from {
                    each(from, edge, look.asks);
                }
                from = edge;
            }
            look = ahead;
            at = next;
        }
        if from < 1.0 {
            each(from, 1.0, look.asks);
        }
    }

    /// Whether a move of the first layer lies beside the part: a ray from it that goes up doesn't
    /// leave the part where it first meets the skin.
    fn is_brim(&self, step: &Move) -> bool {
        /// It leans a little, so that it runs along no wall.
        const WAY: DVec3 = DVec3::new(0.011, 0.007, 1.0);
        let Some(present) = self.present.as_ref() else {
            return false;
        };
        if present.span.bottom_mm > SAME_HEIGHT_MM {
            return false;
        }
        let surface = self.asked.painted().surface();
        [0.0, 0.5, 1.0].into_iter().all(|t| {
            let (_, mut point) = self.copies.to_part(step.at(t).into());
            point.z = present.span.middle_mm();
            let hit = surface.first_hit(point, WAY);
            hit.is_none_or(|hit| surface.normal(hit.facet).dot(WAY) <= 0.0)
        })
    }

    /// What all of a move asks for, if it is known to ask for one thing.
    fn throughout(&mut self, step: &Move) -> Option<Asks> {
        let middle_mm = self.present.as_ref()?.span.middle_mm();
        if step.path != Path::Straight {
            return None;
        }
        let (copy, from) = self.copies.to_part(step.from.into());
        let (other, to) = self.copies.to_part(step.to.into());
        // Between two places that belong to one copy, all do.
        if copy != other {
            return None;
        }
        let (from, to) = (from.with_z(middle_mm), to.with_z(middle_mm));
        if let Some(asks) = self.known.as_ref()?.along(from, to) {
            return Some(asks);
        }
        self.look(step, 0.0);
        self.known.as_ref()?.along(from, to)
    }

    /// Where, between two fractions, it stops asking for what it asks for at the first.
    fn edge(&mut self, step: &Move, mut low: f64, mut high: f64, asks: Asks) -> f64 {
        let length = step.length_mm();
        while (high - low) * length > EDGE_MM {
            let middle = 0.5 * (low + high);
            if self.look(step, middle).asks == asks {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Makes the layer ready that a move from `low` to `high` mm of the part is in.
    fn enter(&mut self, low: f64, high: f64) {
        let climbs = high - low > SAME_HEIGHT_MM;
        let near = if climbs {
            0.25 * self.layer_mm
        } else {
            SAME_HEIGHT_MM
        };
        let known = self.present.as_ref();
        if known.is_some_and(|p| (p.top_mm - high).abs() < near) {
            return;
        }
        let bottom_mm = match climbs {
            true => high - self.layer_mm,
            false => self.below(high),
        };
        let span = LayerSpan {
            bottom_mm: bottom_mm.max(0.0).min(high - SAME_HEIGHT_MM),
            top_mm: high,
        };
        let layer = self.asked.layer(span);
        self.last_look = None;
        let alike = self.present.as_ref().is_some_and(|p| p.layer.alike(&layer));
        if !alike && let Some(known) = &mut self.known {
            known.choose_anew();
        }
        self.present = Some(Present {
            top_mm: high,
            span,
            even: self.even(&layer, span),
            layer,
        });
    }

    /// The height at which the layer below was printed; the layers of the first copy tell it
    /// for the others.
    fn below(&mut self, high: f64) -> f64 {
        let at = self.heights.partition_point(|h| *h < high - SAME_HEIGHT_MM);
        let known = self
            .heights
            .get(at)
            .is_some_and(|h| *h < high + SAME_HEIGHT_MM);
        // A toolpath without layers has as many heights as moves.
        if !known && self.heights.len() < MOST_LAYERS {
            self.heights.insert(at, high);
        }
        match at.checked_sub(1).and_then(|i| self.heights.get(i)) {
            Some(below) => *below,
            None => 0.0,
        }
    }

    /// The region step of a layer that asks for one alone, unless a layer near it asks for another
    /// that looks different: then it matters which of its plastic is seen.
    fn even(&self, layer: &AskedLayer<'_>, span: LayerSpan) -> Option<RegionStep> {
        let only = layer.single()?;
        let painted = self.asked.painted();
        let colour = painted.model().mix(&layer.shares(only)).to_lab();
        let height = span.height_mm();
        for layers in [-1.0, 1.0, 2.0] {
            let up = layers * height;
            let other = self.asked.layer(LayerSpan {
                bottom_mm: span.bottom_mm + up,
                top_mm: span.top_mm + up,
            });
            let region_step = other.single()?;
            let there = painted.model().mix(&other.shares(region_step)).to_lab();
            if blend::ciede2000(colour, there) > SAME_DE00 {
                return None;
            }
        }
        Some(only)
    }

    fn look(&mut self, step: &Move, t: f64) -> Look {
        let Some(present) = &self.present else {
            return FREE_HERE;
        };
        let plate = DVec3::from(step.at(t));
        if let Some((at, look)) = self.last_look
            && at == plate
        {
            return look;
        }
        let (_, mut point) = self.copies.to_part(plate);
        point.z = present.span.middle_mm();
        // A bottom may lie anywhere in its layer.
        let over_mm = OVER_MM + 0.5 * present.span.height_mm();
        let (painted, known) = (self.asked.painted(), &mut self.known);
        let look = look_at(painted, &present.layer, (point, over_mm), known);
        self.last_look = Some((plate, look));
        look
    }
}

const FREE_HERE: Look = Look {
    asks: Asks::Free,
    clear_mm: 0.0,
};

/// Looks a place up. What is known already is used where it tells the same, and added to.
/// Plastic whose middle is farther than `over_mm` outside of the skin is not the part's.
fn look_at(
    painted: &Painted,
    layer: &AskedLayer<'_>,
    (point, over_mm): (DVec3, f64),
    known: &mut Option<LookupCache>,
) -> Look {
    let skin_mm = painted.plan().skin_mm;
    let far_mm = FAR * skin_mm.max(LOOK_MM);
    let free = |clear_mm| Look {
        asks: Asks::Free,
        clear_mm,
    };
    match known.as_ref().and_then(|known| known.at(point)) {
        Some((asks @ Asks::RegionStep(_), _)) => {
            return Look {
                asks,
                clear_mm: 0.0,
            };
        }
        Some((Asks::Free, around_mm)) if around_mm > far_mm - skin_mm => {
            return free(far_mm - skin_mm);
        }
        _ => {}
    }
    let near = painted.surface().nearest_seen_within(point, far_mm);
    let Some(near) = near else {
        if let Some(known) = known {
            let wide_mm = WIDE * far_mm;
            let near = painted.surface().nearest_seen_within(point, wide_mm);
            let depth_mm = near.map_or(wide_mm, |near| near.point_mm.distance(point));
            known.learn(point, depth_mm - skin_mm, Asks::Free);
        }
        return free(far_mm - skin_mm);
    };
    let depth_mm = near.point_mm.distance(point);
    if depth_mm > skin_mm {
        if let Some(known) = known {
            known.learn(point, depth_mm - skin_mm, Asks::Free);
        }
        return free(depth_mm - skin_mm);
    }
    let outside = (point - near.point_mm).dot(painted.surface().normal(near.facet));
    if outside > over_mm {
        // A support, or a brim: as far around as the part does not reach.
        let radius_mm = depth_mm - over_mm;
        return free(radius_mm.max(0.0));
    }
    let region_step = layer.at(near);
    if let Some(known) = known {
        // No place is farther outside than it is from here, less how deep this is. About an edge
        // a facet's own side may not tell that.
        let within_mm = if outside < -PLAIN * depth_mm {
            depth_mm
        } else {
            -depth_mm
        };
        let around_mm = layer.around_mm(region_step, point, depth_mm);
        let radius_mm = around_mm.min(over_mm + within_mm);
        known.learn(point, radius_mm, Asks::RegionStep(region_step));
    }
    Look {
        asks: Asks::RegionStep(region_step),
        clear_mm: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{painted, region};
    use super::*;
    use geometry::{Mask, solids};
    use proptest::prelude::*;

    fn moves(steps: &[(f64, f64, bool)]) -> Vec<Move> {
        let mut at = [20.0, 0.0, 0.2];
        let mut made = Vec::new();
        for (x, y, up) in steps {
            if *up {
                at[2] += 0.2;
            }
            let to = [at[0] + x, at[1] + y, at[2]];
            // Back to where the part is.
            let to = match to[0].hypot(to[1]) < 26.0 {
                true => to,
                false => [15.0, 10.0, at[2]],
            };
            made.push(Move {
                from: at,
                to,
                path: Path::Straight,
                extruded_mm: 1.0,
                fresh_mm: 1.0,
                feed_mm_min: 0.0,
                rapid: false,
            });
            at = to;
        }
        made
    }

    #[test]
    fn no_more_heights_are_held_than_a_print_has_layers() {
        let part = solids::cylinder(20.0, 6.0, 60).expect("a cylinder");
        let painted = painted(&part, vec![region("All", Mask::Whole, 1.0)]);
        let asked = Asked::new(&painted);
        let mut classifier = Classifier::new(&asked, &[]);
        let at = |i: usize| 0.01 * (i + 1) as f64;
        for i in 0..=MOST_LAYERS {
            classifier.below(at(i));
        }
        assert_eq!(classifier.heights.len(), MOST_LAYERS);
        assert_eq!(classifier.below(at(7)), at(6));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn what_is_known_changes_nothing(
            steps in prop::collection::vec((-4.0..4.0_f64, -4.0..4.0_f64, prop::bool::weighted(0.05)), 300),
            centre in (-25.0..25.0_f64, -25.0..25.0_f64, 0.0..6.0_f64),
            radius_mm in 2.0..30.0_f64,
            band in 0.0..5.0_f64,
        ) {
            let part = solids::cylinder(20.0, 6.0, 60).expect("a cylinder");
            let over = Mask::Sphere { centre_mm: centre.into(), radius_mm };
            let band = Mask::Band { from_mm: band, to_mm: band + 1.0 };
            let painted = painted(&part, vec![
                region("All", Mask::Whole, 1.0),
                region("Over", over, 0.2),
                region("Band", band, 0.5),
            ]);
            let asked = Asked::new(&painted);
            let stands = [Placement { turn_deg: 20.0, shift_mm: [0.5, 0.0], lift_mm: 0.0 }];
            let mut knowing = Classifier::new(&asked, &stands);
            let mut looking = Classifier::new(&asked, &stands);
            looking.known = None;
            for step in moves(&steps) {
                let mut found = [Vec::new(), Vec::new()];
                for (classifier, found) in [&mut knowing, &mut looking].into_iter().zip(&mut found) {
                    classifier.whole(&step);
                    classifier.stretches(&step, |from, to, asks| found.push((from, to, asks)));
                }
                prop_assert_eq!(&found[0], &found[1]);
            }
        }
    }
}
