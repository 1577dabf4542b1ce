//! Outlines, fills and smoothed edges in a plan's text.

use geometry::Mask;
use plan::Plan;

/// A plan with a region over all, and one of a mask above it.
fn with_mask(mask: &str) -> String {
    format!(
        "(version: 1, mesh: (file: \"cup.stl\"), spools: \"two.ron\",\n\
         layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [\n\
         (name: \"a\", mask: Whole, paint: Fixed([1.0])),\n\
         (name: \"b\", mask: {mask}, paint: Fixed([1.0])),\n])"
    )
}

/// Outlines, flat and connected skin, and smoothed edges, as the format's page writes them.
const MASKS: &str = "Any([
    Outline(
        corners_mm: [(-5, -5), (5, -5), (5, 5)], at_mm: (0, 0, 20), towards: (0, 1, 0),
        up: (0, 0, 1), eye_mm: 300, through: true,
        cut: (direction: (0, 0, 1), at_mm: 44.5),
    ),
    Outline(corners_mm: [(0, 0), (4, 0), (0, 4)], at_mm: (0, 0, 20), towards: (0, 1, 0), up: (0, 0, 1)),
    Flat(near_mm: (0, -11, 30), angle_deg: 10),
    Connected(near_mm: [(0, -11, 30), (3, 0, 9)], within: Not(Band(from_mm: 0, to_mm: 5))),
    Smoothed(by_mm: 1.5, of: Stroke(dabs_mm: [(0, -11, 46)], radius_mm: 1.5)),
])";

#[test]
fn outlines_and_fills_and_smoothed_edges_are_read_back_as_written() {
    let plan = Plan::from_ron(&with_mask(MASKS)).expect("reads");
    let Mask::Any(masks) = &plan.regions[1].mask else {
        panic!("any of them");
    };
    let [Mask::Outline(one), Mask::Outline(other), ..] = masks.as_slice() else {
        panic!("two outlines");
    };
    assert_eq!(
        (one.eye_mm, one.through, one.cut.map(|cut| cut.at_mm)),
        (Some(300.0), true, Some(44.5))
    );
    assert_eq!(
        (other.eye_mm, other.through, other.cut.map(|cut| cut.at_mm)),
        (None, false, None)
    );
    let text = plan.to_ron().expect("writes");
    assert_eq!(Plan::from_ron(&text).expect("reads its own text"), plan);
}

#[test]
fn what_is_wrong_in_such_masks_is_told_with_its_line() {
    let told = |from: &str, to: &str| {
        assert!(MASKS.contains(from));
        let mask = MASKS.replacen(from, to, 1);
        let error = Plan::from_ron(&with_mask(&mask)).expect_err("a fault");
        error.to_string()
    };
    for (from, to, expected) in [
        ("(5, 5)]", "(15, -5)]", "on one line"),
        ("[(0, 0), (4, 0), (0, 4)]", "[(0, 0)]", "1 corners"),
        ("towards: (0, 1, 0)", "towards: (0, 0, 0)", "has no length"),
        ("up: (0, 0, 1)", "up: (0, 2, 0)", "along towards"),
        ("eye_mm: 300", "eye_mm: -300", "eye_mm is -300"),
        ("angle_deg: 10", "angle_deg: 200", "between 0 and 180"),
        ("[(0, -11, 30), (3, 0, 9)]", "[]", "near_mm has no points"),
        ("to_mm: 5", "to_mm: 0", "mask 1 in Connected: mask 1 in Not"),
        ("by_mm: 1.5", "by_mm: 0", "by_mm is 0"),
        ("radius_mm: 1.5", "radius_mm: 0", "mask 1 in Smoothed"),
        ("through: true", "thruogh: true", "thruogh"),
    ] {
        let told = told(from, to);
        assert!(told.contains(expected) && told.contains("line "), "{told}");
    }
}
