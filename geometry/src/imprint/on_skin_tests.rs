//! Pictures on the skin, against closed forms and against the other ways in which they lie.

use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use glam::{DVec2, DVec3};
use proptest::prelude::*;

use super::tests::{at, drawn, picture, prepared, share, v};
use super::*;
use crate::field::PreparedField;
use crate::mask::{MaskError, PreparedMask, Stroke};
use crate::surface::shapes::{ball, block, corner_piece, finer, prism, surface, uneven_block};
use crate::{Field, Mask, Progress, Surface};

fn on_skin(at_mm: DVec3, along: Option<DVec3>) -> Laid {
    Laid::OnSkin {
        at_mm,
        along,
        depth_mm: 1.0,
    }
}

/// A picture of 100 pixels by as many, all dark.
fn dark() -> Arc<Raster> {
    drawn(100, false, |_| 1.0)
}

/// A disk of 0.8 of the picture's width.
fn disk() -> Arc<Raster> {
    drawn(200, false, |p| 80.0 - p.distance(DVec2::splat(100.0)))
}

fn placed(surface: &Surface, picture: &Picture) -> Placed {
    let placed = picture.placed(surface).expect("placed");
    placed.ready(&Progress::new()).expect("not cancelled")
}

/// Where a point falls, mm to the right and up from the middle of a picture that is neither
/// turned nor mirrored; none beyond reach.
fn falls(placed: &Placed, point: DVec3) -> Option<DVec2> {
    let (pixel, deep_mm) = placed.pixel_at(point, None);
    let size = DVec2::new(
        placed.raster().width() as f64,
        placed.raster().height() as f64,
    );
    let on = (pixel - 0.5 * size) * placed.pixel_mm();
    deep_mm.is_finite().then_some(DVec2::new(on.x, -on.y))
}

/// Where a point of a sphere about the origin is, by the angle from +z and that about it.
fn on_sphere(radius_mm: f64, off: f64, about: f64) -> DVec3 {
    radius_mm * v(off.sin() * about.cos(), off.sin() * about.sin(), off.cos())
}

/// A grid of points that share out a cap of a sphere about a direction evenly.
fn on_cap(radius_mm: f64, widest: f64, about: DVec3) -> impl Fn(f64, f64) -> DVec3 {
    let turn = glam::DQuat::from_rotation_arc(DVec3::Z, about);
    move |s, t| {
        let cos = 1.0 - t * (1.0 - widest.cos());
        turn * on_sphere(radius_mm, cos.acos(), TAU * s)
    }
}

/// The area of a disk, π r².
#[test]
fn a_disk_on_a_plate_has_the_area_of_a_disk() {
    let surface = surface(finer(&block(v(60.0, 60.0, 3.0)), 2));
    for middle in [v(30.0, 30.0, 3.0), v(29.0, 31.7, 3.0), v(31.0, 31.0, 3.0)] {
        let mask = prepared(picture(&disk(), on_skin(middle, None), 50.0), &surface);
        let area = 3600.0 * share(&mask, 500, |s, t| v(60.0 * s, 60.0 * t, 3.0));
        let wanted = PI * 20.0 * 20.0;
        assert!((area / wanted - 1.0).abs() < 1e-3, "{area} {wanted}");
    }
}

/// The area of a disk on a sphere, 2 π R² (1 − cos (r / R)): about a vertex, and about a point
/// within a facet.
#[test]
fn a_disk_on_a_sphere_has_the_area_of_a_cap() {
    let (ball_mm, disk_mm, widest) = (20.0, 16.0, 0.9);
    let surface = surface(ball(ball_mm, 6));
    for about in [DVec3::Z, v(0.3, -0.5, 0.7).normalize()] {
        let laid = on_skin(about * ball_mm, None);
        let mask = prepared(picture(&disk(), laid, disk_mm / 0.4), &surface);
        let cap = TAU * ball_mm * ball_mm * (1.0 - f64::cos(widest));
        let area = cap * share(&mask, 400, on_cap(ball_mm, widest, about));
        let wanted = TAU * ball_mm * ball_mm * (1.0 - f64::cos(disk_mm / ball_mm));
        assert!((area / wanted - 1.0).abs() < 1e-3, "{area} {wanted}");
    }
}

/// On a sphere the direction in which a point lies is that of the great circle to it: the more so,
/// the finer its mesh is.
#[test]
fn directions_on_a_sphere_are_those_of_great_circles() {
    for (times, most_mm) in [(4, 0.4), (5, 0.2), (6, 0.1)] {
        let surface = surface(ball(20.0, times));
        let laid = on_skin(DVec3::Z * 20.0, Some(DVec3::NEG_Z));
        let placed = placed(&surface, &picture(&dark(), laid, 30.0));
        let off_mm = |i: u32| {
            let (off, about) = (0.8 * f64::from(i) / 400.0 + 0.01, 2.4 * f64::from(i));
            let on = falls(&placed, on_sphere(20.0, off, about)).expect("within reach");
            on.distance(DVec2::from_angle(about) * off * 20.0)
        };
        let worst_mm = (0..400).map(off_mm).fold(0.0, f64::max);
        assert!(worst_mm < most_mm, "{worst_mm} in a mesh cut {times} times");
    }
}

/// A coarse mesh has the geometry that its facets have, and cutting them finer changes nothing.
#[test]
fn the_same_shape_cut_finer_gets_the_same_picture() {
    let coarse = ball(20.0, 2);
    let (fine, coarse) = (surface(finer(&coarse, 3)), surface(coarse));
    let middle = coarse.nearest(v(3.0, -7.0, 19.0)).point_mm;
    let one = picture(&disk(), on_skin(middle, None), 35.0);
    let [a, b] = [&coarse, &fine].map(|surface| placed(surface, &one));
    let place = on_cap(20.0, 0.9, middle.normalize());
    let (mut seen, mut off) = (0, 0);
    for i in 0..2500 {
        let (s, t) = (f64::from(i % 50) / 50.0, f64::from(i / 50) / 50.0);
        let p = coarse.nearest(place(s, t)).point_mm;
        let (Some(a), Some(b)) = (falls(&a, p), falls(&b, p)) else {
            continue;
        };
        seen += 1;
        assert!((a.length() - b.length()).abs() < 1e-4, "{a} {b}");
        off += usize::from(a.distance(b) > 1e-3);
    }
    // Where ways on both sides of a corner are equally long, either may be taken.
    assert!(seen > 2000 && off * 1000 <= seen, "{off} of {seen}");
    let [a, b] = [&coarse, &fine].map(|surface| {
        let mask = prepared(one.clone(), surface);
        share(&mask, 300, &place)
    });
    assert!((a / b - 1.0).abs() < 1e-3, "{a} {b}");
}

/// A square keeps its area on a cylinder, and lies as one that is wrapped round it.
#[test]
fn on_a_cylinder_it_lies_as_if_wrapped_round() {
    let surface = surface(prism(20.0, 50.0, 192));
    let middle = v(0.0, -20.0, 25.0);
    let laid = on_skin(middle, Some(DVec3::Y));
    let round = Laid::Wrapped {
        at_mm: middle,
        through_mm: DVec3::ZERO,
        axis: DVec3::Z,
        depth_mm: 1.0,
    };
    let mask = prepared(picture(&dark(), laid.clone(), 30.0), &surface);
    // 40 mm of the way round, and all of the height.
    let place = |s: f64, t: f64| {
        let angle = 2.0 * s - 1.0;
        v(20.0 * angle.sin(), -20.0 * angle.cos(), 50.0 * t)
    };
    let area = 40.0 * 50.0 * share(&mask, 600, place);
    assert!((area / 900.0 - 1.0).abs() < 1e-3, "{area}");
    let [a, b] = [laid, round].map(|laid| placed(&surface, &picture(&dark(), laid, 30.0)));
    let mut seen = 0;
    for i in 0..2500 {
        let p = place(
            0.1 + 0.8 * f64::from(i % 50) / 50.0,
            0.15 + 0.7 * f64::from(i / 50) / 50.0,
        );
        if let (Some(a), Some(b)) = (falls(&a, p), falls(&b, p)) {
            seen += 1;
            assert!(a.distance(b) < 5e-3, "{a} {b}");
        }
    }
    assert!(seen > 2000, "{seen}");
}

/// Over an edge of a block it lies as on the two faces laid flat, wherever the middle is: within
/// a facet, on its side, on the edge, and on a vertex of a face.
#[test]
fn over_an_edge_it_lies_as_on_paper_that_is_folded() {
    for surface in [
        surface(block(v(20.0, 20.0, 20.0))),
        surface(uneven_block(v(20.0, 20.0, 20.0), 3)),
        surface(finer(&block(v(20.0, 20.0, 20.0)), 2)),
    ] {
        for (x, up) in [
            (10.0, 2.0),
            (10.3, 2.0),
            (10.0, 0.0),
            (9.2, 0.0),
            (10.0, 5.0),
        ] {
            let laid = on_skin(v(x, 0.0, 20.0 - up), Some(DVec3::Y));
            let placed = placed(&surface, &picture(&dark(), laid, 11.0));
            for i in 0..400 {
                let (s, t) = (f64::from(i % 20) - 9.5, f64::from(i / 20) - 9.5);
                let wanted = 0.5 * DVec2::new(s, t);
                let p = match wanted.y <= up {
                    true => v(x + wanted.x, 0.0, 20.0 - up + wanted.y),
                    false => v(x + wanted.x, wanted.y - up, 20.0),
                };
                let on = falls(&placed, p).expect("within reach");
                assert!(on.distance(wanted) < 1e-6, "{on} {wanted} about {x} {up}");
            }
        }
    }
}

/// About a corner of a block there are three right angles: each is a third of a turn.
#[test]
fn about_a_corner_angles_come_to_a_full_turn() {
    let surface = surface(finer(&block(v(20.0, 20.0, 20.0)), 2));
    let laid = on_skin(v(0.0, 0.0, 20.0), None);
    let placed = placed(&surface, &picture(&dark(), laid, 12.0));
    let ends = [v(5.0, 0.0, 20.0), v(0.0, 5.0, 20.0), v(0.0, 0.0, 15.0)];
    let [a, b, c] = ends.map(|p| falls(&placed, p).expect("within reach"));
    for (one, next) in [(a, b), (b, c), (c, a)] {
        assert!((one.length() - 5.0).abs() < 1e-9);
        assert!((one.angle_to(next) - TAU / 3.0).abs() < 1e-9);
    }
    let between = falls(&placed, v(3.0, 3.0, 20.0)).expect("within reach");
    assert!((a.angle_to(between) - TAU / 6.0).abs() < 1e-9);
}

/// Where its top is: towards +z, on level skin towards +y, and with a direction as if pressed on.
#[test]
fn its_top_is_where_it_would_be_if_it_was_pressed_on() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let (front, top, under) = (v(10.0, 0.0, 10.0), v(10.0, 10.0, 20.0), v(10.0, 10.0, 0.0));
    for (middle, along, right, up) in [
        (front, None, DVec3::X, DVec3::Z),
        (v(10.0, 20.0, 10.0), None, DVec3::NEG_X, DVec3::Z),
        (top, None, DVec3::X, DVec3::Y),
        (under, None, DVec3::NEG_X, DVec3::Y),
        (top, Some(DVec3::Y), DVec3::X, DVec3::Y),
        (under, Some(DVec3::Y), DVec3::X, DVec3::NEG_Y),
        (top, Some(DVec3::X), DVec3::NEG_Y, DVec3::X),
        (front, Some(v(0.2, 1.0, 0.0)), DVec3::X, DVec3::Z),
    ] {
        let placed = placed(&surface, &picture(&dark(), on_skin(middle, along), 10.0));
        let seen = [right, up].map(|axis| falls(&placed, middle + axis).expect("within reach"));
        assert!(
            seen[0].distance(DVec2::X) < 1e-9,
            "{middle} {along:?} {seen:?}"
        );
        assert!(
            seen[1].distance(DVec2::Y) < 1e-9,
            "{middle} {along:?} {seen:?}"
        );
    }
}

/// A turn is anticlockwise as one looks at it from outside, and a mirror comes before it.
#[test]
fn it_is_turned_and_mirrored_as_any_picture_is() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let flat = Laid::Projected {
        at_mm: v(10.0, 0.0, 10.0),
        along: DVec3::Y,
        depth_mm: 1.0,
    };
    for turn_deg in [0.0, 30.0, 90.0, -140.0] {
        for mirror in [false, true] {
            let so = |laid| Picture {
                turn_deg,
                mirror,
                ..picture(&dark(), laid, 10.0)
            };
            let [a, b] = [flat.clone(), on_skin(v(10.0, 0.0, 10.0), None)]
                .map(|laid| placed(&surface, &so(laid)));
            for p in [v(12.0, 0.0, 11.0), v(6.5, 0.0, 8.0), v(10.0, 0.0, 14.0)] {
                let [a, b] = [&a, &b].map(|placed| placed.pixel_at(p, None).0);
                assert!(a.distance(b) < 1e-7, "{a} {b}");
            }
        }
    }
}

/// It reaches as deep as it should, and does not come out on the far side of a wall.
#[test]
fn points_off_the_skin_take_the_nearest_point_of_it() {
    let surface = surface(block(v(20.0, 1.6, 20.0)));
    let laid = on_skin(v(10.0, 0.0, 10.0), None);
    let mask = prepared(picture(&dark(), laid, 8.0), &surface);
    for (y, wanted) in [(-0.99, true), (-1.01, false), (0.0, true), (0.79, true)] {
        assert_eq!(mask.contains(at(v(10.0, y, 10.0))), wanted, "{y}");
    }
    assert!(!mask.contains(at(v(10.0, 0.81, 10.0))) && !mask.contains(at(v(10.0, 1.6, 10.0))));
}

/// A fade along its greys; beyond the picture as at its edge.
#[test]
fn a_fade_runs_along_its_greys() {
    let greys = (0..64).map(|i| (i % 8 * 36) as u8).collect();
    let raster = Arc::new(Raster::new((8, 8), greys, None).expect("a good size"));
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let laid = on_skin(v(10.0, 0.0, 16.0), Some(DVec3::Y));
    let field = Field::Picture(Box::new(picture(&raster, laid, 8.0)));
    let field = PreparedField::new(&field, &surface, &Progress::new()).expect("a good field");
    for x in [0.5, 1.0, 3.3, 7.5] {
        let wanted = (x - 0.5) * 36.0 / 2.55;
        for p in [v(6.0 + x, 0.0, 14.0), v(6.0 + x, 0.0, 18.0)] {
            assert!((field.at(at(p)) - wanted).abs() < 1e-4, "{x}");
        }
    }
    assert_eq!(field.at(at(v(0.5, 0.0, 16.0))), 0.0);
    assert!(field.at(at(v(20.0, 12.0, 16.0))) > 98.0);
}

#[test]
fn a_middle_off_the_skin_is_refused_with_how_far_it_is_off() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let laid = |at_mm| on_skin(at_mm, None);
    let far = picture(&dark(), laid(v(10.0, -3.25, 10.0)), 8.0);
    let error = far.placed(&surface).map(|_| ()).expect_err("off the skin");
    assert_eq!(
        error.to_string(),
        "at_mm, [10, -3.25, 10], is 3.25 mm off the skin, and depth_mm is 1; put it on the skin"
    );
    let near = picture(&dark(), laid(v(10.0, -0.75, 10.0)), 8.0);
    assert!(near.placed(&surface).is_ok());
    let nowhere = picture(&dark(), laid(DVec3::NAN), 8.0);
    let error = nowhere.placed(&surface).map(|_| ()).expect_err("no point");
    assert!(matches!(error, MaskError::NotFinite { name: "at_mm" }));
    let aimless = picture(&dark(), on_skin(DVec3::ZERO, Some(DVec3::ZERO)), 8.0);
    let error = aimless.placed(&surface).map(|_| ()).expect_err("no way");
    assert!(matches!(error, MaskError::NoDirection { .. }));
}

/// The shapes of the properties below: with edges, with corners that ways bend round, and round.
fn shape(which: usize) -> Surface {
    surface(match which {
        0 => block(v(20.0, 20.0, 20.0)),
        1 => uneven_block(v(20.0, 20.0, 20.0), 3),
        2 => corner_piece(20.0, 12.0),
        3 => finer(&corner_piece(20.0, 12.0), 2),
        _ => ball(10.0, 3)
            .map(|p| p + DVec3::splat(10.0))
            .expect("a proper shape"),
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// A point is as far from the middle on the picture as it is along the skin, by the distances
    /// from a stroke; and where the way to it is straight, going that way along the skin leads to
    /// it.
    #[test]
    fn lengths_hold_and_ways_lead_back(
        which in 0usize..5,
        middle in (-1.0..21.0f64, -1.0..21.0f64, -1.0..21.0f64),
        places in prop::collection::vec((0.0..20.0f64, 0.0..20.0f64, 0.0..20.0f64), 30),
    ) {
        let surface = shape(which);
        let middle = surface.nearest(DVec3::from(middle)).point_mm;
        let stroke = Stroke { dabs_mm: vec![middle], radius_mm: 1.0, reach_mm: None };
        let far = PreparedField::new(&Field::FromStroke(stroke), &surface, &Progress::new());
        let far = far.expect("a good field");
        let placed = placed(&surface, &picture(&dark(), on_skin(middle, None), 20.0));
        let mut led = 0;
        for place in &places {
            let p = surface.nearest(DVec3::from(*place));
            let far_mm = far.at(p);
            let Some(on) = falls(&placed, p.point_mm) else {
                prop_assert!(far_mm > 14.1, "{far_mm}");
                continue;
            };
            prop_assert!((on.length() - far_mm).abs() < 2e-3 * far_mm + 1e-6, "{} {}", on, far_mm);
            let back = placed.point_mm(on / 10.0);
            let off_mm = back.distance(p.point_mm);
            // Only round the inner corner of the corner pieces do ways bend.
            if which == 2 || which == 3 {
                led += usize::from(off_mm < 1e-3);
            } else {
                prop_assert!(off_mm < 1e-3, "{} {} {}", middle, p.point_mm, back);
            }
        }
        prop_assert!(led * 2 >= places.len() || !(2..4).contains(&which) || led > 0);
    }

    /// Within the distance that it tells, a mask's answer is the same; and all of it lies within
    /// its bounds.
    #[test]
    fn within_its_clearance_nothing_changes(
        which in 0usize..5,
        middle in (0.0..20.0f64, 0.0..20.0f64, 0.0..20.0f64),
        place in (-8.0..28.0f64, -8.0..28.0f64, -8.0..28.0f64),
        off in prop::collection::vec((-1.0..1.0f64, -1.0..1.0f64, -1.0..1.0f64), 40),
    ) {
        let surface = shape(which);
        let middle = surface.nearest(DVec3::from(middle)).point_mm;
        let picture = Mask::Picture(Box::new(picture(&disk(), on_skin(middle, None), 6.0)));
        let bounds = picture.bounds_mm();
        let mask = PreparedMask::new(&picture, &surface, &Progress::new()).expect("a good mask");
        let place = DVec3::from(place);
        let clearance_mm = mask.clearance_mm(place);
        prop_assert!(clearance_mm >= 0.0);
        let answer = mask.contains(at(place));
        for by in off {
            let near = place + DVec3::from(by) * (clearance_mm / 1.7321);
            prop_assert_eq!(mask.contains(at(near)), answer);
            let on = surface.nearest(middle + 5.0 * DVec3::from(by)).point_mm;
            if mask.contains(at(on)) {
                prop_assert!(on.cmpge(bounds.0).all() && on.cmple(bounds.1).all());
            }
        }
    }
}
