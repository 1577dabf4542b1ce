//! The lag test is a sound part with a sound plan.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use blend::{Spool, SpoolColour, Srgb};
use calibrate::lag_test::{LagTest, LagTestError};
use plan::{Machine, Paint, Plan};

fn spools(codes: &[[u8; 3]]) -> Vec<Spool> {
    let spool = |code: &[u8; 3]| Spool::new("spool", SpoolColour::Hex(Srgb(*code)));
    codes.iter().map(spool).collect()
}

fn made(codes: &[[u8; 3]], machine: &Machine) -> Result<LagTest, LagTestError> {
    let spools = spools(codes);
    let model = blend::model_for(&spools, None);
    LagTest::new(&spools, model.as_ref(), machine, "lag-test.stl")
}

#[test]
fn the_tower_is_closed_and_all_wall() {
    let machine = Machine::default();
    let test = made(&[[240, 240, 230], [20, 80, 120]], &machine).unwrap();
    let (lo, hi) = test.mesh.bounds();
    assert_eq!(lo.z, 0.0);
    assert!(hi.z < 110.0, "{}", hi.z);
    // 4 (10 − 0.8) 0.8 mm² of wall, and a foot: a plate and a slope about the tower.
    let wall = 29.44 * hi.z;
    let foot = (400.0 - 100.0) * 1.0 + 5.0 / 3.0 * (400.0 + 100.0 + 200.0) - 100.0 * 5.0;
    assert!((test.mesh.volume_mm3() - wall - foot).abs() < 1e-6 * wall);
    assert_eq!(test.plan.problems(), []);
    assert_eq!(
        Plan::from_ron(&test.plan.to_ron().unwrap()).unwrap(),
        test.plan
    );
    assert!(!test.plan.laying.lead);
}

#[test]
fn bands_settle_even_in_a_chamber_of_twice_the_volume() {
    let machine = Machine::default();
    let test = made(&[[240, 240, 230], [20, 80, 120]], &machine).unwrap();
    let band = test.changes_mm[1] - test.changes_mm[0];
    let twice = plan::Chamber {
        dead_mm3: 40.0,
        mixed_mm3: 60.0,
        tanks: 1,
    };
    assert!(1.0 - twice.step_response((band - 3.0) * 29.44) <= 0.0051);
}

#[test]
fn the_most_different_spools_are_taken() {
    let machine = Machine::default();
    let test = made(&[[120, 120, 120], [250, 250, 250], [10, 10, 10]], &machine).unwrap();
    let Paint::Fixed(first) = &test.plan.regions[0].paint else {
        panic!("a fixed blend");
    };
    assert_eq!(first.as_slice()[1], 1.0);
    let error = made(&[[120, 120, 120], [125, 120, 120]], &machine).unwrap_err();
    assert!(matches!(error, LagTestError::TooAlike(_)), "{error}");
    let mut huge = Machine::default();
    huge.chamber.mixed_mm3 = 30_000.0;
    let error = made(&[[250, 250, 250], [10, 10, 10]], &huge).unwrap_err();
    assert!(error.to_string().contains("mm³"), "{error}");
}
