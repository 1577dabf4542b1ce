//! The colour of each class in each layer: as asked for, and as it will come out.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use blend::{Lab, Shares, ciede2000};
use geometry::SurfacePoint;
use geometry::surface::rising;
use plan::schedule::Layer;
use plan::{AsPrinted, Painted, Schedule};

use super::skin::Class;

/// The colours of a class in a layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassColour {
    /// As asked for.
    pub asked: Lab,
    /// As it will come out.
    pub printed: Lab,
    /// Whether the class has a dose in this layer; if not, the layer's main dose stands in.
    pub own: bool,
}

/// Colours by layer and class. What a class has no dose for is kept once for its layer: of many
/// classes most are in few layers.
pub struct LayerColours {
    tops_mm: Vec<f64>,
    /// What comes out of each layer's main dose.
    main: Vec<Option<Lab>>,
    classes: Vec<ColoursOfClass>,
}

/// The colours of one class.
struct ColoursOfClass {
    asked: Asked,
    /// What comes out of the class's own doses, in rising order of layers.
    own: Vec<(usize, Lab)>,
}

/// What is asked for.
enum Asked {
    /// In every layer.
    One(Lab),
    /// In each layer.
    ByLayer(Vec<Lab>),
}

impl Asked {
    fn at(&self, layer: usize) -> Option<Lab> {
        match self {
            Self::One(lab) => Some(*lab),
            Self::ByLayer(labs) => labs.get(layer).copied(),
        }
    }
}

impl LayerColours {
    /// Looks up all colours.
    pub fn new(
        painted: &Painted,
        schedule: &Schedule,
        printed: &AsPrinted,
        classes: &[Class],
    ) -> Self {
        let lab = |shares: &Shares| painted.model().mix(shares).to_lab();
        let by_layer = |class: &Class| {
            let layers = schedule.layers.iter();
            let shares = layers.map(|layer| lab(&asked_shares(painted, class, layer)));
            Asked::ByLayer(shares.collect())
        };
        let mut colours: Vec<ColoursOfClass> = classes
            .iter()
            .map(|class| ColoursOfClass {
                asked: class
                    .shares
                    .map_or_else(|| by_layer(class), |s| Asked::One(lab(&s))),
                own: Vec::new(),
            })
            .collect();
        let mut of_region: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (place, class) in classes.iter().enumerate() {
            of_region.entry(class.region).or_default().push(place);
        }
        let mut main = Vec::with_capacity(schedule.layers.len());
        for (index, layer) in schedule.layers.iter().enumerate() {
            let out = |dose: usize| {
                let layer = printed.delivery.layers.get(index)?;
                layer.doses.get(dose).map(|d| d.lab)
            };
            main.push(layer.main().and_then(out));
            let regions: BTreeSet<usize> = layer.doses.iter().map(|dose| dose.region).collect();
            let own = regions.iter().filter_map(|region| of_region.get(region));
            for &place in own.flatten() {
                let (Some(class), Some(colour)) = (classes.get(place), colours.get_mut(place))
                else {
                    continue;
                };
                let asked = asked_shares(painted, class, layer);
                let delivered = layer.dose_for(class.region, &asked).and_then(out);
                if let Some(lab) = delivered.or_else(|| colour.asked.at(index)) {
                    colour.own.push((index, lab));
                }
            }
        }
        Self {
            tops_mm: schedule.layers.iter().map(|l| l.span.top_mm).collect(),
            main,
            classes: colours,
        }
    }

    /// The colours of a class in a layer.
    pub fn at(&self, layer: usize, class: usize) -> ClassColour {
        let black = Lab {
            l: 0.0,
            a: 0.0,
            b: 0.0,
        };
        let class = self.classes.get(class);
        let asked = class.and_then(|class| class.asked.at(layer));
        let own = class.and_then(|class| {
            let place = class.own.binary_search_by_key(&layer, |(layer, _)| *layer);
            class.own.get(place.ok()?).map(|(_, lab)| *lab)
        });
        let main = asked.and(self.main.get(layer).copied().flatten());
        let asked = asked.unwrap_or(black);
        ClassColour {
            asked,
            printed: own.or(main).unwrap_or(asked),
            own: own.is_some(),
        }
    }

    /// The top of a layer, mm.
    pub fn top_mm(&self, layer: usize) -> f64 {
        let found = self.tops_mm.get(layer).or(self.tops_mm.last());
        found.copied().unwrap_or(0.0)
    }

    /// The layer at a height.
    pub fn layer_at(&self, height_mm: f64) -> usize {
        let layer = self.tops_mm.partition_point(|&top| top <= height_mm);
        layer.min(self.tops_mm.len().saturating_sub(1))
    }

    /// Runs of layers in which a class's colour, as it will come out, strays by no more than a
    /// bound. Layers that the class has no dose in go with those beneath.
    pub fn slabs(&self, class: usize, bound_de00: f64) -> Vec<Range<usize>> {
        let mut slabs: Vec<Range<usize>> = Vec::new();
        let (mut start, mut first) = (0, None);
        let own = self.classes.get(class).map(|class| class.own.iter());
        for &(layer, printed) in own.into_iter().flatten() {
            match first {
                Some(before) if ciede2000(before, printed) > bound_de00 => {
                    slabs.push(start..layer);
                    (start, first) = (layer, Some(printed));
                }
                Some(_) => {}
                None => first = Some(printed),
            }
        }
        if start < self.tops_mm.len() {
            slabs.push(start..self.tops_mm.len());
        }
        slabs
    }

    /// The colour of a run of layers: that in the middle of those that have the class.
    pub fn of_slab(&self, class: usize, slab: &Range<usize>) -> ClassColour {
        let own = slab.clone().filter(|&layer| self.at(layer, class).own);
        let own: Vec<usize> = own.collect();
        let layer = own.get(own.len() / 2).copied().unwrap_or(slab.start);
        self.at(layer, class)
    }

    /// The heights between runs of layers, mm, rising.
    pub fn edges_mm(&self, slabs: &[Range<usize>]) -> Vec<f64> {
        let inner = slabs.len().saturating_sub(1);
        let ends = slabs.iter().take(inner);
        rising(ends.map(|s| self.top_mm(s.end.saturating_sub(1))).collect())
    }
}

/// The blend that a class asks for in a layer.
fn asked_shares(painted: &Painted, class: &Class, layer: &Layer) -> Shares {
    class.shares.unwrap_or_else(|| {
        let middle = SurfacePoint {
            point_mm: geometry::DVec3::Z * layer.span.middle_mm(),
            facet: 0,
        };
        let ramp = painted.ramp(class.region);
        let at = painted.along_mm(class.region, middle);
        match (ramp, at) {
            (Some(ramp), Some(at)) => ramp.at(at),
            _ => Shares::SINGLE,
        }
    })
}
