//! Connected pieces of areas, and skin that faces one way, held against closed forms.

use std::f64::consts::TAU;

use glam::DVec3;

use super::{Mask, MaskError, PreparedMask};
use crate::surface::shapes::{block, finer, surface};
use crate::surface::{LevelCut, rising};
use crate::{Progress, Surface, SurfacePoint, solids};

fn v(x: f64, y: f64, z: f64) -> DVec3 {
    DVec3::new(x, y, z)
}

/// The area that a mask covers, mm².
fn area_mm2(mask: &Mask, surface: &Surface) -> f64 {
    let levels = rising(mask.level_edges_mm());
    let mask = PreparedMask::new(mask, surface, &Progress::new()).expect("a good mask");
    let class = |at: SurfacePoint| u32::from(mask.contains(at));
    let cut = LevelCut::new(surface, &levels);
    let areas = cut.areas(class, 0.5, &Progress::new());
    let areas = areas.expect("not cancelled");
    let covered = areas.iter().find(|area| area.class == 1);
    covered.map_or(0.0, |area| area.area_mm2)
}

fn near(found: f64, expected: f64, share: f64) {
    assert!(
        (found - expected).abs() <= share * expected,
        "{found} mm² is not {expected} mm²"
    );
}

fn connected(near_mm: DVec3, within: Mask) -> Mask {
    Mask::Connected {
        near_mm: vec![near_mm],
        within: Box::new(within),
    }
}

#[test]
fn of_two_bands_the_nearer_one_is_the_piece() {
    let post = surface(solids::cylinder(10.0, 40.0, 48).expect("a post"));
    let band = |from_mm, to_mm| Mask::Band { from_mm, to_mm };
    let both = Mask::Any(vec![band(5.0, 8.0), band(20.0, 26.0)]);
    let round = 48.0 * 2.0 * 10.0 * (TAU / 96.0).sin();
    let lower = connected(v(10.0, 0.0, 7.0), both.clone());
    near(area_mm2(&lower, &post), 3.0 * round, 1e-6);
    let upper = connected(v(0.0, 10.0, 19.0), both);
    near(area_mm2(&upper, &post), 6.0 * round, 1e-6);
    let Mask::Connected {
        mut near_mm,
        within,
    } = upper
    else {
        panic!("connected");
    };
    near_mm.push(v(-10.0, 0.0, 5.5));
    let pieces = Mask::Connected { near_mm, within };
    near(area_mm2(&pieces, &post), 9.0 * round, 1e-6);
}

#[test]
fn pieces_on_one_facet_are_told_apart() {
    for times in [1, 4] {
        let block = surface(finer(&block(v(20.0, 30.0, 40.0)), times));
        let between = Mask::Slab {
            direction: DVec3::X,
            from_mm: 8.0,
            to_mm: 12.0,
        };
        let rest = Mask::Not(Box::new(between));
        // A face at the end, and 8 mm of the four round it.
        let expected = 30.0 * 40.0 + 8.0 * 2.0 * (30.0 + 40.0);
        for x in [0.0, 20.0] {
            let piece = connected(v(x, 14.0, 22.0), rest.clone());
            near(area_mm2(&piece, &block), expected, 2e-3);
        }
    }
}

#[test]
fn nothing_is_connected_in_an_area_without_skin() {
    let block = surface(block(v(20.0, 30.0, 40.0)));
    let none = connected(DVec3::ZERO, Mask::Not(Box::new(Mask::Whole)));
    assert_eq!(area_mm2(&none, &block), 0.0);
    let whole = connected(DVec3::ZERO, Mask::Whole);
    near(area_mm2(&whole, &block), block.mesh().area_mm2(), 1e-9);
}

#[test]
fn flat_skin_ends_where_it_turns_away_from_the_first_facet() {
    let flat = |near_mm, angle_deg| Mask::Flat { near_mm, angle_deg };
    let block = surface(finer(&block(v(20.0, 30.0, 40.0)), 3));
    near(
        area_mm2(&flat(v(0.0, 15.0, 20.0), 10.0), &block),
        1200.0,
        1e-9,
    );
    near(
        area_mm2(&flat(v(0.0, 15.0, 20.0), 90.0), &block),
        2.0 * (600.0 + 800.0) + 1200.0,
        1e-9,
    );
    // A cap of 30° about the first facet: 2πR²(1 − cos 30°), but for the facets along its rim.
    let ball = surface(solids::icosphere(20.0, 5).expect("a ball"));
    let cap = TAU * 400.0 * (1.0 - 30f64.to_radians().cos());
    near(area_mm2(&flat(v(3.0, -7.0, 30.0), 30.0), &ball), cap, 0.03);
    // A fill to creases of 30° goes all round.
    let crease = Mask::Crease {
        near_mm: DVec3::Z * 20.0,
        angle_deg: 30.0,
    };
    near(area_mm2(&crease, &ball), ball.mesh().area_mm2(), 1e-9);
}

#[test]
fn what_is_wrong_within_is_told_with_its_place() {
    let inner = Mask::Not(Box::new(Mask::Sphere {
        centre_mm: DVec3::ZERO,
        radius_mm: -1.0,
    }));
    let piece = connected(v(f64::NAN, 0.0, 0.0), inner.clone());
    let faults = piece.faults();
    assert_eq!(faults.len(), 2, "{faults:?}");
    assert!(
        faults[1]
            .to_string()
            .starts_with("mask 1 in Connected: mask 1 in Not: radius_mm")
    );
    let smooth = Mask::Smoothed {
        by_mm: 0.0,
        of: Box::new(inner),
    };
    let told: Vec<String> = smooth.faults().iter().map(ToString::to_string).collect();
    assert!(told[0].contains("by_mm is 0"), "{told:?}");
    assert!(told[1].contains("mask 1 in Smoothed"), "{told:?}");
    assert!(smooth.check().is_err() && piece.check().is_err());
    let nowhere = Mask::Connected {
        near_mm: Vec::new(),
        within: Box::new(Mask::Whole),
    };
    assert_eq!(nowhere.check(), Err(MaskError::NoPlaces));
}
