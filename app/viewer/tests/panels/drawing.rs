//! Outlines as they are drawn on the stage, and their mirror images.

use std::sync::Arc;

use egui::{Rect, pos2, vec2};
use geometry::mask::{CutOpen, Outline, PreparedMask};
use geometry::{DVec2, DVec3, Mask, Plane, Progress, Surface, solids};
use proptest::prelude::*;
use tintfall_viewer::model::camera::{Camera, Lens};
use tintfall_viewer::model::mirror::Mirror;
use tintfall_viewer::model::outline::Drawing;

fn stage() -> Rect {
    Rect::from_min_max(pos2(30.0, 20.0), pos2(630.0, 520.0))
}

proptest! {
    /// What lies in a box on the stage, as it is drawn there, is what the box covers.
    #[test]
    fn a_box_covers_what_is_seen_in_it(
        yaw_deg in -180.0..180.0f64, pitch_deg in -90.0..90.0f64, perspective in any::<bool>(),
        x in 100.0..300.0f32, y in 100.0..300.0f32, wide in 20.0..200.0f32, high in 20.0..200.0f32,
    ) {
        let camera = Camera {
            target_mm: DVec3::new(1.0, 2.0, 3.0),
            yaw_deg,
            pitch_deg,
            mm_per_point: 0.1,
            lens: if perspective { Lens::Perspective } else { Lens::Parallel },
        };
        let from = pos2(x, y);
        let mut drawing = Drawing::new(camera, stage(), false, false, from);
        drawing.go_to(from + vec2(wide, high));
        let outline = drawing.outline(true, None).expect("a box");
        let ball = Surface::new(Arc::new(solids::icosphere(18.0, 2).expect("a ball")));
        let mask = Mask::Outline(Box::new(outline));
        let mask = PreparedMask::new(&mask, &ball, &Progress::new()).expect("a good mask");
        let drawn = Rect::from_min_size(from, vec2(wide, high));
        for (number, &vertex) in (0u32..).zip(ball.mesh().vertices()) {
            let at = camera.project(stage(), vertex).expect("in front of the eye");
            // Not where rounding decides.
            if drawn.expand(0.05).contains(at) == drawn.shrink(0.05).contains(at) {
                let covered = mask.contains(ball.nearest(vertex));
                prop_assert_eq!(covered, drawn.contains(at), "{} at {:?}", number, at);
            }
        }
    }
}

#[test]
fn a_free_line_keeps_the_corners_that_matter() {
    let mut drawing = Drawing::new(Camera::default(), stage(), true, false, pos2(100.0, 100.0));
    for i in 1..=100 {
        drawing.go_to(pos2(100.0 + i as f32, 100.0));
    }
    for i in 1..=100 {
        drawing.go_to(pos2(200.0, 100.0 + i as f32));
    }
    let outline = drawing
        .outline(false, Plane::new(DVec3::Z, 4.0))
        .expect("a triangle");
    assert_eq!(outline.corners_mm.len(), 3, "{outline:?}");
    assert_eq!(
        (outline.through, outline.cut.map(|cut| cut.at_mm)),
        (false, Some(4.0))
    );
}

#[test]
fn keys_set_corner_after_corner() {
    let mut drawing = Drawing::new(Camera::default(), stage(), true, true, pos2(200.0, 200.0));
    for by in [vec2(40.0, 0.0), vec2(0.0, 40.0)] {
        drawing.step(by);
        assert!(!drawing.set_corner());
    }
    assert!(drawing.set_corner(), "a corner twice ends it");
    assert_eq!(drawing.corners().len(), 3);
    drawing.step(vec2(9000.0, 0.0));
    assert_eq!(drawing.at().x, stage().right());
    let mut click = Drawing::new(Camera::default(), stage(), false, false, pos2(99.0, 99.0));
    click.go_to(pos2(101.0, 140.0));
    assert!(
        click.outline(true, None).is_none(),
        "too narrow to be meant"
    );
}

/// The image of a point is in the image of an outline if the point is in the outline.
#[test]
fn outlines_are_mirrored_with_what_they_cover() {
    let middle = DVec3::new(2.0, -1.0, 0.0);
    let ball = solids::icosphere(10.0, 3).expect("a ball");
    let ball = Surface::new(ball.map(|p| p + middle).expect("moved").into());
    let corners = [(-1.0, -2.0), (7.0, 0.0), (1.0, 6.0)];
    let outline = Outline {
        corners_mm: corners.map(|(x, y)| DVec2::new(x, y)).to_vec(),
        at_mm: DVec3::new(1.0, 2.0, 3.0),
        towards: DVec3::new(0.6, 1.0, -0.2),
        up: DVec3::Z,
        eye_mm: Some(50.0),
        through: false,
        cut: Some(CutOpen {
            direction: DVec3::new(1.0, 0.2, 0.4),
            at_mm: 4.0,
        }),
    };
    let covers = |outline: &Outline| {
        let mask = Mask::Outline(Box::new(outline.clone()));
        PreparedMask::new(&mask, &ball, &Progress::new()).expect("a good mask")
    };
    let own = covers(&outline);
    for mirror in [Mirror::LeftRight, Mirror::FrontBack, Mirror::Around(3)] {
        let images = mirror.images_of_outline(&outline, middle);
        let images: Vec<PreparedMask> = images.iter().map(covers).collect();
        let (mut inside, mut other) = (0, 0);
        for i in 0..4000 {
            let turn = DVec2::from_angle(f64::from(i) * 2.4);
            let z = f64::from(i) / 2000.0 - 1.0;
            let point = middle + (turn * (1.0 - z * z).sqrt()).extend(z) * 10.0;
            let covered = own.contains(ball.nearest(point));
            inside += u32::from(covered);
            for (image, place) in images.iter().zip(mirror.images_of(point, middle)) {
                // The ball's facets are not mirrored: at the edge a few may differ.
                other += u32::from(image.contains(ball.nearest(place)) != covered);
            }
        }
        assert!(inside > 50 && other <= 8, "{mirror:?}: {inside}, {other}");
    }
}
