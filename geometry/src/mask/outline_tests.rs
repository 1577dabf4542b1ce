//! Outlines seen from somewhere, held against closed forms.

use std::f64::consts::{PI, TAU};

use glam::{DVec2, DVec3};
use proptest::prelude::*;

use super::{CutOpen, Mask, MaskError, Outline, PreparedMask};
use crate::surface::refine;
use crate::surface::shapes::{block, surface, welded};
use crate::{Progress, Surface, SurfacePoint, solids};

fn v(x: f64, y: f64, z: f64) -> DVec3 {
    DVec3::new(x, y, z)
}

/// A rectangle about the middle, as one looks at a point from the front.
fn rectangle(at_mm: DVec3, wide_mm: f64, high_mm: f64) -> Outline {
    let corners = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)];
    let corner = |(x, y): (f64, f64)| DVec2::new(x * wide_mm, y * high_mm);
    Outline {
        corners_mm: corners.map(corner).to_vec(),
        at_mm,
        towards: DVec3::Y,
        up: DVec3::Z,
        eye_mm: None,
        through: false,
        cut: None,
    }
}

/// A circle of 96 corners, with the area of a true one.
fn circle(radius_mm: f64) -> Outline {
    let corners = 96;
    let outer = radius_mm * (TAU / f64::from(corners) / (TAU / f64::from(corners)).sin()).sqrt();
    let corner = |i: u32| DVec2::from_angle(TAU * f64::from(i) / f64::from(corners)) * outer;
    Outline {
        corners_mm: (0..corners).map(corner).collect(),
        ..rectangle(DVec3::ZERO, 1.0, 1.0)
    }
}

fn prepared(outline: Outline, surface: &Surface) -> PreparedMask {
    let mask = Mask::Outline(Box::new(outline));
    PreparedMask::new(&mask, surface, &Progress::new()).expect("a good outline")
}

/// The area that an outline covers, mm².
fn area_mm2(outline: Outline, surface: &Surface, finest_mm: f64) -> f64 {
    let mask = prepared(outline, surface);
    let class = |at: SurfacePoint| u32::from(mask.contains(at));
    let refined = refine(surface, class, finest_mm, &Progress::new()).expect("not cancelled");
    let areas = refined.areas();
    let covered = areas.iter().find(|area| area.class == 1);
    covered.map_or(0.0, |area| area.area_mm2)
}

fn near(found: f64, expected: f64, share: f64) {
    assert!(
        (found - expected).abs() <= share * expected,
        "{found} mm² is not {expected} mm²"
    );
}

/// Two square plates that face the front: 10 mm wide at y = 0, 60 mm wide 20 mm behind.
fn plates() -> Surface {
    let plate = |half: f64, y: f64| {
        let [a, b, c, d] =
            [(-half, -half), (half, -half), (half, half), (-half, half)].map(|(x, z)| v(x, y, z));
        [[a, b, c], [a, c, d]]
    };
    let all = [plate(5.0, 0.0), plate(30.0, 20.0)].concat();
    surface(welded(all))
}

#[test]
fn a_rectangle_covers_the_face_in_sight_or_the_one_behind_too() {
    let block = surface(block(v(20.0, 30.0, 40.0)));
    let front = rectangle(v(10.0, 0.0, 20.0), 8.0, 10.0);
    near(area_mm2(front.clone(), &block, 0.5), 80.0, 0.005);
    let through = Outline {
        through: true,
        ..front
    };
    near(area_mm2(through, &block, 0.5), 160.0, 0.005);
}

#[test]
fn of_a_ball_the_back_is_out_of_sight() {
    let radius = 20.0;
    let ball = surface(solids::icosphere(radius, 5).expect("a ball"));
    // A cap has the area 2πRh.
    let cap = |high: f64| TAU * radius * high;
    let round = circle(10.0);
    let high = radius - (radius * radius - 100.0_f64).sqrt();
    near(area_mm2(round.clone(), &ball, 0.5), cap(high), 0.01);
    let through = Outline {
        through: true,
        ..round
    };
    near(area_mm2(through, &ball, 0.5), 2.0 * cap(high), 0.01);
    let all = rectangle(DVec3::ZERO, 60.0, 60.0);
    near(
        area_mm2(all.clone(), &ball, 0.5),
        2.0 * PI * radius * radius,
        0.01,
    );
    let mask = prepared(all, &ball);
    for facet in 0..ball.mesh().triangles().len() as u32 {
        let middle = ball.mesh().corners(facet as usize).iter().sum::<DVec3>() / 3.0;
        let at = SurfacePoint {
            point_mm: middle,
            facet,
        };
        // Nothing but the ball's own curve hides a facet: it is in sight if it faces the eye.
        let faces = -ball.normal(facet).y;
        if faces.abs() > 0.05 {
            assert_eq!(mask.contains(at), faces > 0.0, "{middle}");
        }
    }
}

#[test]
fn in_perspective_less_than_half_of_a_ball_is_in_sight() {
    let (radius, eye_mm) = (20.0, 60.0);
    let ball = surface(solids::icosphere(radius, 5).expect("a ball"));
    let all = Outline {
        eye_mm: Some(eye_mm),
        ..rectangle(DVec3::ZERO, 200.0, 200.0)
    };
    // From a distance D one sees the cap up to where lines of sight touch: R − R²/D high.
    let expected = TAU * radius * (radius - radius * radius / eye_mm);
    near(area_mm2(all, &ball, 0.5), expected, 0.01);
}

#[test]
fn what_is_in_front_hides_what_is_behind() {
    let plates = plates();
    let parallel = rectangle(DVec3::ZERO, 30.0, 30.0);
    near(area_mm2(parallel, &plates, 0.5), 900.0, 0.003);
    // From 40 mm before the small plate, it hides a square 1.5 times as wide 20 mm behind it.
    let perspective = Outline {
        eye_mm: Some(40.0),
        ..rectangle(DVec3::ZERO, 20.0, 20.0)
    };
    let expected = 100.0 + 30.0 * 30.0 - 15.0 * 15.0;
    near(area_mm2(perspective.clone(), &plates, 0.5), expected, 0.003);
    let through = Outline {
        through: true,
        ..perspective
    };
    near(area_mm2(through, &plates, 0.5), 100.0 + 900.0, 0.003);
}

#[test]
fn what_is_cut_away_hides_nothing_and_is_not_covered() {
    let block = surface(block(v(20.0, 30.0, 40.0)));
    let open = |direction, at_mm| Some(CutOpen { direction, at_mm });
    let from_above = |cut| Outline {
        towards: DVec3::NEG_Z,
        up: DVec3::Y,
        cut,
        ..rectangle(v(10.0, 15.0, 40.0), 100.0, 100.0)
    };
    let holds = |mask: &PreparedMask, z: f64| mask.contains(block.nearest(v(9.0, 14.0, z)));
    let whole = prepared(from_above(None), &block);
    assert!(holds(&whole, 40.0) && !holds(&whole, 0.0));
    // With the top off, one sees the inside of the bottom.
    let level = open(DVec3::Z * 2.0, 25.0);
    let cut = prepared(from_above(level), &block);
    assert!(!holds(&cut, 40.0) && holds(&cut, 0.0));
    let mask = Mask::Outline(Box::new(from_above(level)));
    let bounds = mask.bounds_mm();
    assert_eq!((bounds.1.z, mask.level_edges_mm()), (25.0, vec![25.0]));
    assert!((bounds.0.x + 40.0).abs() < 1e-3 && (bounds.1.y - 65.0).abs() < 1e-3);
    // Cut along its height, it shows the inside of one half, and only its left half is there.
    let from_right = |cut| Outline {
        towards: DVec3::NEG_X,
        up: DVec3::Z,
        cut,
        ..rectangle(v(20.0, 15.0, 20.0), 100.0, 100.0)
    };
    let half = prepared(from_right(open(DVec3::X, 8.0)), &block);
    let side = |x: f64| half.contains(block.nearest(v(x, 14.0, 20.0)));
    assert!(side(0.0) && !side(20.0));
    let over = prepared(from_above(open(DVec3::X, 8.0)), &block);
    let at = |x: f64, z: f64| over.contains(block.nearest(v(x, 14.0, z)));
    assert!(at(4.0, 40.0) && !at(12.0, 40.0) && !at(4.0, 0.0));
}

#[test]
fn bad_values_are_told() {
    let good = rectangle(DVec3::ZERO, 4.0, 4.0);
    let told = |outline: Outline| Mask::Outline(Box::new(outline)).check().expect_err("bad");
    let with = |corners: &[(f64, f64)]| Outline {
        corners_mm: corners.iter().map(|&(x, y)| DVec2::new(x, y)).collect(),
        ..good.clone()
    };
    let few = told(with(&[(0.0, 0.0), (1.0, 0.0)]));
    assert!(few.to_string().contains("from 3 to 4096"), "{few}");
    let line = told(with(&[(0.0, 0.0), (1.0, 1.0), (3.0, 3.0)]));
    assert_eq!(line, MaskError::NoAreaWithin);
    assert_eq!(told(with(&[(1.0, 1.0); 3])), MaskError::NoAreaWithin);
    let endless = told(with(&[(0.0, 0.0), (1.0, f64::NAN), (3.0, 3.0)]));
    assert!(matches!(endless, MaskError::NotFinite { .. }));
    let up = told(Outline {
        up: DVec3::NEG_Y * 3.0,
        ..good.clone()
    });
    assert!(up.to_string().contains("along towards"), "{up}");
    let nowhere = told(Outline {
        towards: DVec3::ZERO,
        ..good.clone()
    });
    assert!(matches!(nowhere, MaskError::NoDirection { .. }));
    for eye_mm in [0.0, -3.0, f64::INFINITY] {
        let eye_mm = Some(eye_mm);
        told(Outline {
            eye_mm,
            ..good.clone()
        });
    }
    for (direction, at_mm) in [(DVec3::Z, f64::NAN), (DVec3::ZERO, 4.0)] {
        let cut = Some(CutOpen { direction, at_mm });
        told(Outline {
            cut,
            ..good.clone()
        });
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Within the clearance that it tells, the answer is the same all over the skin.
    #[test]
    fn nothing_changes_within_the_clearance(
        x in -30.0..30.0f64, y in -30.0..30.0f64, z in -30.0..30.0f64,
        perspective in any::<bool>(), through in any::<bool>(),
        cut in prop::option::of(prop::array::uniform3(-1.0..1.0f64)),
    ) {
        let ball = surface(solids::icosphere(20.0, 3).expect("a ball"));
        let outline = Outline {
            eye_mm: perspective.then_some(70.0),
            through,
            cut: cut.map(|direction| CutOpen {
                direction: DVec3::from(direction) + DVec3::splat(1e-6),
                at_mm: 6.0,
            }),
            towards: v(0.3, 1.0, -0.4),
            ..circle(12.0)
        };
        let mask = prepared(outline, &ball);
        let at = ball.nearest(v(x, y, z));
        let room_mm = mask.clearance_mm(at.point_mm);
        let within = mask.contains(at);
        for i in 0..40 {
            let turn = DVec2::from_angle(f64::from(i) * 2.4) * (f64::from(i) / 40.0 * room_mm);
            let other = ball.nearest(at.point_mm + v(turn.x, 0.0, turn.y));
            if other.point_mm.distance(at.point_mm) < room_mm {
                prop_assert_eq!(mask.contains(other), within);
            }
        }
    }
}
