use std::f64::consts::PI;
use std::sync::Arc;

use glam::{DVec2, DVec3};
use proptest::prelude::*;

use super::*;
use crate::mask::{MaskError, PreparedMask};
use crate::surface::shapes::{block, finer, prism, surface};
use crate::{Field, Mask, Progress, Surface, SurfacePoint};

pub(super) fn v(x: f64, y: f64, z: f64) -> DVec3 {
    DVec3::new(x, y, z)
}

/// A picture of what is dark where a function of the place, in pixels, is above 0; its value is
/// the distance from the edge, so pixels at the edge are grey.
pub(crate) fn drawn(side: usize, hard: bool, dark: impl Fn(DVec2) -> f64) -> Arc<Raster> {
    let grey = |i: usize| {
        let at = DVec2::new((i % side) as f64 + 0.5, (i / side) as f64 + 0.5);
        let ink = match hard {
            true => f64::from(u8::from(dark(at) > 0.0)),
            false => (dark(at) + 0.5).clamp(0.0, 1.0),
        };
        (255.0 * (1.0 - ink)).round() as u8
    };
    let greys = (0..side * side).map(grey).collect();
    Arc::new(Raster::new((side, side), greys, None).expect("a good size"))
}

pub(super) fn picture(raster: &Arc<Raster>, laid: Laid, width_mm: f64) -> Picture {
    Picture {
        file: "drawn.png".into(),
        sha256: None,
        laid,
        width_mm,
        turn_deg: 0.0,
        mirror: false,
        covers: Covers::Dark,
        threshold: 0.5,
        content: Arc::clone(raster).into(),
    }
}

fn from_front(at_mm: DVec3, depth_mm: f64) -> Laid {
    Laid::Projected {
        at_mm,
        along: DVec3::Y,
        depth_mm,
    }
}

pub(super) fn prepared(picture: Picture, surface: &Surface) -> PreparedMask {
    PreparedMask::new(&Mask::Picture(Box::new(picture)), surface, &Progress::new())
        .expect("a good mask")
}

pub(super) fn at(point_mm: DVec3) -> SurfacePoint {
    SurfacePoint { point_mm, facet: 0 }
}

/// The share of a square grid of points that a mask has.
pub(super) fn share(mask: &PreparedMask, points: usize, place: impl Fn(f64, f64) -> DVec3) -> f64 {
    let t = |i: usize| (i as f64 + 0.5) / points as f64;
    let inside = (0..points * points)
        .filter(|i| mask.contains(at(place(t(i % points), t(i / points)))))
        .count();
    inside as f64 / (points * points) as f64
}

/// The area of a disk, π r², within a thousandth: of a smooth picture and of a hard one.
#[test]
fn a_disk_thrown_on_a_plane_has_the_area_of_a_disk() {
    let surface = surface(block(v(60.0, 10.0, 60.0)));
    for hard in [false, true] {
        let raster = drawn(256, hard, |p| 100.0 - p.distance(DVec2::splat(128.0)));
        let disk = picture(&raster, from_front(v(30.0, 0.0, 30.0), 3.0), 51.2);
        let mask = prepared(disk, &surface);
        let area = 3600.0 * share(&mask, 1500, |s, t| v(60.0 * s, 0.0, 60.0 * t));
        let wanted = PI * 20.0 * 20.0;
        assert!(
            (area / wanted - 1.0).abs() < 1e-3,
            "{hard}: {area} {wanted}"
        );
    }
}

/// A square of 30 mm round a cylinder of 20 mm covers 30 mm of its height over 30 / 20 rad.
#[test]
fn a_square_wrapped_on_a_cylinder_keeps_its_area() {
    let surface = surface(prism(20.0, 50.0, 96));
    let raster = drawn(200, false, |_| 1.0);
    let laid = Laid::Wrapped {
        at_mm: v(0.0, -20.0, 25.0),
        through_mm: DVec3::ZERO,
        axis: DVec3::Z,
        depth_mm: 1.0,
    };
    let mask = prepared(picture(&raster, laid, 30.0), &surface);
    let place = |s: f64, t: f64| {
        let angle = 2.0 * PI * s;
        v(20.0 * angle.cos(), 20.0 * angle.sin(), 50.0 * t)
    };
    let area = 2.0 * PI * 20.0 * 50.0 * share(&mask, 1500, place);
    assert!((area / 900.0 - 1.0).abs() < 1e-3, "{area}");
    let edge = |angle: f64, z: f64| v(20.0 * angle.sin(), -20.0 * angle.cos(), z);
    assert!(mask.contains(at(edge(0.749, 25.0))) && !mask.contains(at(edge(0.751, 25.0))));
    assert!(mask.contains(at(edge(-0.749, 39.8))) && !mask.contains(at(edge(0.0, 40.01))));
}

/// The edge of a soft picture, a line at a slope, is off that line by a tenth of a pixel at most.
/// That of a hard one, which does not say where it is, stays within 0.42, and a nearly level one
/// within half a pixel; its stairs would be off by up to 0.71.
#[test]
fn a_slanted_edge_is_a_line_and_not_a_stair() {
    for slope in [0.0, 0.07, 0.31, 0.5, 1.0] {
        let normal = DVec2::new(slope, 1.0).normalize();
        for (hard, most) in [(false, 0.1), (true, 0.42)] {
            let dark = |p: DVec2| (p - DVec2::splat(32.0)).dot(normal);
            let raster = drawn(64, hard, dark);
            let stencil = Stencil::new(&raster, &Covers::Dark, 0.5);
            // A hard picture's level edge can't tell where within a pixel it is, and that of a
            // nearly level one has steps too long to be smoothed.
            let most = if hard && slope < 0.3 { 0.51 } else { most };
            for i in 0..200 {
                let along = DVec2::splat(32.0) + normal.perp() * (i as f64 * 0.1 - 10.0);
                for off in [-1.0, 1.0] {
                    let (within, _) = stencil.within(along + normal * off * most, 0.0);
                    assert_eq!(within > 0.0, off > 0.0, "{slope} {hard} {i} {off}");
                }
            }
        }
    }
}

/// Of an L its long leg is up and its short one goes right, as one sees it along the direction.
#[test]
fn it_lies_as_one_looks_at_it() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let l = |p: DVec2| {
        let leg = (p - DVec2::new(16.0, 50.0)).abs() - DVec2::new(8.0, 44.0);
        let foot = (p - DVec2::new(50.0, 84.0)).abs() - DVec2::new(42.0, 8.0);
        -leg.max_element().min(foot.max_element())
    };
    let raster = drawn(100, false, l);
    // The tip of the foot, and what would be the tip in a mirror.
    let holds = |picture: &Picture, tip: DVec3, other: DVec3| {
        let mask = prepared(picture.clone(), &surface);
        assert!(mask.contains(at(tip)), "{tip}");
        assert!(!mask.contains(at(other)), "{other}");
    };
    let front = picture(&raster, from_front(v(10.0, 0.0, 10.0), 1.0), 10.0);
    holds(&front, v(13.5, 0.0, 6.6), v(13.5, 0.0, 10.0));
    holds(&front, v(6.6, 0.0, 13.5), v(13.4, 0.0, 13.5));
    let mirrored = Picture {
        mirror: true,
        ..front.clone()
    };
    holds(&mirrored, v(13.4, 0.0, 13.5), v(6.6, 0.0, 13.5));
    // A quarter turn anticlockwise: what was up is now left.
    let turned = Picture {
        turn_deg: 90.0,
        ..front.clone()
    };
    holds(&turned, v(6.5, 0.0, 6.6), v(6.5, 0.0, 13.4));
    // Down on the top: its top is towards +y.
    let above = Laid::Projected {
        at_mm: v(10.0, 10.0, 20.0),
        along: DVec3::NEG_Z,
        depth_mm: 1.0,
    };
    holds(
        &picture(&raster, above, 10.0),
        v(6.6, 13.5, 20.0),
        v(13.4, 13.5, 20.0),
    );
    // Round an upright axis, from the front: as from the front.
    let round = Laid::Wrapped {
        at_mm: v(10.0, 0.0, 10.0),
        through_mm: v(10.0, 10.0, 0.0),
        axis: DVec3::Z,
        depth_mm: 1.0,
    };
    let on = |angle: f64, z: f64| v(10.0 + 10.0 * angle.sin(), 10.0 - 10.0 * angle.cos(), z);
    holds(
        &picture(&raster, round, 10.0),
        on(-0.34, 13.5),
        on(0.34, 13.5),
    );
}

#[test]
fn it_does_not_come_out_on_the_far_side() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let raster = drawn(16, false, |_| 1.0);
    let mask = prepared(
        picture(&raster, from_front(v(10.0, 0.0, 10.0), 4.0), 10.0),
        &surface,
    );
    assert!(mask.contains(at(v(10.0, 4.0, 10.0))) && mask.contains(at(v(10.0, -4.0, 10.0))));
    assert!(!mask.contains(at(v(10.0, 4.01, 10.0))) && !mask.contains(at(v(10.0, 20.0, 10.0))));
}

/// Dark and light share out the frame, whatever the threshold.
#[test]
fn dark_and_light_share_out_the_frame() {
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let raster = drawn(40, false, |p| 15.0 - p.distance(DVec2::splat(20.0)));
    for threshold in [0.2, 0.5, 0.8] {
        let of = |covers| {
            let mut picture = picture(&raster, from_front(v(10.0, 0.0, 10.0), 1.0), 10.0);
            (picture.covers, picture.threshold) = (covers, threshold);
            prepared(picture, &surface)
        };
        let (dark, light, frame) = (of(Covers::Dark), of(Covers::Light), of(Covers::Frame));
        for i in 0..400 {
            let p = at(v(
                4.01 + (i % 20) as f64 * 0.6,
                0.0,
                4.01 + (i / 20) as f64 * 0.6,
            ));
            let has = dark.contains(p) || light.contains(p);
            assert_eq!(has, frame.contains(p), "{threshold} {p:?}");
            assert!(
                !(dark.contains(p) && light.contains(p)),
                "{threshold} {p:?}"
            );
        }
    }
}

/// Only pixels that are not clear are light.
#[test]
fn what_is_clear_is_neither_dark_nor_light() {
    let (white, clear) = (vec![255; 64], vec![0; 64]);
    let raster = Raster::new((8, 8), white, Some(clear)).expect("a good size");
    for covers in [Covers::Dark, Covers::Light] {
        assert_eq!(Stencil::new(&raster, &covers, 0.5).area_px(0.0), 0.0);
    }
    assert!((Stencil::new(&raster, &Covers::Frame, 0.5).area_px(0.0) - 64.0).abs() < 1.0);
}

/// Bars of 3 pixels are lost to a pen of 5, and bars of 8 are not; nor is a square.
#[test]
fn details_finer_than_a_pen_are_told() {
    let bars = |wide: f64| {
        drawn(96, false, |p| {
            let off = (p.x - 8.0).rem_euclid(24.0);
            let across = 0.5 * wide - (off - 12.0).abs();
            across.min(40.0 - (p.y - 48.0).abs())
        })
    };
    let lost = |raster: &Raster, pen: f64| {
        Stencil::new(raster, &Covers::Dark, 0.5).share_finer_than(pen, 0.0)
    };
    assert!(lost(&bars(3.0), 5.0) > 0.95, "{}", lost(&bars(3.0), 5.0));
    assert!(lost(&bars(8.0), 5.0) < 0.02, "{}", lost(&bars(8.0), 5.0));
    let square = drawn(96, false, |p| {
        30.0 - (p - DVec2::splat(48.0)).abs().max_element()
    });
    assert!(lost(&square, 12.0) < 0.01, "{}", lost(&square, 12.0));
}

#[test]
fn letters_grow_bolder_by_as_much_as_is_said() {
    let raster = drawn(64, false, |p| {
        6.0 - (p.x - 32.0).abs().max((p.y - 32.0).abs() - 14.0)
    });
    let raster = Arc::new((*raster).clone().sized_by(40.0));
    let letters = Letters {
        text: "I".into(),
        font: None,
        sha256: None,
        laid: from_front(v(10.0, 0.0, 10.0), 1.0),
        height_mm: 10.0,
        bolder_mm: 0.5,
        turn_deg: 0.0,
        mirror: false,
        content: raster.into(),
    };
    let surface = surface(block(v(20.0, 20.0, 20.0)));
    let mask = Mask::Text(Box::new(letters));
    let mask = PreparedMask::new(&mask, &surface, &Progress::new()).expect("a good mask");
    assert!(mask.contains(at(v(11.95, 0.0, 10.0))) && !mask.contains(at(v(12.05, 0.0, 10.0))));
}

/// Grey runs evenly between the centres of pixels, 0 black to 100 white.
#[test]
fn a_field_is_the_grey_of_the_picture() {
    let greys = (0..64).map(|i| (i % 8 * 36) as u8).collect();
    let raster = Arc::new(Raster::new((8, 8), greys, None).expect("a good size"));
    let field = Field::Picture(Box::new(picture(
        &raster,
        from_front(v(4.0, 0.0, 4.0), 1.0),
        8.0,
    )));
    let surface = surface(block(v(8.0, 8.0, 8.0)));
    let field = crate::field::PreparedField::new(&field, &surface, &Progress::new());
    let field = field.expect("a good field");
    for x in [0.5, 1.0, 3.3, 7.5] {
        let wanted = (x - 0.5) * 36.0 / 2.55;
        let seen = field.at(at(v(x, 0.0, 3.0)));
        assert!((seen - wanted).abs() < 1e-4, "{x}: {seen}");
    }
    assert_eq!(field.at(at(v(-5.0, 0.0, 3.0))), 0.0);
}

/// Any part.
fn flat() -> Surface {
    surface(block(v(1.0, 1.0, 1.0)))
}

#[test]
fn what_can_t_be_laid_is_told() {
    let raster = drawn(8, false, |_| 1.0);
    let told = |change: fn(&mut Picture)| {
        let mut picture = picture(&raster, from_front(DVec3::ZERO, 1.0), 5.0);
        change(&mut picture);
        picture.placed(&flat()).map(|_| ()).expect_err("a fault")
    };
    let round = |at_mm: DVec3| Laid::Wrapped {
        at_mm,
        through_mm: DVec3::ZERO,
        axis: DVec3::Z,
        depth_mm: 1.0,
    };
    assert!(matches!(
        told(|p| p.content = Loaded::default()),
        MaskError::Unread { .. }
    ));
    assert!(matches!(
        told(|p| p.threshold = 1.0),
        MaskError::Threshold { .. }
    ));
    assert!(matches!(
        told(|p| p.sha256 = Some("ab".into())),
        MaskError::NoHash
    ));
    assert!(matches!(told(|p| p.file = " ".into()), MaskError::NoFile));
    assert!(matches!(
        told(|p| p.width_mm = 0.0),
        MaskError::NotPositive { .. }
    ));
    let on_axis = Picture {
        laid: round(DVec3::Z),
        ..picture(&raster, from_front(DVec3::ZERO, 1.0), 5.0)
    };
    assert!(matches!(
        on_axis.placed(&flat()),
        Err(MaskError::OnTheAxis { .. })
    ));
    let wide = Picture {
        laid: round(DVec3::X),
        width_mm: 7.0,
        ..on_axis
    };
    assert!(matches!(
        wide.placed(&flat()),
        Err(MaskError::TooWide { .. })
    ));
}

/// The same picture on a coarse mesh and on a fine one: the same points.
#[test]
fn a_fine_mesh_gets_the_same_region() {
    let raster = drawn(64, true, |p| 20.0 - p.distance(DVec2::splat(30.0)));
    let coarse = surface(block(v(20.0, 20.0, 20.0)));
    let fine = surface(finer(&block(v(20.0, 20.0, 20.0)), 4));
    let made = |surface: &Surface| {
        prepared(
            picture(&raster, from_front(v(10.0, 0.0, 10.0), 1.0), 15.0),
            surface,
        )
    };
    let (a, b) = (made(&coarse), made(&fine));
    for i in 0..2500 {
        let p = v(
            (i % 50) as f64 * 0.4 + 0.1,
            0.0,
            (i / 50) as f64 * 0.4 + 0.1,
        );
        assert_eq!(
            a.contains(coarse.nearest(p)),
            b.contains(fine.nearest(p)),
            "{p}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Distances that are handed on are those to the line: within a fifth of a pixel of what
    /// a disk's edge is off.
    #[test]
    fn distances_are_those_from_the_edge(x in 20.0..44.0f64, y in 20.0..44.0f64, r in 6.0..18.0f64) {
        let centre = DVec2::new(x, y);
        let raster = drawn(64, false, |p| r - p.distance(centre));
        let stencil = Stencil::new(&raster, &Covers::Dark, 0.5);
        for i in 0..64 * 64 {
            let pixel = DVec2::new((i % 64) as f64 + 0.5, (i / 64) as f64 + 0.5);
            let wanted = r - pixel.distance(centre);
            let (seen, _) = stencil.within(pixel, 0.0);
            prop_assert!((seen - wanted).abs() < 0.2, "{} {} {}", pixel, seen, wanted);
        }
    }

    /// Within the distance that it tells, a mask's answer is the same.
    #[test]
    fn within_its_clearance_nothing_changes(
        seed in 0u64..1000,
        place in (-2.0..22.0f64, -2.0..22.0f64, -2.0..22.0f64),
        off in prop::collection::vec((-1.0..1.0f64, -1.0..1.0f64, -1.0..1.0f64), 40),
        wrapped in any::<bool>(),
        turn_deg in 0.0..360.0f64,
        hard in any::<bool>(),
    ) {
        let spot = |i: u64| ((seed * 7919 + i * 104_729) % 40) as f64;
        let raster = drawn(40, hard, |p| {
            let spots = (0..4).map(|i| 5.0 + i as f64 - p.distance(DVec2::new(spot(i), spot(i + 9))));
            spots.fold(f64::NEG_INFINITY, f64::max)
        });
        let at_mm = v(10.0, 2.0, 10.0);
        let laid = match wrapped {
            true => Laid::Wrapped { at_mm, through_mm: v(10.0, 10.0, 0.0), axis: v(0.1, 0.0, 1.0), depth_mm: 3.0 },
            false => Laid::Projected { at_mm, along: v(0.3, 1.0, 0.2), depth_mm: 3.0 },
        };
        let picture = Picture { turn_deg, ..picture(&raster, laid, 14.0) };
        let bounds = Mask::Picture(Box::new(picture.clone())).bounds_mm();
        let mask = prepared(picture, &surface(block(v(20.0, 20.0, 20.0))));
        let place = DVec3::from(place);
        let clearance_mm = mask.clearance_mm(place);
        prop_assert!(clearance_mm >= 0.0);
        let answer = mask.contains(at(place));
        for by in off {
            let near = place + DVec3::from(by) * (clearance_mm.min(20.0) / 1.7321 - 1e-9).max(0.0);
            prop_assert_eq!(mask.contains(at(near)), answer, "{} {} {}", place, near, clearance_mm);
            if mask.contains(at(near)) {
                prop_assert!(near.cmpge(bounds.0 - 1e-9).all() && near.cmple(bounds.1 + 1e-9).all());
            }
        }
    }
}

proptest! {
    /// The way to a point of the picture and back.
    #[test]
    fn a_point_of_the_picture_falls_on_its_own_pixel(
        (x, y) in (-1.0..1.0_f64, -1.0..1.0_f64),
        turn_deg in -180.0..180.0_f64,
        mirror: bool,
        round: bool,
        width_mm in 1.0..60.0_f64,
    ) {
        let raster = drawn(40, false, |_| 1.0);
        let laid = match round {
            true => Laid::Wrapped {
                at_mm: v(3.0, -24.0, 15.0),
                through_mm: v(3.0, 4.0, 0.0),
                axis: v(0.1, 0.0, 1.0),
                depth_mm: 2.0,
            },
            false => Laid::Projected { at_mm: v(1.0, 2.0, 3.0), along: v(0.3, 1.0, -0.4), depth_mm: 2.0 },
        };
        let picture = Picture { turn_deg, mirror, ..picture(&raster, laid, width_mm) };
        let placed = picture.placed(&flat()).expect("placed");
        let (pixel, deep_mm) = placed.pixel_at(placed.point_mm(DVec2::new(x, y)), None);
        let expected = DVec2::new(20.0 + 20.0 * x, 20.0 - 20.0 * y);
        prop_assert!(pixel.distance(expected) < 1e-7, "{pixel} {expected}");
        prop_assert!((deep_mm - 2.0).abs() < 1e-9);
        // One step against the look lies before the picture, over the same pixel.
        let off = placed.point_mm(DVec2::new(x, y)) - placed.looking(DVec2::new(x, y));
        let (pixel, deep_mm) = placed.pixel_at(off, None);
        prop_assert!(pixel.distance(expected) < 1e-7);
        prop_assert!((deep_mm - 1.0).abs() < 1e-9);
    }
}
