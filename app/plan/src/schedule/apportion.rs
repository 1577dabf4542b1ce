//! How the regions fall on one layer: the volume and the skin of each.

use geometry::layers;

use super::LookupCache;
use super::interior::{self, Interior};
use super::outline_runs;
use super::ramp_steps::RampSteps;
use super::region_steps::{LayerRegions, RegionStep};
use super::skin;
use crate::Painted;

/// Rows across a layer of one blend, in nozzle widths from each other: only its free volume
/// is asked for.
const COARSE_ROWS: f64 = 3.0;

/// The plastic of a layer, mm³.
#[derive(Clone, Copy)]
struct Plastic {
    /// Within reach of colour.
    near: f64,
    /// Deeper.
    free: f64,
}

impl Plastic {
    /// What is laid of a layer of which a share stays hollow. A hollow lies deeper than colour
    /// reaches; only one that is larger than that, under few walls, takes of what shows.
    fn of(layer: &layers::Layer, inside: &Interior, hollow: f64) -> Self {
        let whole = volume(layer);
        let deep = free_mm3(layer, inside);
        let empty = whole * hollow;
        Self {
            near: (whole - deep - (empty - deep).max(0.0)).max(0.0),
            free: (deep - empty).max(0.0),
        }
    }

    fn laid(self) -> f64 {
        self.near + self.free
    }
}

/// A layer's doses, in no order yet.
#[derive(Clone)]
pub(super) struct Apportioned {
    pub doses: Vec<Amount>,
    /// Volume deeper than colour reaches, mm³.
    pub free_mm3: f64,
    /// Regions with a dose too small to lay, which went with another, and its skin, mm².
    pub too_small: Vec<(usize, f64)>,
    /// The narrowest stretch of outline of each region, mm, where regions share the layer.
    pub narrowest: Vec<(usize, f64)>,
}

/// Volume and skin of one blend.
#[derive(Clone)]
pub(super) struct Amount {
    pub of: RegionStep,
    pub volume_mm3: f64,
    pub area_mm2: f64,
}

impl Apportioned {
    /// Volume of all doses, mm³.
    pub(super) fn volume_mm3(&self) -> f64 {
        self.doses.iter().map(|d| d.volume_mm3).sum()
    }
}

/// A layer to be shared out.
pub(super) struct Wanted<'a> {
    pub layer: &'a layers::Layer,
    /// The share of it that stays hollow.
    pub hollow: f64,
    /// How it was shared out under an earlier plan.
    pub before: Option<&'a Apportioned>,
}

/// Layers that follow each other: what is known of one serves the next. What `earlier` regions
/// made of a layer is taken over where the regions there are the same.
pub(super) fn of_layers<'a>(
    painted: &'a Painted,
    steps: &'a [Option<RampSteps>],
    earlier: Option<Earlier<'a>>,
    layers: impl Iterator<Item = Wanted<'a>>,
) -> impl Iterator<Item = Apportioned> {
    let mut known = LookupCache::new(painted.surface().bounds_mm());
    let mut below: Option<LayerRegions> = None;
    layers.map(move |wanted| {
        let layer = wanted.layer;
        let layer_regions = LayerRegions::new(painted, steps, layer.span);
        if let (Some(earlier), Some(before)) = (&earlier, wanted.before)
            && layer_regions.fall_as(&earlier.regions(layer.span))
        {
            return before.clone();
        }
        if !below
            .as_ref()
            .is_some_and(|below| below.alike(&layer_regions))
        {
            known.choose_anew();
        }
        let found = of_layer(painted, &layer_regions, layer, wanted.hollow, &mut known);
        below = Some(layer_regions);
        found
    })
}

/// A plan of the same part from before, with the steps of its fades.
#[derive(Clone, Copy)]
pub(super) struct Earlier<'a> {
    pub painted: &'a Painted,
    pub steps: &'a [Option<RampSteps>],
}

impl<'a> Earlier<'a> {
    fn regions(&self, span: geometry::LayerSpan) -> LayerRegions<'a> {
        LayerRegions::new(self.painted, self.steps, span)
    }
}

fn of_layer(
    painted: &Painted,
    layer_regions: &LayerRegions,
    layer: &layers::Layer,
    hollow: f64,
    known: &mut LookupCache,
) -> Apportioned {
    let nozzle_mm = painted.plan().machine.nozzle_mm;
    match layer_regions.single() {
        Some(region_step) => {
            let apart_mm = nozzle_mm * COARSE_ROWS;
            let inside = inside(painted, layer, apart_mm, layer_regions, known);
            one_blend(region_step, layer, Plastic::of(layer, &inside, hollow))
        }
        None => {
            let inside = inside(painted, layer, nozzle_mm, layer_regions, known);
            shared(
                painted,
                layer_regions,
                layer,
                &inside,
                Plastic::of(layer, &inside, hollow),
            )
        }
    }
}

fn inside(
    painted: &Painted,
    layer: &layers::Layer,
    apart_mm: f64,
    layer_regions: &LayerRegions,
    known: &mut LookupCache,
) -> Interior {
    let (surface, skin_mm) = (painted.surface(), painted.plan().skin_mm);
    let middle_mm = layer.span.middle_mm();
    interior::sample(
        surface,
        &layer.contours,
        (middle_mm, skin_mm),
        apart_mm,
        layer_regions,
        known,
    )
}

/// Open meshes may have volumes that make no sense.
fn volume(layer: &layers::Layer) -> f64 {
    layer.volume_mm3.max(0.0)
}

fn free_mm3(layer: &layers::Layer, inside: &Interior) -> f64 {
    let whole = inside.near.sum() + inside.free;
    match whole > 0.0 {
        true => volume(layer) * inside.free / whole,
        false => 0.0,
    }
}

fn one_blend(region_step: RegionStep, layer: &layers::Layer, plastic: Plastic) -> Apportioned {
    Apportioned {
        doses: vec![Amount {
            of: region_step,
            volume_mm3: plastic.laid(),
            area_mm2: layer.skin_mm2,
        }],
        free_mm3: plastic.free,
        too_small: Vec::new(),
        narrowest: Vec::new(),
    }
}

/// A layer in which more than height decides.
fn shared(
    painted: &Painted,
    layer_regions: &LayerRegions,
    layer: &layers::Layer,
    inside: &Interior,
    plastic: Plastic,
) -> Apportioned {
    let nozzle_mm = painted.plan().machine.nozzle_mm;
    let skin = skin::areas_mm2(painted.surface(), layer.span, nozzle_mm, layer_regions);
    let mut found: Vec<RegionStep> = inside
        .near
        .0
        .iter()
        .chain(&skin.0)
        .map(|(t, _)| *t)
        .collect();
    found.sort_unstable();
    found.dedup();
    if found.is_empty() {
        // No outline and no skin at all: an empty layer of the lowest region.
        found.push(RegionStep { region: 0, step: 0 });
    }
    let near = inside.near.sum();
    let (of_near, of_skin) = (parts(&found, &inside.near), parts(&found, &skin));
    // Where no sample fell, the skin tells.
    let parts = if near > 0.0 { &of_near } else { &of_skin };
    let mut doses: Vec<Amount> = found
        .iter()
        .zip(parts.iter().zip(&of_skin))
        .map(|(&region_step, (part, skin))| Amount {
            of: region_step,
            volume_mm3: plastic.near * part,
            area_mm2: layer.skin_mm2 * skin,
        })
        .collect();
    let dot_mm3 = nozzle_mm * nozzle_mm * layer.span.height_mm();
    let too_small = settle(&mut doses, plastic.laid(), dot_mm3);
    Apportioned {
        narrowest: match doses.len() {
            0 | 1 => Vec::new(),
            _ => outline_runs::shortest_stretches(
                painted.surface(),
                &layer.contours,
                layer.span.middle_mm(),
                nozzle_mm,
                layer_regions,
            ),
        },
        doses,
        free_mm3: plastic.free,
        too_small,
    }
}

/// Each region step's part of a tally, summing to 1; even parts of an empty one.
fn parts(layer_regions: &[RegionStep], tally: &super::region_steps::Tally) -> Vec<f64> {
    let sum = tally.sum();
    let part = |&region_step: &RegionStep| match sum > 0.0 {
        true => tally.of(region_step) / sum,
        false => 1.0 / layer_regions.len() as f64,
    };
    layer_regions.iter().map(part).collect()
}

/// Gives what is free and what is too small to lay to the largest dose, so that the doses add
/// up to the volume; returns the regions whose dose was too small, and its skin.
fn settle(doses: &mut Vec<Amount>, volume_mm3: f64, dot_mm3: f64) -> Vec<(usize, f64)> {
    let Some(largest) = (0..doses.len()).max_by(|&a, &b| {
        doses[a]
            .volume_mm3
            .total_cmp(&doses[b].volume_mm3)
            .then(b.cmp(&a))
    }) else {
        return Vec::new();
    };
    let mut too_small = Vec::new();
    let mut lost_area = 0.0;
    let mut main = doses.swap_remove(largest);
    doses.retain(|dose| {
        let laid = dose.volume_mm3 >= dot_mm3;
        if !laid {
            lost_area += dose.area_mm2;
            if dose.of.region != main.of.region && dose.area_mm2 > 0.0 {
                too_small.push((dose.of.region, dose.area_mm2));
            }
        }
        laid
    });
    main.volume_mm3 = volume_mm3 - doses.iter().map(|d| d.volume_mm3).sum::<f64>();
    main.area_mm2 += lost_area;
    doses.push(main);
    too_small
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use blend::{LinearLight, Shares};
    use geometry::mask::Stroke;
    use geometry::{DVec3, Mask, Progress, Surface, solids};

    use super::super::ramp_steps;
    use super::*;
    use crate::{BrushStroke, FirstPlan, MeshSource, Paint, Plan, Region};

    /// A ball with a sphere, a stroke over its side and a band on it.
    fn painted() -> Painted {
        let ball = solids::icosphere(15.0, 4).expect("a ball");
        let ball = ball.map(|p| p + DVec3::Z * 15.0).expect("moved");
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("ball.stl"),
            title: "Ball".into(),
            height_mm: 30.0,
        });
        let one = |share: f64| Paint::Fixed(Shares::new(&[share, 1.0 - share]).expect("shares"));
        let centre_mm = DVec3::new(14.0, 3.0, 12.0);
        let spot = Mask::Sphere {
            centre_mm,
            radius_mm: 6.0,
        };
        let band = Mask::Band {
            from_mm: 9.0,
            to_mm: 11.0,
        };
        let dabs_mm = [9.0, 13.0, 20.0]
            .map(|z| DVec3::new(0.0, -14.0, z))
            .to_vec();
        let mut drawn = Region::new("Drawn", Mask::Not(Box::new(Mask::Whole)), one(0.7));
        drawn.brush.push(BrushStroke::Paint(Stroke {
            dabs_mm,
            radius_mm: 2.5,
            reach_mm: None,
        }));
        plan.regions.extend([
            Region::new("Band", band, one(0.2)),
            Region::new("Spot", spot, one(0.5)),
            drawn,
        ]);
        let model = Arc::new(LinearLight::new(&plan.spools));
        let surface = Surface::new(Arc::new(ball));
        Painted::new(plan, surface, model, &Progress::new()).expect("lays")
    }

    /// A layer is the same, to the last digit, whether or not those beneath were looked at before.
    #[test]
    fn what_is_known_makes_no_difference() {
        let painted = painted();
        let steps = ramp_steps::of_regions(&painted);
        let mesh = painted.surface().mesh();
        let cut = layers::cut(mesh, &painted.plan().layers, &Progress::new()).expect("layers");
        let told = |found: &Apportioned| {
            let dose = |d: &Amount| (d.of, d.volume_mm3, d.area_mm2);
            let doses: Vec<_> = found.doses.iter().map(dose).collect();
            (
                doses,
                found.free_mm3,
                found.too_small.clone(),
                found.narrowest.clone(),
            )
        };
        let wanted = |layer| Wanted {
            layer,
            hollow: 0.4,
            before: None,
        };
        let all = of_layers(&painted, &steps, None, cut.iter().map(wanted));
        let mut shared = 0;
        for (found, layer) in all.zip(&cut) {
            let alone = of_layers(&painted, &steps, None, std::iter::once(wanted(layer)));
            let alone: Vec<_> = alone.map(|found| told(&found)).collect();
            shared += usize::from(found.doses.len() > 1);
            assert_eq!([told(&found)], alone[..], "{:?}", layer.span);
        }
        assert!(shared > 50, "{shared}");
    }
}
