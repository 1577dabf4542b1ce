//! The machine file, and what the machine can feed.

use blend::{MAX_COMPONENTS, Shares};
use plan::{Machine, Plan};
use proptest::prelude::*;

const DOCUMENTATION: &str = include_str!("../../../docs/machine-format.md");

#[test]
fn the_documented_example_is_the_default() {
    let from = DOCUMENTATION.find("```ron\n").expect("an example") + "```ron\n".len();
    let text = &DOCUMENTATION[from..];
    let text = &text[..text.find("```").expect("its end")];
    let machine = Machine::from_ron(text).expect("reads");
    assert_eq!(machine, Machine::default());
    let written = machine.to_ron().expect("writes");
    assert!(written.contains("/// The melt chamber"));
    assert_eq!(Machine::from_ron(&written).expect("reads"), machine);
}

#[test]
fn wrong_machines_say_where() {
    for (text, says) in [
        (
            "(version: 1, nozle_mm: 0.4)",
            "line 1, column 14: there is no field `nozle_mm`",
        ),
        (
            "(version: 1,\n chamber: (dead_mm3: -1.0))",
            "line 2, column 22: this is -1;",
        ),
        (
            "(version: 1, chamber: (tanks: 0))",
            "line 1, column 31: this is 0;",
        ),
        (
            "(version: 1, drives: [])",
            "line 1, column 22: there are 0 drives",
        ),
        (
            "(version: 1, stored_blends: 1)",
            "line 1, column 29: a firmware that stores",
        ),
        (
            "(version: 2, chambers: ())",
            "line 1, column 11: this machine file has version 2",
        ),
        (
            "(version: 1, flow: (usual_mm3_s: 40.0))",
            "the usual flow is above",
        ),
    ] {
        let error = Machine::from_ron(text).expect_err(text).to_string();
        assert!(error.contains(says), "{error}");
    }
    let plan = r##"(version: 1, mesh: (file: "a.stl"),
        spools: [(name: "a", colour: Hex("#000000")), (name: "b", colour: Hex("#ffffff"))],
        machine: (drives: [(), (), ()]),
        layers: (first_layer_mm: 0.2, layer_mm: 0.2),
        regions: [(name: "all", mask: Whole, paint: Fixed([1, 0]))])"##;
    let error = Plan::from_ron(plan).expect_err("three drives").to_string();
    assert!(
        error.starts_with("line 3, column 27: the machine has 3 drives"),
        "{error}"
    );
}

proptest! {
    #[test]
    fn what_is_fed_keeps_the_limits(
        weights in prop::collection::vec(prop_oneof![Just(0.0), 0.0..1.0f64], 2..=MAX_COMPONENTS),
        least_share in 0.0..0.12f64, steps in 8u32..200, keep_all_moving in any::<bool>(),
    ) {
        prop_assume!(weights.iter().sum::<f64>() > 1e-3);
        let machine = Machine {
            least_share,
            share_step: 1.0 / f64::from(steps),
            keep_all_moving,
            ..Machine::default()
        };
        let asked = Shares::from_weights(&weights).expect("shares");
        // There must be room for the least share of each.
        prop_assume!(machine.least_in_steps() * weights.len() as f64 <= 1.0);
        let fed = machine.fed(&asked);
        for share in fed.as_slice() {
            let in_steps = share * f64::from(steps);
            prop_assert!((in_steps - in_steps.round()).abs() < 1e-6);
            let idle = *share == 0.0 && !keep_all_moving;
            prop_assert!(idle || *share >= least_share - 1e-9, "{asked} {fed}");
        }
        let sum: f64 = fed.as_slice().iter().sum();
        prop_assert!((sum - 1.0).abs() < 1e-9);
    }
}
