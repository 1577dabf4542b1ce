//! The schedule: exact amounts, shared layers, order, warnings.

#[path = "common/plans.rs"]
mod plans;

use std::sync::Arc;

use blend::{Lab, LinearLight, SpoolColour, Translucent, ciede2000};
use geometry::mask::Stroke;
use geometry::{DVec3, Field, LayerPlan, Mask, Mesh, Progress, Surface, layers, solids};
use plan::schedule::{Concern, Layer};
use plan::{BrushStroke, Filling, Paint, Painted, Plan, Region, Schedule, ScheduleError, Wall};
use plans::{fade, fixed, shares};
use proptest::prelude::*;

fn plan_of(layers: LayerPlan, base: Paint, regions: Vec<Region>) -> Plan {
    let mut plan = plans::plan_of(layers, base, regions);
    plan.filling = Filling::SOLID;
    plan
}

fn painted(mesh: Mesh, plan: Plan) -> Painted {
    let model = Arc::new(LinearLight::new(&plan.spools));
    let surface = Surface::new(Arc::new(mesh));
    Painted::new(plan, surface, model, &Progress::new()).expect("lays")
}

fn schedule(mesh: Mesh, plan: Plan) -> Schedule {
    Schedule::new(&painted(mesh, plan), &Progress::new()).expect("a schedule")
}

/// A block of 20 × 20 × 10 mm with a corner at the origin.
fn block() -> Mesh {
    let block = solids::cuboid(DVec3::new(20.0, 20.0, 10.0)).expect("a block");
    let (low, _) = block.bounds();
    let moved = block.vertices().iter().map(|&v| v - low).collect();
    Mesh::new(moved, block.triangles().to_vec()).expect("a block")
}

fn volume_of(layer: &Layer, region: usize) -> f64 {
    let doses = layer.doses.iter().filter(|d| d.region == region);
    doses.map(|d| d.volume_mm3).sum()
}

/// A linear fade over a plain cylinder, the first spool at 0, the second at 100 mm: at 40 %
/// of the height the share is 60/40 (common practice, no source).
#[test]
fn a_linear_fade_is_sixty_forty_at_forty_percent() {
    let post = solids::cylinder(15.0, 100.0, 180).expect("a post");
    let whole = post.volume_mm3();
    // With a first layer of half the height, layers have their middles at whole halves.
    let fade = fade(Field::Height, &[(0.0, 1.0), (100.0, 0.0)]);
    let mut plan = plan_of(LayerPlan::plain(0.25, 0.5), fade, vec![]);
    plan.machine.least_share = 0.0;
    plan.machine.share_step = 0.01;
    let schedule = schedule(post, plan);
    let mut layers = schedule.layers.iter();
    let at_40 = layers
        .find(|l| (l.span.middle_mm() - 40.0).abs() < 1e-9)
        .expect("a layer about 40 mm");
    let [dose] = at_40.doses.as_slice() else {
        panic!("one dose");
    };
    assert!((dose.shares.as_slice()[0] - 0.6).abs() < 1e-12);
    assert!((dose.shares.as_slice()[1] - 0.4).abs() < 1e-12);

    // 1.75 mm round filament: πd²/4 = 2.405282 mm², so 0.415752 mm for each mm³.
    let per_mm3 = dose.filament_mm.iter().sum::<f64>() / dose.volume_mm3;
    assert!((per_mm3 - 0.415752).abs() < 1e-6);
    // PLA of 1.24 g/cm³ (a typical maker's datasheet value).
    let totals = &schedule.totals;
    let mass: f64 = totals.spools.iter().map(|s| s.mass_g).sum();
    assert!((mass - whole * 1.24e-3).abs() < 1e-9 * mass);
    let length: f64 = totals.spools.iter().map(|s| s.length_m).sum();
    assert!((length - whole * 0.415752e-3).abs() < 1e-6 * length);
    assert!((totals.volume_mm3 - whole).abs() < 1e-9 * whole);
    // Steps of 1 %, so 101 blends at most; one dose a layer.
    assert_eq!(totals.blend_changes, 100);
    assert_eq!(totals.layers_with_changes, 0);
}

#[test]
fn bands_are_exact_and_belong_to_the_middle_of_a_layer() {
    let cone = solids::frustum(20.0, 5.0, 30.0, 90).expect("a cone");
    // The edge at 10.05 mm lies above the middle of the layer from 10.0 to 10.2? No: below.
    let band = Mask::Band {
        from_mm: 10.05,
        to_mm: 20.15,
    };
    let plan = plan_of(
        LayerPlan::plain(0.2, 0.2),
        fixed(1.0),
        vec![Region::new("Band", band, fixed(0.0))],
    );
    let schedule = schedule(cone.clone(), plan);
    assert!(schedule.layers.iter().all(|l| l.doses.len() == 1));
    let volume: f64 = schedule.layers.iter().map(|l| volume_of(l, 1)).sum();
    let exact = layers::between(&cone, 10.0, 20.2).volume_mm3;
    assert!((volume - exact).abs() < 1e-9 * exact);
    assert_eq!(schedule.totals.blend_changes, 2);
    assert_eq!(schedule.totals.layers_with_changes, 0);
    assert_eq!(schedule.warnings, []);
}

#[test]
fn two_sides_share_each_layer_and_take_turns() {
    let post = solids::cylinder(10.0, 6.0, 120).expect("a post");
    let right = Mask::Slab {
        direction: DVec3::X,
        from_mm: 0.0,
        to_mm: 50.0,
    };
    let plan = plan_of(
        LayerPlan::plain(0.2, 0.2),
        fixed(1.0),
        vec![Region::new("Right", right, fixed(0.2))],
    );
    let schedule = schedule(post, plan);
    assert_eq!(schedule.layers.len(), 30);
    for layer in &schedule.layers {
        assert_eq!(layer.doses.len(), 2);
        let areas: Vec<f64> = layer.doses.iter().map(|d| d.area_mm2).collect();
        assert!((areas[0] / areas[1] - 1.0).abs() < 0.02, "{areas:?}");
        // What is deeper than the skin goes with one of them; the skin itself is halved.
        let least = layer.doses[0].volume_mm3.min(layer.doses[1].volume_mm3);
        let skin = layer.volume_mm3 - layer.free_mm3;
        assert!((least / (skin / 2.0) - 1.0).abs() < 0.03);
    }
    // A ring 1.2 mm wide is (20·1.2 − 1.2²)/10² of a disc.
    let middle = &schedule.layers[15];
    let ring = (20.0 * 1.2 - 1.44) / 100.0;
    assert!(((1.0 - middle.free_mm3 / middle.volume_mm3) / ring - 1.0).abs() < 0.02);
    // One change within each layer, none between layers.
    assert_eq!(schedule.totals.blend_changes, 30);
    for pair in schedule.layers.windows(2) {
        assert_eq!(pair[0].doses[1].shares, pair[1].doses[0].shares);
    }
}

#[test]
fn colour_reaches_as_deep_as_the_skin() {
    let mut spot = Region::painted("Spot", fixed(0.5));
    spot.brush.push(BrushStroke::Paint(Stroke {
        dabs_mm: vec![DVec3::new(10.0, 10.0, 10.0)],
        radius_mm: 5.0,
        reach_mm: None,
    }));
    let plan = plan_of(LayerPlan::plain(0.2, 0.2), fixed(1.0), vec![spot]);
    let schedule = schedule(block(), plan);
    // From 8.8 mm up the middle of a layer is no deeper than 1.2 mm.
    for layer in &schedule.layers {
        let spot = volume_of(layer, 1);
        let disc = std::f64::consts::PI * 25.0 * 0.2;
        let wanted = if layer.span.middle_mm() > 8.8 {
            disc
        } else {
            0.0
        };
        assert!((spot - wanted).abs() < 0.02 * disc, "{spot} {wanted}");
    }
    let top = schedule.layers.last().expect("layers");
    let dose = top.doses.iter().find(|d| d.region == 1).expect("a spot");
    assert!((dose.area_mm2 / (std::f64::consts::PI * 25.0) - 1.0).abs() < 0.02);
    assert!((schedule.totals.regions[1].area_mm2 / dose.area_mm2 - 1.0).abs() < 0.02);
}

#[test]
fn a_fade_across_layers_is_laid_in_few_steps() {
    let across = fade(Field::Direction(DVec3::X), &[(0.0, 1.0), (20.0, 0.0)]);
    let plan = plan_of(LayerPlan::plain(0.5, 0.5), across, vec![]);
    let bound = plan.step_de00;
    let schedule = schedule(block(), plan);
    let first = &schedule.layers[0];
    assert!(first.doses.len() > 3);
    let mut labs: Vec<_> = first.doses.iter().map(|d| d.lab).collect();
    labs.sort_by(|a, b| a.l.total_cmp(&b.l));
    for pair in labs.windows(2) {
        assert!(ciede2000(pair[0], pair[1]) <= bound);
    }
    for layer in &schedule.layers {
        assert!(layer.doses.len() <= first.doses.len());
        for dose in &layer.doses {
            assert!(first.doses.iter().any(|d| d.shares == dose.shares));
        }
    }
}

/// A block of 20 × 20 × 10 mm with a sealed cavity of 8 × 8 × 4 mm in it: nobody sees its walls,
/// so they count nowhere, and plastic about them is free.
#[test]
fn a_sealed_cavity_is_no_visible_area() {
    let wall = solids::cuboid(DVec3::new(8.0, 8.0, 4.0)).expect("a block");
    let shift = DVec3::new(10.0, 10.0, 5.0) - 0.5 * (wall.bounds().0 + wall.bounds().1);
    let wall = wall.map(|p| p + shift).expect("moved").turned_inside_out();
    let hollow = Mesh::join([block(), wall]).expect("a mesh");
    // Without the face on the bed.
    let outer = block().area_mm2() - 400.0;
    let half = Mask::Slab {
        direction: DVec3::X,
        from_mm: 0.0,
        to_mm: 10.0,
    };
    let plan = plan_of(
        LayerPlan::plain(0.5, 0.5),
        fixed(0.0),
        vec![Region::new("Left", half, fixed(1.0))],
    );
    let painted = painted(hollow, plan);
    let areas = painted.region_areas_mm2(&Progress::new()).expect("areas");
    assert!((areas[0] - 0.5 * outer).abs() < 1e-3 * outer, "{areas:?}");
    assert!((areas.iter().sum::<f64>() - outer).abs() < 1e-6);
    let schedule = Schedule::new(&painted, &Progress::new()).expect("a schedule");
    let of_layers: f64 = schedule.layers.iter().map(|l| l.area_mm2).sum();
    let of_doses: f64 = schedule
        .layers
        .iter()
        .flat_map(|l| &l.doses)
        .map(|d| d.area_mm2)
        .sum();
    for area in [schedule.totals.area_mm2, of_layers, of_doses] {
        assert!((area - outer).abs() < 1e-6, "{area} {outer}");
    }
    // In the middle layers all but the outer wall is free, up to the cavity: 20 × 20 less what is
    // within reach of colour and less the cavity.
    let skin_mm = painted.plan().skin_mm;
    let middle = &schedule.layers[10];
    let free = ((20.0 - 2.0 * skin_mm).powi(2) - 64.0) * 0.5;
    assert!(
        (middle.free_mm3 / free - 1.0).abs() < 0.05,
        "{} {free}",
        middle.free_mm3
    );
}

/// A fade along the height has the layers for its steps; where they are too coarse a word is said.
#[test]
fn a_fade_too_steep_for_its_layers_is_told() {
    let steep = |top_mm| {
        let up = fade(Field::Height, &[(0.0, 1.0), (top_mm, 0.0)]);
        let mut plan = plan_of(LayerPlan::plain(0.5, 0.5), up, vec![]);
        plan.step_de00 = 2.0;
        schedule(block(), plan)
    };
    let of = |schedule: &Schedule| {
        let warnings = schedule.warnings.iter();
        let mut coarse = warnings.filter(|w| w.about == Concern::CoarseFade);
        coarse.next().map(|w| w.text.clone())
    };
    let schedule = steep(4.0);
    let labs: Vec<Lab> = schedule.layers.iter().map(|l| l.doses[0].lab).collect();
    let worst = labs.windows(2).map(|p| ciede2000(p[0], p[1]));
    let worst = worst.fold(0.0, f64::max);
    let text = of(&schedule).expect("told");
    assert!(
        worst > 2.0 && text.contains(&format!("ΔE00 {worst:.1}")),
        "{text}"
    );
    assert!(text.contains("EqualSteps"), "{text}");
    assert_eq!(of(&steep(400.0)), None);
}

#[test]
fn warnings_say_what_is_wrong_where() {
    let band = |from_mm, to_mm| Mask::Band { from_mm, to_mm };
    let needle = Mask::Box {
        min_mm: DVec3::new(-1.0, 9.7, 4.0),
        max_mm: DVec3::new(1.0, 10.0, 6.0),
    };
    let mut plan = plan_of(
        LayerPlan::plain(0.2, 0.2),
        fixed(0.0),
        vec![
            Region::new("Sliver", band(5.12, 5.18), fixed(1.0)),
            Region::new("Needle", needle, fixed(1.0)),
            Region::new("Trace", band(8.0, 9.0), fixed(0.06)),
        ],
    );
    plan.machine.least_share = 0.1;
    let schedule = schedule(block(), plan);
    let about: Vec<_> = schedule
        .warnings
        .iter()
        .map(|w| (w.region, w.about))
        .collect();
    assert_eq!(
        about,
        [
            (Some(1), Concern::NoLayer),
            (Some(2), Concern::TooNarrow),
            (Some(3), Concern::Limits)
        ]
    );
    let text = &schedule.warnings[2].text;
    assert!(text.contains("feeds 10 / 90 in place of 6 / 94"), "{text}");
    assert!(text.contains("5 layers between 8.00 and 9.00 mm"), "{text}");
}

#[test]
fn an_open_mesh_is_said_and_done_as_well_as_can_be() {
    let block = block();
    let open = Mesh::new(block.vertices().to_vec(), block.triangles()[2..].to_vec());
    let plan = plan_of(LayerPlan::plain(0.2, 0.2), fixed(0.0), vec![]);
    let schedule = schedule(open.expect("a mesh"), plan);
    assert!(schedule.layers.iter().all(|l| l.volume_mm3 >= 0.0));
    let open = schedule
        .warnings
        .iter()
        .any(|w| w.about == Concern::OpenMesh);
    // The two facets left out may be the bottom, which no cut meets.
    assert_eq!(open, schedule.warnings.len() == 1);
}

#[test]
fn a_translucent_spool_is_seen_through_the_plans_wall() {
    let mut plan = plan_of(LayerPlan::plain(0.2, 0.2), fixed(0.0), vec![]);
    let grey = |l: f64| SpoolColour::Lab(Lab { l, a: 0.0, b: 0.0 });
    plan.spools[0].translucent = Some(Translucent {
        thickness_mm: 1.0,
        over_black: grey(50.0),
        over_white: grey(75.0),
        black_reflectance: 0.01,
        white_reflectance: 0.8,
    });
    let warned = |plan: &Plan| {
        let schedule = schedule(block(), plan.clone());
        let mut warnings = schedule.warnings.iter();
        warnings.any(|w| w.about == Concern::WallUnknown)
    };
    assert!(warned(&plan));
    let thick = plan.model().mix(&shares(1.0)).to_lab();
    plan.wall = Some(Wall {
        thickness_mm: 1.0,
        behind: 0.01,
    });
    assert!(!warned(&plan));
    // As thick, and over the same black, as the piece that was read.
    let read = plan.model().mix(&shares(1.0)).to_lab();
    assert!((read.l - 50.0).abs() < 0.1, "{read:?}");
    assert!(thick.l > read.l + 1.0, "{thick:?}");
    let text = plan.to_ron().expect("writes");
    assert_eq!(Plan::from_ron(&text).expect("reads").wall, plan.wall);
}

#[test]
fn it_round_trips_and_is_the_same_on_any_number_of_cores() {
    let dot = Mask::Sphere {
        centre_mm: DVec3::new(10.0, 0.0, 5.0),
        radius_mm: 3.0,
    };
    let height = fade(Field::Height, &[(0.0, 1.0), (10.0, 0.3)]);
    let plan = plan_of(
        LayerPlan::plain(0.3, 0.2),
        height,
        vec![Region::new("Dot", dot, fixed(1.0 / 3.0))],
    );
    let painted = painted(block(), plan);
    let on = |cores| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(cores)
            .build()
            .expect("a pool");
        pool.install(|| Schedule::new(&painted, &Progress::new()).expect("a schedule"))
    };
    let schedule = on(1);
    assert!(on(3) == schedule, "other numbers on three cores");
    let text = schedule.to_ron().expect("writes");
    assert!(Schedule::from_ron(&text).expect("reads") == schedule);
    let json = serde_json::to_string(&schedule).expect("writes");
    assert!(serde_json::from_str::<Schedule>(&json).expect("reads") == schedule);
    let (before, mass) = text.split_once("mass_g: ").expect("a mass");
    let (_, after) = mass.split_once(',').expect("what follows");
    let none = format!("{before}mass_g: NaN,{after}");
    let error = Schedule::from_ron(&none)
        .expect_err("no number")
        .to_string();
    assert!(error.contains("'NaN' is not a finite number"), "{error}");
    for version in ["version: 9", "version: 9_", "version: 0x9", "r#version: 9"] {
        let newer = text.replacen("version: 1", version, 1);
        let error = Schedule::from_ron(&newer).expect_err("newer").to_string();
        assert!(
            error.starts_with("line 2, column 1") && error.contains("has version 9"),
            "{error}"
        );
    }
}

#[test]
fn it_can_be_cancelled_and_refuses_what_is_not_on_the_bed() {
    let plan = plan_of(LayerPlan::plain(0.2, 0.2), fixed(0.0), vec![]);
    let laid = painted(block(), plan.clone());
    let progress = Progress::new();
    progress.cancel();
    assert!(Schedule::new(&laid, &progress).is_err());
    let ball = solids::icosphere(5.0, 2).expect("a ball");
    let error = Schedule::new(&painted(ball, plan), &Progress::new()).expect_err("sunk");
    assert!(matches!(error, ScheduleError::Cut(_)), "{error}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]

    #[test]
    fn doses_add_up_to_the_layers_and_the_part(
        centre in (0.0..20.0, 0.0..20.0, 0.0..10.0), radius_mm in 1.0..9.0,
        direction in (-1.0..1.0, -1.0..1.0, 0.1..1.0), from_mm in 0.0..10.0,
        skin_mm in 0.2..3.0, layer_mm in 0.15..0.6, across in any::<bool>(),
    ) {
        let centre_mm = DVec3::from(centre);
        let paint = match across {
            true => fade(Field::FromPoint(centre_mm), &[(0.0, 0.0), (radius_mm, 1.0)]),
            false => fixed(0.4),
        };
        let side = Mask::Slab { direction: direction.into(), from_mm, to_mm: 99.0 };
        let mut plan = plan_of(
            LayerPlan::plain(0.3, layer_mm),
            fixed(0.0),
            vec![
                Region::new("Side", side, fixed(1.0)),
                Region::new("Ball", Mask::Sphere { centre_mm, radius_mm }, paint),
            ],
        );
        plan.skin_mm = skin_mm;
        let schedule = schedule(block(), plan);
        for layer in &schedule.layers {
            let volume: f64 = layer.doses.iter().map(|d| d.volume_mm3).sum();
            prop_assert!((volume - layer.volume_mm3).abs() < 1e-9);
            let area: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
            prop_assert!((area - layer.area_mm2).abs() < 1e-9);
            prop_assert!(layer.free_mm3 >= 0.0 && layer.free_mm3 <= layer.volume_mm3);
            for dose in &layer.doses {
                prop_assert!(dose.volume_mm3 > 0.0);
                let sum: f64 = dose.shares.as_slice().iter().sum();
                prop_assert!((sum - 1.0).abs() < 1e-9);
            }
        }
        let totals = &schedule.totals;
        prop_assert!((totals.volume_mm3 - 4000.0).abs() < 1e-6);
        prop_assert!((totals.spools.iter().map(|s| s.volume_mm3).sum::<f64>() - 4000.0).abs() < 1e-6);
        prop_assert!((totals.regions.iter().map(|r| r.volume_mm3).sum::<f64>() - 4000.0).abs() < 1e-6);
        prop_assert!((totals.area_mm2 - 1200.0).abs() < 1e-6);
    }
}

#[test]
fn the_demonstration_plans_are_sound_and_the_lighthouse_schedules() {
    for demo in demo_models::all().expect("made by code") {
        let no_file = |file: &str| Err(format!("{file} is not there"));
        let plan = Plan::load(demo.plan_ron, no_file).expect(demo.name);
        if demo.name == "lighthouse" {
            let volume = demo.mesh.volume_mm3();
            let schedule = schedule(demo.mesh, plan);
            assert!((schedule.totals.solid_mm3 / volume - 1.0).abs() < 1e-9);
            assert!(schedule.totals.volume_mm3 < 0.5 * volume);
            assert_eq!(schedule.warnings, []);
        }
    }
}
