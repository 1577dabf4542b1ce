//! The colour of each class in each layer: as asked for, and as it will come out.

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

/// Colours by layer and class.
pub struct LayerColours {
    tops_mm: Vec<f64>,
    classes: usize,
    colours: Vec<ClassColour>,
}

impl LayerColours {
    /// Looks up all colours.
    pub fn new(
        painted: &Painted,
        schedule: &Schedule,
        printed: &AsPrinted,
        classes: &[Class],
    ) -> Self {
        let mut colours = Vec::with_capacity(schedule.layers.len() * classes.len());
        for (index, layer) in schedule.layers.iter().enumerate() {
            for class in classes {
                colours.push(colour(painted, printed, class, (index, layer)));
            }
        }
        Self {
            tops_mm: schedule.layers.iter().map(|l| l.span.top_mm).collect(),
            classes: classes.len(),
            colours,
        }
    }

    /// The colours of a class in a layer.
    pub fn at(&self, layer: usize, class: usize) -> ClassColour {
        let black = Lab {
            l: 0.0,
            a: 0.0,
            b: 0.0,
        };
        let found = self.colours.get(layer * self.classes + class).copied();
        found.unwrap_or(ClassColour {
            asked: black,
            printed: black,
            own: false,
        })
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
        for layer in 0..self.tops_mm.len() {
            let here = self.at(layer, class);
            if !here.own {
                continue;
            }
            match first {
                Some(printed) if ciede2000(printed, here.printed) > bound_de00 => {
                    slabs.push(start..layer);
                    (start, first) = (layer, Some(here.printed));
                }
                Some(_) => {}
                None => first = Some(here.printed),
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

fn colour(
    painted: &Painted,
    printed: &AsPrinted,
    class: &Class,
    (index, layer): (usize, &Layer),
) -> ClassColour {
    let asked = class.shares.unwrap_or_else(|| {
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
    });
    let asked_lab = painted.model().mix(&asked).to_lab();
    let delivered = layer.dose_for(class.region, &asked).and_then(|dose| {
        let layer = printed.delivery.layers.get(index)?;
        layer.doses.get(dose).map(|d| d.lab)
    });
    ClassColour {
        asked: asked_lab,
        printed: delivered.unwrap_or(asked_lab),
        own: layer.doses.iter().any(|dose| dose.region == class.region),
    }
}
