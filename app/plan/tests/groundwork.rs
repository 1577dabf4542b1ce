//! A schedule that is worked out from the groundwork of another plan of the part.

#[path = "common/plans.rs"]
mod plans;

use std::sync::Arc;

use blend::LinearLight;
use geometry::mask::Stroke;
use geometry::{DVec3, Field, LayerPlan, Mask, Progress, Surface, solids};
use plan::{BrushStroke, Painted, Plan, Region, Schedule};
use plans::{fade, fixed, plan_of};

/// Whatever is changed, from the groundwork of the plan before comes the schedule that is worked
/// out from nothing.
#[test]
fn a_revised_schedule_is_the_one_made_anew() {
    let ball = solids::icosphere(15.0, 4).expect("a ball");
    let ball = ball.map(|p| p + DVec3::Z * 15.0).expect("moved");
    let drawn = |x: f64, z: f64| Stroke {
        dabs_mm: vec![DVec3::new(x, -14.0, z), DVec3::new(x, -13.0, z + 4.0)],
        radius_mm: 2.5,
        reach_mm: None,
    };
    let band = Mask::Band {
        from_mm: 9.0,
        to_mm: 11.0,
    };
    let base = fade(Field::Height, &[(0.0, 0.0), (30.0, 1.0)]);
    let regions = vec![Region::new("Band", band, fixed(0.2))];
    let mut plan = plan_of(LayerPlan::plain(0.5, 0.5), base, regions);
    plan.filling.infill = 0.2;
    type Change = (&'static str, fn(&mut Plan, [Stroke; 2]));
    let changes: [Change; 11] = [
        ("a stop", |plan, _| {
            plan.regions[0].paint = fade(Field::Height, &[(0.0, 0.0), (15.0, 1.0)]);
        }),
        ("a new area", |plan, [one, _]| {
            let mut region = Region::painted("Drawn", fixed(0.7));
            region.brush.push(BrushStroke::Paint(one));
            plan.regions.push(region);
        }),
        ("another stroke", |plan, [_, other]| {
            plan.regions[2].brush.push(BrushStroke::Erase(other));
        }),
        ("a blend", |plan, _| plan.regions[2].paint = fixed(0.4)),
        ("a fade across", |plan, _| {
            plan.regions[2].paint = fade(Field::Direction(DVec3::X), &[(-9.0, 0.0), (9.0, 1.0)]);
        }),
        ("another fade across", |plan, _| {
            plan.regions[2].paint = fade(Field::Direction(DVec3::Y), &[(-9.0, 0.0), (9.0, 1.0)]);
        }),
        ("its other end", |plan, _| {
            plan.regions[2].paint = fade(Field::Direction(DVec3::Y), &[(-9.0, 0.0), (9.0, 0.6)]);
        }),
        ("another order", |plan, _| plan.regions.swap(1, 2)),
        ("a region left out", |plan, _| plan.regions[1].hidden = true),
        ("deeper colour", |plan, _| plan.skin_mm *= 2.0),
        ("other layers", |plan, _| plan.layers.layer_mm = 0.4),
    ];
    let surface = Surface::new(Arc::new(ball));
    let model = Arc::new(LinearLight::new(&plan.spools));
    let progress = Progress::new();
    let laid = Painted::new(plan.clone(), surface, model.clone(), &progress);
    let mut laid = Arc::new(laid.expect("lays"));
    let first = Schedule::revised(&laid, None, &progress);
    let (_, mut ground) = first.expect("a schedule");
    for (what, change) in changes {
        change(&mut plan, [drawn(0.0, 8.0), drawn(2.0, 14.0)]);
        let revised = laid.revised(plan.clone(), model.clone(), &progress);
        laid = Arc::new(revised.expect("lays"));
        let again = Schedule::revised(&laid, Some(&ground), &progress);
        let anew = Schedule::new(&laid, &progress).expect("a schedule");
        let (again, next) = again.expect("a schedule");
        assert!(again == anew, "{what}");
        ground = next;
    }
}

/// Strokes alone make up many regions; layers that none of them reaches have one blend.
#[test]
fn layers_beyond_a_painted_region_are_not_shared() {
    let mut drawn = Region::painted("Drawn", fixed(0.7));
    drawn.brush.push(BrushStroke::Paint(Stroke {
        dabs_mm: vec![DVec3::new(0.0, -10.0, 2.0)],
        radius_mm: 1.0,
        reach_mm: None,
    }));
    let plan = plan_of(LayerPlan::plain(0.2, 0.2), fixed(0.1), vec![drawn]);
    let block = solids::cuboid(DVec3::new(20.0, 20.0, 10.0)).expect("a block");
    let low_mm = block.bounds().0.z;
    let block = block.map(|p| p - DVec3::Z * low_mm).expect("moved");
    let model = Arc::new(LinearLight::new(&plan.spools));
    let surface = Surface::new(Arc::new(block));
    let laid = Painted::new(plan, surface, model, &Progress::new()).expect("lays");
    let heights = |region: usize| {
        let at = |z: f64| laid.covers(region, laid.surface().nearest(DVec3::new(0.0, -11.0, z)));
        (at(2.0), at(5.0))
    };
    assert_eq!(heights(1), (true, false));
    let (low, high) = laid.plan().regions[1].mask.height_range_mm();
    assert!(low > high);
    let schedule = Schedule::new(&laid, &Progress::new()).expect("a schedule");
    for layer in &schedule.layers {
        let shared = layer.doses.len() > 1;
        let near = layer.span.top_mm > 1.0 && layer.span.bottom_mm < 3.0;
        assert!(near || !shared, "{:?}", layer.span);
    }
    assert!(schedule.layers.iter().any(|layer| layer.doses.len() == 2));
}
