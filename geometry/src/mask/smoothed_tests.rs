//! Smoothed edges, held against closed forms.

use std::f64::consts::PI;

use glam::DVec3;

use super::{Mask, PreparedMask, Stroke};
use crate::surface::refine;
use crate::surface::shapes::{block, surface};
use crate::{Progress, Surface, SurfacePoint};

/// A plate 60 mm wide and 4 mm thick.
fn plate() -> Surface {
    surface(block(DVec3::new(60.0, 60.0, 4.0)))
}

fn on_top(x: f64, y: f64) -> DVec3 {
    DVec3::new(x, y, 4.0)
}

fn stroke(dabs_mm: Vec<DVec3>, radius_mm: f64) -> Mask {
    Mask::Stroke(Stroke {
        dabs_mm,
        radius_mm,
        reach_mm: None,
    })
}

fn smoothed(of: Mask, by_mm: f64) -> Mask {
    Mask::Smoothed {
        by_mm,
        of: Box::new(of),
    }
}

fn prepared(mask: &Mask, surface: &Surface) -> PreparedMask {
    PreparedMask::new(mask, surface, &Progress::new()).expect("a good mask")
}

fn area_mm2(mask: &PreparedMask, surface: &Surface) -> f64 {
    let class = |at: SurfacePoint| u32::from(mask.contains(at));
    let refined = refine(surface, class, 0.25, &Progress::new()).expect("not cancelled");
    let areas = refined.areas();
    let covered = areas.iter().find(|area| area.class == 1);
    covered.map_or(0.0, |area| area.area_mm2)
}

/// The edge of a disk moves inwards by the mean square of the weight along it over twice the
/// radius: by r²/(14R), with the weight (1 − (d/r)²)².
#[test]
fn a_large_disk_stays_and_a_thin_spike_goes() {
    let plate = plate();
    let disk = stroke(vec![on_top(30.0, 30.0)], 10.0);
    let smooth = prepared(&smoothed(disk.clone(), 2.0), &plate);
    let inwards_mm = 4.0 / 140.0;
    let expected = PI * (10.0 - inwards_mm) * (10.0 - inwards_mm);
    let found = area_mm2(&smooth, &plate);
    assert!(
        (found - expected).abs() < 0.004 * expected,
        "{found} {expected}"
    );

    let spike = stroke(vec![on_top(30.0, 30.0), on_top(52.0, 30.0)], 0.4);
    let both = Mask::Any(vec![disk, spike]);
    let rough = prepared(&both, &plate);
    let smooth = prepared(&smoothed(both, 2.0), &plate);
    let holds = |mask: &PreparedMask, x: f64| mask.contains(plate.nearest(on_top(x, 30.0)));
    assert!(holds(&rough, 46.0) && !holds(&smooth, 46.0));
    assert!(holds(&smooth, 39.0));
    let found = area_mm2(&smooth, &plate);
    assert!(
        (found - expected).abs() < 0.01 * expected,
        "{found} {expected}"
    );
}

#[test]
fn a_straight_edge_stays_and_a_corner_is_rounded() {
    let plate = plate();
    let half = Mask::Box {
        min_mm: DVec3::new(-1.0, -1.0, 3.9),
        max_mm: DVec3::new(25.0, 61.0, 4.1),
    };
    let smooth = prepared(&smoothed(half, 1.5), &plate);
    for y in [20.0, 30.0, 40.0] {
        for (x, within) in [(24.95, true), (25.05, false)] {
            assert_eq!(
                smooth.contains(plate.nearest(on_top(x, y))),
                within,
                "{x} {y}"
            );
        }
    }
    let square = Mask::Box {
        min_mm: DVec3::new(20.0, 20.0, 3.9),
        max_mm: DVec3::new(40.0, 40.0, 4.1),
    };
    let smooth = prepared(&smoothed(square, 3.0), &plate);
    let holds = |x, y| smooth.contains(plate.nearest(on_top(x, y)));
    assert!(holds(20.1, 30.0) && holds(30.0, 39.9));
    assert!(!holds(20.2, 20.2) && holds(22.0, 22.0));
    // The face beneath is another piece of skin, though it is 4 mm away.
    assert!(!smooth.contains(plate.nearest(DVec3::new(30.0, 30.0, 0.0))));
}

/// What covers all or nothing has no edge; what is inverted is smoothed the same.
#[test]
fn an_area_without_an_edge_stays_and_the_rest_is_smoothed_alike() {
    let plate = plate();
    let at = plate.nearest(on_top(11.0, 12.0));
    assert!(prepared(&smoothed(Mask::Whole, 2.0), &plate).contains(at));
    let none = Mask::Not(Box::new(Mask::Whole));
    assert!(!prepared(&smoothed(none, 2.0), &plate).contains(at));
    let dab = stroke(vec![on_top(30.0, 30.0)], 6.0);
    let one = prepared(&smoothed(dab.clone(), 2.0), &plate);
    let other = prepared(&smoothed(Mask::Not(Box::new(dab)), 2.0), &plate);
    for i in 0..200 {
        let turn = glam::DVec2::from_angle(f64::from(i) * 0.7) * (f64::from(i) * 0.05);
        let at = plate.nearest(on_top(30.0 + turn.x, 30.0 + turn.y));
        assert!(one.contains(at) != other.contains(at), "{at:?}");
    }
}
