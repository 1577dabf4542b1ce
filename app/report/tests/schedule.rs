//! What is written of a schedule reads back as what it was.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::sync::Arc;

use blend::{LinearLight, Shares};
use geometry::{DVec3, LayerPlan, Mask, Progress, Surface, solids};
use plan::{AsPrinted, FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};
use proptest::prelude::*;
use report::schedule::{write_csv, write_ron};

/// A block of 20 × 10 × 6 mm with a fade along its height and a ball of another blend.
fn schedule(share: f64, layer_mm: f64, name: &str) -> (Schedule, AsPrinted) {
    let mesh = solids::cuboid(DVec3::new(20.0, 10.0, 6.0)).unwrap();
    let (lo, _) = mesh.bounds();
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: format!("Block\n{name}"),
        height_mm: 6.0,
    });
    plan.layers = LayerPlan::plain(layer_mm, layer_mm);
    plan.spools[0].name = name.to_owned();
    plan.regions.push(Region {
        name: name.to_owned(),
        mask: Mask::Sphere {
            centre_mm: lo + DVec3::new(10.0, 0.0, 3.0),
            radius_mm: 2.5,
        },
        ..plan.regions[0].clone()
    });
    plan.regions[1].paint = Paint::Fixed(Shares::new(&[share, 1.0 - share]).unwrap());
    let surface = Surface::new(Arc::new(mesh));
    let model = Arc::new(LinearLight::new(&plan.spools));
    let progress = Progress::new();
    let painted = Painted::new(plan, surface, model, &progress).unwrap();
    let schedule = Schedule::new(&painted, &progress).unwrap();
    let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress).unwrap();
    (schedule, printed)
}

fn csv_of((schedule, printed): &(Schedule, AsPrinted)) -> String {
    let mut bytes = Vec::new();
    write_csv(schedule, printed, &mut bytes).unwrap();
    String::from_utf8(bytes).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn ron_reads_back_equal(share in 0.0..1.0_f64, layer_mm in 0.3..1.0_f64, name in "\\PC{1,20}") {
        let (schedule, printed) = schedule(share, layer_mm, &name);
        let mut bytes = Vec::new();
        write_ron(&schedule, &mut bytes).unwrap();
        let read = Schedule::from_ron(&String::from_utf8(bytes).unwrap()).unwrap();
        prop_assert_eq!(read, schedule);
        let read = AsPrinted::from_ron(&printed.to_ron().unwrap()).unwrap();
        prop_assert_eq!(read, printed);
    }

    #[test]
    fn csv_says_the_same(share in 0.0..1.0_f64, layer_mm in 0.3..1.0_f64, name in "\\PC{1,20}") {
        let both = schedule(share, layer_mm, &name);
        let text = csv_of(&both);
        let (schedule, printed) = both;
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
        let names = reader.headers().unwrap().clone();
        let at = |name: &str| names.iter().position(|n| n == name).unwrap();
        let doses = schedule
            .layers
            .iter()
            .enumerate()
            .flat_map(|(i, layer)| layer.doses.iter().map(move |dose| (i, layer, dose)));
        let mut delivered = printed.delivery.layers.iter().flat_map(|layer| &layer.doses);
        let mut rows = reader.records();
        for (i, layer, dose) in doses {
            let row = rows.next().unwrap().unwrap();
            let out = delivered.next().unwrap();
            let number = |name: &str| row[at(name)].parse::<f64>().unwrap();
            prop_assert_eq!(row[at("layer")].parse::<usize>().unwrap(), i + 1);
            for (name, value) in [
                ("top_mm", layer.span.top_mm),
                ("volume_mm3", dose.volume_mm3),
                ("visible_area_mm2", dose.area_mm2),
                ("share_1", dose.shares.as_slice()[0]),
                ("share_2", dose.shares.as_slice()[1]),
                ("filament_2_mm", dose.filament_mm[1]),
                ("lab_b", dose.lab.b),
                ("fed_share_1", out.fed.as_slice()[0]),
                ("printed_share_2", out.shares.as_slice()[1]),
                ("printed_lab_l", out.lab.l),
                ("printed_worst_de00", out.worst_de00),
            ] {
                prop_assert!((number(name) - value).abs() <= 0.5e-6 + 1e-12, "{}", name);
            }
            prop_assert_eq!(&row[at("srgb")], dose.srgb.to_string());
            prop_assert_eq!(&row[at("region_name")], &schedule.totals.regions[dose.region].name);
        }
        prop_assert!(rows.next().is_none());
    }
}

#[test]
fn a_name_with_breaks_and_quotes_breaks_nothing() {
    let schedule = schedule(0.25, 0.5, "A, \"B\"\n# C");
    let text = csv_of(&schedule);
    let comments = text.lines().take_while(|line| line.starts_with('#'));
    assert!(comments.count() >= 9, "{text}");
    let reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let names: Vec<String> = reader
        .into_records()
        .map(|row| row.unwrap()[6].to_owned())
        .collect();
    assert!(names.iter().any(|n| n == "A, \"B\"\n# C"), "{names:?}");
}

#[test]
fn every_column_is_documented() {
    const DOCUMENTATION: &str = include_str!("../../../docs/schedule-format.md");
    let text = csv_of(&schedule(0.5, 0.5, "Ball"));
    let names = text.lines().find(|line| !line.starts_with('#')).unwrap();
    for name in names.split(',') {
        assert!(DOCUMENTATION.contains(&format!("`{name}`")), "{name}");
    }
}
