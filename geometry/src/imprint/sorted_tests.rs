use std::f64::consts::{PI, TAU};
use std::sync::Arc;

use glam::{DVec2, DVec3};
use proptest::prelude::*;

use super::*;
use crate::mask::{MaskError, Nearness, PreparedMask};
use crate::surface::shapes::{block, surface};
use crate::{Mask, Progress, SurfacePoint};

const CODES: [&str; 3] = ["#c03028", "#f2efe6", "#20407c"];

/// A square picture with the place in a list that a function gives each pixel's middle.
fn sorted(side: usize, place: impl Fn(DVec2) -> u8) -> Sorted {
    let at = |i: usize| DVec2::new((i % side) as f64 + 0.5, (i / side) as f64 + 0.5);
    let places = (0..side * side).map(|i| place(at(i))).collect();
    Sorted::new((side, side), places).expect("a good size")
}

fn one(colour: &str) -> OneColour {
    OneColour {
        colour: colour.into(),
        among: CODES.map(String::from).to_vec(),
        by: Nearness::Difference,
    }
}

/// How many of three colours have a place of the picture, and which is the last of them.
fn holders(stencils: &[Stencil], pixel: DVec2) -> (usize, usize) {
    let all = stencils.iter().enumerate();
    let holding = all.filter(|(_, stencil)| stencil.within(pixel, 0.0).0 > 0.0);
    holding.fold((0, 0), |(count, _), (place, _)| (count + 1, place))
}

fn stencils(sorted: &Sorted) -> Vec<Stencil> {
    (0..3)
        .map(|place| Stencil::of_colour(sorted, place))
        .collect()
}

/// Stripes of 20, 30 and 14 pixels: their areas are those, and they share their edges.
#[test]
fn stripes_have_their_areas() {
    let place = |p: DVec2| match p.x {
        x if x < 20.0 => 0,
        x if x < 50.0 => 1,
        _ => 2,
    };
    let stripes = stencils(&sorted(64, place));
    for (stencil, wide) in stripes.iter().zip([20.0, 30.0, 14.0]) {
        let wanted = 64.0 * wide;
        let area = stencil.area_px(0.0);
        assert!((area / wanted - 1.0).abs() < 5e-3, "{area} {wanted}");
    }
    for i in 0..6400 {
        let x = i as f64 * 0.01 + 0.005;
        let (count, held) = holders(&stripes, DVec2::new(x, 31.3));
        assert_eq!(count, 1, "{x}");
        let far = (x - 20.0).abs().min((x - 50.0).abs()) > 0.01;
        assert!(
            !far || held == usize::from(place(DVec2::new(x, 0.0))),
            "{x}"
        );
    }
}

/// Three sectors of a disk, with clear about it: every opaque place has one colour, but for less
/// than a square pixel where three edges meet; and no clear one has any.
#[test]
fn colours_share_out_what_is_opaque() {
    let middle = DVec2::new(40.3, 39.6);
    let radius = 34.0;
    let place = |p: DVec2| {
        let off = p - middle;
        match off.length() > radius {
            true => Sorted::CLEAR,
            false => ((off.to_angle() + 2.0).rem_euclid(TAU) / (TAU / 3.0)) as u8 % 3,
        }
    };
    let whole = sorted(80, |p| {
        if place(p) == Sorted::CLEAR {
            Sorted::CLEAR
        } else {
            0
        }
    });
    let whole = Stencil::of_colour(&whole, 0);
    let disk = PI * radius * radius;
    assert!((whole.area_px(0.0) / disk - 1.0).abs() < 5e-3);
    let sectors = stencils(&sorted(80, place));
    let (steps, mut off) = (10, 0);
    for i in 0..(80 * steps) * (80 * steps) {
        let (x, y) = (i % (80 * steps), i / (80 * steps));
        let pixel = (DVec2::new(x as f64, y as f64) + 0.5) / steps as f64;
        let (count, held) = holders(&sectors, pixel);
        let wanted = usize::from(whole.within(pixel, 0.0).0 > 0.0);
        off += usize::from(count != wanted);
        // Away from all edges it is the one that the pixel was given.
        let near = |by: f64| (0..8).map(move |k| DVec2::from_angle(k as f64 * 0.785) * by);
        let own = place(pixel);
        if near(1.2).all(|by| place(pixel + by) == own) {
            let given = match own {
                Sorted::CLEAR => (0, 0),
                own => (1, usize::from(own)),
            };
            assert_eq!((count, held), given, "{pixel}");
        }
    }
    let off_px = off as f64 / (steps * steps) as f64;
    println!("{off_px} square pixels");
    // Three edges meet in the middle, and at the rim three times.
    assert!(off_px < 4.0, "{off_px}");
}

#[test]
fn a_mask_takes_its_colour_of_the_list() {
    let surface = surface(block(DVec3::splat(20.0)));
    let raster = Raster::new((30, 30), vec![0; 900], None).expect("a good size");
    let shown = sorted(30, |p| if p.x < 10.0 { 1 } else { Sorted::CLEAR });
    let picture = |colour: &str| Picture {
        file: "flag.png".into(),
        sha256: None,
        laid: Laid::Projected {
            at_mm: DVec3::new(10.0, 0.0, 10.0),
            along: DVec3::Y,
            depth_mm: 1.0,
        },
        width_mm: 15.0,
        turn_deg: 0.0,
        mirror: false,
        covers: Covers::Colour(one(colour)),
        threshold: 0.5,
        content: Loaded::sorted_by(Arc::new(raster.clone()), Arc::new(shown.clone())),
    };
    let prepared = |picture: Picture| {
        let mask = Mask::Picture(Box::new(picture));
        PreparedMask::new(&mask, &surface, &Progress::new())
    };
    let at = |x: f64| SurfacePoint {
        point_mm: DVec3::new(x, 0.0, 10.0),
        facet: 0,
    };
    // A third of 15 mm from the left edge at 2.5 mm.
    let white = prepared(picture(CODES[1])).expect("a good mask");
    assert!(white.contains(at(2.6)) && white.contains(at(7.45)));
    assert!(!white.contains(at(2.4)) && !white.contains(at(7.55)));
    let red = prepared(picture(CODES[0])).expect("a good mask");
    assert!(!red.contains(at(5.0)) && !red.contains(at(12.0)));
    // A picture that was read for its greys alone does not have its colours.
    let mut greys = picture(CODES[1]);
    greys.content = Arc::new(raster.clone()).into();
    assert!(matches!(prepared(greys), Err(MaskError::Unread { .. })));
}

#[test]
fn a_list_and_a_colour_that_don_t_fit_are_told() {
    let told = |change: fn(&mut OneColour)| {
        let mut one = one(CODES[0]);
        change(&mut one);
        one.check().expect_err("a fault").to_string()
    };
    assert!(one(CODES[2]).check().is_ok());
    assert_eq!(one(CODES[2]).place(), Some(2));
    let other = told(|one| one.colour = "#000000".into());
    assert!(other.contains("'#000000' is not in among"), "{other}");
    let empty = told(|one| one.among.clear());
    assert!(empty.contains("among has 0 colours"), "{empty}");
    let long = told(|one| one.among = vec!["#000000".into(); 33]);
    assert!(long.contains("from 1 to 32"), "{long}");
    let none = told(|one| one.among[1] = "red".into());
    assert!(none.contains("'red' is no colour"), "{none}");
    assert!(Sorted::new((3, 3), vec![0; 8]).is_none());
    assert!(Sorted::new((0, 0), Vec::new()).is_none());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Pixels sorted anyhow: no place has two colours but at corners, and what is told of the way
    /// to an edge holds.
    #[test]
    fn any_sorting_is_shared_out(seed in any::<u64>()) {
        // Squares of four pixels.
        let place = |p: DVec2| {
            let square = (p.x as u64 / 4) * 31 + p.y as u64 / 4;
            let value = (square + 1).wrapping_mul(seed | 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            match (value >> 60) % 4 {
                3 => Sorted::CLEAR,
                place => place as u8,
            }
        };
        let found = stencils(&sorted(24, place));
        let whole = sorted(24, |p| if place(p) == Sorted::CLEAR { Sorted::CLEAR } else { 0 });
        let whole = Stencil::of_colour(&whole, 0);
        let mut off = 0;
        for i in 0..240 * 240 {
            let pixel = DVec2::new((i % 240) as f64 + 0.5, (i / 240) as f64 + 0.5) / 10.0;
            let (count, _) = holders(&found, pixel);
            off += usize::from(count != usize::from(whole.within(pixel, 0.0).0 > 0.0));
        }
        // There are 25 corners, and 20 at the picture's own edge; a pixel has a hundred places.
        prop_assert!(off < 45 * 100, "{off}");
    }
}
