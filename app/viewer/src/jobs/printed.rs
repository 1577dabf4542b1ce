//! The part as it will be printed: the engine's prediction of what the melt chamber makes of
//! the plan, brought into rows of colours that the stage and the ribbon draw.

use std::sync::Arc;

use blend::{Lab, Shares, Srgb};
use geometry::{Field, Progress};
use plan::delivery::DeliveredDose;
use plan::schedule::Layer;
use plan::{AsPrinted, Paint, Painted, Schedule};

use super::Stop;
use super::colours::{difference_colour, encoded};
use crate::model::skin::{RAMP_TEXELS, RampRow};
use crate::model::view::Look;

/// Stretches that a fade across the layers is cut into.
const STRETCHES: usize = 48;

/// What to work out.
pub struct Order {
    /// The plan's revision.
    pub revision: u64,
    /// The plan laid on the part.
    pub painted: Arc<Painted>,
    /// What is asked of each layer.
    pub schedule: Arc<Schedule>,
}

/// What comes out in one stretch of a region's ramp, evenly spread over the part's height.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Colours in linear-light sRGB.
    colours: Vec<[f32; 3]>,
    /// ΔE00 between each and what is asked.
    de00: Vec<f64>,
}

/// How the part will come out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Printed {
    /// The plan's revision that it is of; none before anything was worked out.
    pub revision: Option<u64>,
    /// Heights that the stretches' values are spread over, mm.
    pub extent_mm: (f64, f64),
    /// The stretches of each region.
    pub regions: Vec<Vec<Stretch>>,
    /// Colour and ΔE00 of each layer's doses.
    doses: Vec<Vec<(Srgb, f64)>>,
    /// How far off it is, in words and figures; none if it could not be worked out.
    pub figures: Option<Figures>,
}

/// How far off it is, and what it wastes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Mean ΔE00 over the visible area.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the visible area stays within.
    pub p95_de00: f64,
    /// The greatest.
    pub worst_de00: f64,
    /// Mass that is flushed away, g.
    pub waste_g: f64,
    /// How often.
    pub flushes: usize,
    /// What would save some of it.
    pub suggestions: Vec<String>,
}

impl Stretch {
    /// The row that a look draws with.
    pub fn row(&self, look: Look) -> RampRow {
        let colours = match look {
            Look::Difference => self.de00.iter().map(|&d| difference_colour(d)).collect(),
            Look::Asked | Look::Printed => self.colours.clone(),
        };
        RampRow {
            ends_mm: (0.0, 1.0),
            colours,
            printed: None,
        }
    }
}

impl Printed {
    /// Nothing, for a plan whose print could not be worked out.
    pub fn none(revision: Option<u64>) -> Self {
        Self {
            revision,
            ..Self::default()
        }
    }

    /// The colour of a layer's dose in a look; `None` as asked.
    pub fn colour(&self, look: Look, layer: usize, dose: usize) -> Option<Srgb> {
        let (colour, de00) = *self.doses.get(layer)?.get(dose)?;
        match look {
            Look::Asked => None,
            Look::Printed => Some(colour),
            Look::Difference => Some(encoded(difference_colour(de00))),
        }
    }
}

/// Works it out.
///
/// # Errors
/// [`Stop::Cancelled`].
pub fn run(order: Order, progress: &Progress) -> Result<Printed, Stop> {
    let Order {
        revision,
        painted,
        schedule,
    } = order;
    let plan = painted.plan();
    let printed = AsPrinted::new(plan, painted.model(), &schedule, progress)?;
    progress.check()?;
    let layers = Layers {
        schedule: &schedule.layers,
        printed: &printed,
    };
    let regions = (0..plan.regions.len())
        .map(|region| layers.stretches(&painted, region))
        .collect();
    let delivered = &printed.delivery.layers;
    let doses = delivered
        .iter()
        .map(|l| l.doses.iter().map(|d| (d.srgb, d.de00)).collect())
        .collect();
    Ok(Printed {
        revision: Some(revision),
        extent_mm: layers.extent_mm(),
        regions,
        doses,
        figures: Some(Figures {
            mean_de00: printed.delivery.mean_de00,
            p95_de00: printed.delivery.p95_de00,
            worst_de00: printed.delivery.worst_de00,
            waste_g: printed.waste.mass_g,
            flushes: printed.waste.flushes,
            suggestions: printed.suggestions.into_iter().map(|s| s.text).collect(),
        }),
    })
}

/// What is asked of each layer and what comes out.
struct Layers<'a> {
    schedule: &'a [Layer],
    printed: &'a AsPrinted,
}

impl Layers<'_> {
    fn extent_mm(&self) -> (f64, f64) {
        let low = self.schedule.first().map_or(0.0, |l| l.span.bottom_mm);
        let high = self.schedule.last().map_or(1.0, |l| l.span.top_mm);
        (low, high)
    }

    /// The stretches of a region: several where its fade runs across the layers, else one.
    fn stretches(&self, painted: &Painted, region: usize) -> Vec<Stretch> {
        let paint = painted.plan().regions.get(region).map(|r| &r.paint);
        let across = match paint {
            Some(Paint::Fade { along, .. }) if *along != Field::Height => painted.ramp(region),
            _ => None,
        };
        let Some((ramp, (low, high))) = across.and_then(|r| Some((r, r.extent_mm()?))) else {
            return vec![self.stretch(region, |layer| {
                let middle_mm = layer.span.middle_mm();
                match paint {
                    Some(Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. })) => {
                        *shares
                    }
                    _ => painted
                        .ramp(region)
                        .map_or(Shares::SINGLE, |r| r.at(middle_mm)),
                }
            })];
        };
        (0..STRETCHES)
            .map(|i| {
                let middle = (i as f64 + 0.5) / STRETCHES as f64;
                let asked = ramp.at(low + (high - low) * middle);
                self.stretch(region, |_| asked)
            })
            .collect()
    }

    /// Goes up the part; in each layer the dose that shows what the region asks for is taken.
    fn stretch(&self, region: usize, asked: impl Fn(&Layer) -> Shares) -> Stretch {
        let layers = self.schedule.iter().zip(&self.printed.delivery.layers);
        let found: Vec<Option<&DeliveredDose>> = layers
            .map(|(layer, out)| out.doses.get(layer.dose_for(region, &asked(layer))?))
            .collect();
        let (low, high) = self.extent_mm();
        let value = |texel: usize| {
            let at = low + (high - low) * (texel as f64 + 0.5) / RAMP_TEXELS as f64;
            let layer = self.schedule.partition_point(|l| l.span.top_mm < at);
            let dose = found.get(layer).copied().flatten()?;
            Some((linear(dose.lab), dose.de00))
        };
        let (colours, de00) = (0..RAMP_TEXELS)
            .map(|texel| value(texel).unwrap_or(([0.5; 3], 0.0)))
            .unzip();
        Stretch { colours, de00 }
    }
}

fn linear(lab: Lab) -> [f32; 3] {
    let rgb = lab.to_xyz().to_linear_srgb();
    rgb.map(|c| c.clamp(0.0, 1.0) as f32)
}
