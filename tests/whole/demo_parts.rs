//! Amounts add up, shares are shares, and what is written is what was meant.

use std::sync::{Arc, LazyLock};

use demo_models::{Demo, recipe, toolpath};
use geometry::{Progress, Surface, layers};
use plan::{Painted, Plan, Schedule};

/// A demonstration part with its plan laid on it and its schedule.
struct Made {
    name: &'static str,
    painted: Painted,
    schedule: Schedule,
}

fn made(demo: Demo) -> Made {
    let progress = Progress::new();
    let plan = Plan::from_ron(demo.plan_ron).unwrap();
    let model = blend::model_for(&plan.spools, None);
    let surface = Surface::new(Arc::new(demo.mesh));
    let painted = Painted::new(plan, surface, model, &progress).unwrap();
    let schedule = Schedule::new(&painted, &progress).unwrap();
    Made {
        name: demo.name,
        painted,
        schedule,
    }
}

/// Made once for all tests.
static ALL: LazyLock<Vec<Made>> =
    LazyLock::new(|| demo_models::all().unwrap().into_iter().map(made).collect());

fn assert_near(name: &str, what: &str, got: f64, wanted: f64, relative: f64) {
    let off = (got - wanted).abs() / wanted.abs().max(1e-12);
    assert!(off <= relative, "{name}: {what} is {got}, not {wanted}");
}

#[test]
fn doses_add_up_to_layers_and_layers_to_the_part() {
    for Made {
        name,
        painted,
        schedule,
    } in ALL.iter()
    {
        let mesh = painted.surface().mesh();
        for layer in &schedule.layers {
            let doses = || layer.doses.iter();
            assert_near(
                name,
                "a layer's volume",
                doses().map(|d| d.volume_mm3).sum(),
                layer.volume_mm3,
                1e-9,
            );
            assert_near(
                name,
                "a layer's skin",
                doses().map(|d| d.area_mm2).sum(),
                layer.area_mm2,
                1e-9,
            );
        }
        let volume = schedule.layers.iter().map(|l| l.volume_mm3).sum();
        assert_near(
            name,
            "what is laid",
            schedule.totals.volume_mm3,
            volume,
            1e-9,
        );
        let solid = schedule.totals.solid_mm3;
        assert_near(name, "the volume", solid, mesh.volume_mm3(), 1e-9);
        let area = schedule.totals.regions.iter().map(|r| r.area_mm2).sum();
        // The face on the bed is no visible area.
        let on_bed = geometry::place::bed_face(mesh);
        let seen = (0..mesh.triangles().len()).filter(|&facet| !on_bed[facet]);
        let seen: f64 = seen.map(|facet| mesh.area_vector(facet).length()).sum();
        assert!(seen < mesh.area_mm2());
        assert_near(name, "the area of the regions", area, seen, 1e-6);
    }
}

/// Plastic of each layer of a toolpath, mm³, by the tops of the layers, read from its plain words:
/// nothing of the reader of toolpaths is used.
fn laid_mm3(file: &[u8], tops_mm: &[f64], diameter_mm: f64) -> Vec<f64> {
    let mut laid = vec![0.0; tops_mm.len()];
    let mut z = 0.0;
    for line in String::from_utf8_lossy(file).lines() {
        let mut words = line.split_whitespace();
        if !matches!(words.next(), Some("G0" | "G1" | "G2" | "G3")) {
            continue;
        }
        let value = |key| {
            let word = line.split_whitespace().find_map(|w| w.strip_prefix(key));
            word.map(|number| number.parse::<f64>().unwrap())
        };
        z = value('Z').unwrap_or(z);
        // What is drawn back is given again: both count, and nothing is left of them.
        let layer = tops_mm.partition_point(|top| *top < z - 1e-6);
        laid[layer] += value('E').unwrap_or(0.0);
    }
    let area = std::f64::consts::PI * diameter_mm.powi(2) / 4.0;
    laid.into_iter().map(|mm| mm * area).collect()
}

/// What the plan reckons is laid, beside toolpaths of a slicer that knows nothing of it.
#[test]
fn the_plastic_is_that_of_toolpaths() {
    for (demo, made) in demo_models::all().unwrap().iter().zip(ALL.iter()) {
        let mut file = Vec::new();
        let layers = &made.painted.plan().layers;
        toolpath(&demo.mesh, layers, &recipe(demo.walls), &mut file).unwrap();
        let tops: Vec<f64> = made.schedule.layers.iter().map(|l| l.span.top_mm).collect();
        let laid = laid_mm3(&file, &tops, 1.75);
        let reckoned: Vec<f64> = made.schedule.layers.iter().map(|l| l.volume_mm3).collect();
        let ratio = reckoned.iter().sum::<f64>() / laid.iter().sum::<f64>();
        let off = |(a, b): (&f64, &f64)| (a / b - 1.0).abs() > 0.2;
        let wrong = reckoned.iter().zip(&laid).filter(|pair| off(*pair)).count();
        println!(
            "{}: {ratio:.3}, {wrong} of {} layers off",
            demo.name,
            laid.len()
        );
        assert!((ratio - 1.0).abs() < 0.1, "{}: {ratio}", demo.name);
        assert!(
            20 * wrong <= laid.len(),
            "{}: {wrong} of {}",
            demo.name,
            laid.len()
        );
    }
}

#[test]
fn filament_holds_the_plastic() {
    // A round filament holds πd²/4 of plastic for each mm of its length.
    for Made {
        name,
        painted,
        schedule,
    } in ALL.iter()
    {
        for dose in schedule.layers.iter().flat_map(|l| &l.doses) {
            let shares = dose.shares.as_slice();
            assert_near(name, "the sum of shares", shares.iter().sum(), 1.0, 1e-12);
            for ((spool, share), length) in painted
                .plan()
                .spools
                .iter()
                .zip(shares)
                .zip(&dose.filament_mm)
            {
                let held = length * std::f64::consts::PI * spool.diameter_mm.powi(2) / 4.0;
                assert!(
                    (held - share * dose.volume_mm3).abs() <= 1e-9 * dose.volume_mm3,
                    "{name}"
                );
            }
        }
    }
}

#[test]
fn a_schedule_comes_back_as_it_was_written() {
    for Made { name, schedule, .. } in ALL.iter() {
        let text = schedule.to_ron().unwrap();
        assert_eq!(Schedule::from_ron(&text).unwrap(), *schedule, "{name}");
    }
}

#[test]
fn a_plan_comes_back_as_it_was_written() {
    for demo in demo_models::all().unwrap() {
        let plan = Plan::from_ron(demo.plan_ron).unwrap();
        let text = plan.to_ron().unwrap();
        assert_eq!(Plan::from_ron(&text).unwrap(), plan, "{}", demo.name);
    }
}

#[test]
fn volumes_between_heights_add_up() {
    for demo in demo_models::all().unwrap() {
        let (_, high) = demo.mesh.bounds();
        let cuts = [0.0, 0.11, 0.37, 0.5, 0.83, 1.0].map(|part| part * high.z);
        let pieces = cuts
            .windows(2)
            .map(|w| layers::between(&demo.mesh, w[0], w[1]).volume_mm3)
            .sum();
        assert_near(
            demo.name,
            "the sum of bands",
            pieces,
            demo.mesh.volume_mm3(),
            1e-12,
        );
    }
}
