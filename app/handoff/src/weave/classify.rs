//! Which blend each stretch of a move asks for.

use geometry::{DVec3, LayerSpan};
use plan::Painted;
use plan::schedule::{Asked, AskedLayer, Tint};
use toolpath::Move;

use super::register::Placement;

/// Distance between looks along a move, mm: a region narrower than a line can't be printed.
const LOOK_MM: f64 = 0.4;

/// Edges between regions are found this closely, mm.
const EDGE_MM: f64 = 0.02;

/// The skin is looked for as far as this many depths of colour, to learn how far a free
/// stretch goes on.
const FAR: f64 = 4.0;

/// Colours nearer than this are one, as far as the choice of where to change goes (ΔE00).
const SAME_DE00: f64 = 1.0;

/// Heights nearer than this are one layer's, mm.
const SAME_HEIGHT_MM: f64 = 1e-3;

/// What a stretch of a move asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Asks {
    /// This tint of its layer.
    Tint(Tint),
    /// Nothing: it is never seen.
    Free,
}

/// Sorts moves by what they ask for. It follows the layers as the toolpath lays them.
pub(super) struct Classifier<'a> {
    asked: &'a Asked<'a>,
    stands: &'a [Placement],
    /// Plan's layer height, for toolpaths that climb without layers.
    layer_mm: f64,
    /// Heights at which anything was printed, of the part, rising.
    heights: Vec<f64>,
    present: Option<Present<'a>>,
    last_look: Option<(DVec3, Look)>,
}

/// The layer being printed.
struct Present<'a> {
    top_mm: f64,
    span: LayerSpan,
    layer: AskedLayer<'a>,
    /// The whole layer asks for this, and so do its neighbours as far as is seen.
    even: Option<Tint>,
}

#[derive(Clone, Copy, Debug)]
struct Look {
    asks: Asks,
    /// It is free for at least this far around, mm.
    clear_mm: f64,
}

impl<'a> Classifier<'a> {
    pub(super) fn new(asked: &'a Asked<'a>, stands: &'a [Placement]) -> Self {
        Self {
            asked,
            stands,
            layer_mm: asked.painted().plan().layers.layer_mm,
            heights: Vec::new(),
            present: None,
            last_look: None,
        }
    }

    /// The layer that the last move was in.
    pub(super) fn span(&self) -> Option<LayerSpan> {
        self.present.as_ref().map(|p| p.span)
    }

    /// The blend of a tint in the layer of the last move.
    pub(super) fn shares(&self, tint: Tint) -> blend::Shares {
        self.present
            .as_ref()
            .map_or(blend::Shares::SINGLE, |p| p.layer.shares(tint))
    }

    /// Goes on to the layer of a printing move, and gives the tint that all of the layer asks
    /// for, if it does.
    pub(super) fn whole(&mut self, step: &Move) -> Option<Tint> {
        let lift_mm = self.stands.first().map_or(0.0, |s| s.lift_mm);
        let (low, high) = (
            step.from[2].min(step.to[2]) - lift_mm,
            step.from[2].max(step.to[2]) - lift_mm,
        );
        self.enter(low, high);
        self.present.as_ref().and_then(|p| p.even)
    }

    /// Calls with each stretch of a printing move and what it asks for: fractions of its way,
    /// from 0 to 1. The move's layer must have been gone on to.
    pub(super) fn stretches(&mut self, step: &Move, mut each: impl FnMut(f64, f64, Asks)) {
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
        if !known {
            self.heights.insert(at, high);
        }
        match at.checked_sub(1).and_then(|i| self.heights.get(i)) {
            Some(below) => *below,
            None => 0.0,
        }
    }

    /// The tint of a layer that asks for one alone, unless a layer near it asks for another
    /// that looks different: then it matters which of its plastic is seen.
    fn even(&self, layer: &AskedLayer<'_>, span: LayerSpan) -> Option<Tint> {
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
            let tint = other.single()?;
            let there = painted.model().mix(&other.shares(tint)).to_lab();
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
        let mut point = nearest_stand(self.asked.painted(), self.stands, plate).to_part(plate);
        point.z = present.span.middle_mm();
        let look = look_at(self.asked.painted(), &present.layer, point);
        self.last_look = Some((plate, look));
        look
    }
}

const FREE_HERE: Look = Look {
    asks: Asks::Free,
    clear_mm: 0.0,
};

fn look_at(painted: &Painted, layer: &AskedLayer<'_>, point: DVec3) -> Look {
    let skin_mm = painted.plan().skin_mm;
    let far_mm = FAR * skin_mm.max(LOOK_MM);
    match painted.surface().nearest_within(point, far_mm) {
        Some(near) => {
            let depth_mm = near.point_mm.distance(point);
            if depth_mm <= skin_mm {
                Look {
                    asks: Asks::Tint(layer.single().unwrap_or_else(|| layer.at(near))),
                    clear_mm: 0.0,
                }
            } else {
                Look {
                    asks: Asks::Free,
                    clear_mm: depth_mm - skin_mm,
                }
            }
        }
        None => Look {
            asks: Asks::Free,
            clear_mm: far_mm - skin_mm,
        },
    }
}

/// The copy that a place belongs to: the one whose middle is nearest.
pub(super) fn nearest_stand(painted: &Painted, stands: &[Placement], plate: DVec3) -> Placement {
    let (low, high) = painted.surface().mesh().bounds();
    let middle = 0.5 * (low + high);
    let far = |stand: &&Placement| {
        let there = stand.to_plate(middle);
        there.truncate().distance_squared(plate.truncate())
    };
    match stands {
        [] => Placement::default(),
        [only] => *only,
        several => several
            .iter()
            .min_by(|a, b| far(a).total_cmp(&far(b)))
            .copied()
            .unwrap_or_default(),
    }
}
