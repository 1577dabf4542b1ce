//! Boxes and lassos drawn over the part, fills, and smoothed edges.

use egui::{Event, Key, Modifiers, PointerButton, Pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::mask::Outline;
use geometry::{DVec3, Mask};
use plan::Plan;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::camera::Side;
use tintfall_viewer::model::mirror::Mirror;
use tintfall_viewer::model::tool::{FillBy, Tool};
use tintfall_viewer::session::Session;

use crate::bench::*;

/// The block from the front, with a tool.
fn with_tool<'a>(tool: &str) -> Harness<'a, Session> {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::LookFrom(Side::Front));
    settle(&mut harness);
    click(&mut harness, tool);
    harness
}

/// Where a point of the front shows.
fn front(harness: &Harness<'_, Session>, x: f64, z: f64) -> Pos2 {
    on_stage(harness, DVec3::new(x, -20.0, z))
}

/// Drags from one point of the front to another.
fn drag_over(harness: &mut Harness<'_, Session>, from: (f64, f64), to: (f64, f64)) {
    let ends = [from, to].map(|(x, z)| front(harness, x, z));
    drag(harness, &line(ends[0], ends[1]));
}

/// Whether a region covers a point of the skin, as the window has it.
fn covers(harness: &Harness<'_, Session>, region: usize, x: f64, y: f64, z: f64) -> bool {
    let session = harness.state();
    let (doc, painted) = (session.doc.as_ref(), session.painted.as_ref());
    let at = doc.expect("a part").surface.nearest(DVec3::new(x, y, z));
    painted.expect("painted").covers(region, at)
}

fn outlines(harness: &Harness<'_, Session>, region: usize) -> Vec<Outline> {
    let mut found = Vec::new();
    plan_of(harness).regions[region].mask.each(&mut |mask| {
        if let Mask::Outline(outline) = mask {
            found.push((**outline).clone());
        }
    });
    found
}

fn regions(harness: &Harness<'_, Session>) -> usize {
    plan_of(harness).regions.len()
}

fn press(harness: &mut Harness<'_, Session>, key: Key) {
    harness.key_press(key);
    settle(harness);
}

#[test]
fn a_box_covers_the_front_alone_or_goes_through_and_takes_off() {
    let mut harness = with_tool("Box");
    drag_over(&mut harness, (-10.0, 20.0), (10.0, 40.0));
    assert_eq!(regions(&harness), 2);
    assert!(covers(&harness, 1, 0.0, -20.0, 30.0) && covers(&harness, 1, 9.5, -20.0, 20.5));
    assert!(!covers(&harness, 1, 0.0, 20.0, 30.0) && !covers(&harness, 1, 10.5, -20.0, 30.0));

    click(&mut harness, "Through");
    drag_over(&mut harness, (-5.0, 5.0), (5.0, 15.0));
    assert_eq!(regions(&harness), 2, "it goes into the chosen region");
    assert!(covers(&harness, 1, 0.0, 20.0, 10.0) && covers(&harness, 1, 0.0, -20.0, 10.0));
    assert!(!covers(&harness, 1, 0.0, 20.0, 30.0));

    click(&mut harness, "Take off");
    drag_over(&mut harness, (-2.0, 8.0), (2.0, 32.0));
    assert!(!covers(&harness, 1, 0.0, -20.0, 30.0) && !covers(&harness, 1, 0.0, 20.0, 10.0));
    assert!(covers(&harness, 1, 4.0, 20.0, 10.0) && covers(&harness, 1, 4.0, -20.0, 30.0));
    let plan = plan_of(&harness);
    let again = Plan::from_ron(&plan.to_ron().expect("writes")).expect("reads");
    assert_eq!(&again, plan);
    // One step each.
    click(&mut harness, "Undo");
    assert!(covers(&harness, 1, 0.0, -20.0, 30.0));
    click(&mut harness, "Undo");
    assert!(!covers(&harness, 1, 0.0, 20.0, 10.0));
    click(&mut harness, "Undo");
    assert_eq!(regions(&harness), 1);
}

#[test]
fn a_box_is_drawn_by_keys_alone() {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::LookFrom(Side::Front));
    settle(&mut harness);
    for key in [Key::X, Key::Enter] {
        press(&mut harness, key);
    }
    let camera = harness.state().view.camera;
    for key in [Key::ArrowRight, Key::ArrowUp, Key::ArrowRight, Key::ArrowUp] {
        press(&mut harness, key);
    }
    assert_eq!(harness.state().view.camera, camera, "the view stays");
    press(&mut harness, Key::Enter);
    let found = outlines(&harness, 1);
    let size = 20.0 * camera.mm_per_point;
    let (low, high) = (found[0].corners_mm[0], found[0].corners_mm[2]);
    assert!((high - low - size).abs().max_element() < 1e-3, "{found:?}");
    assert!(low.abs().max_element() < 1e-3, "it begins in the middle");

    // The other choices have keys too.
    for (key, seen) in [
        (Key::U, (true, false)),
        (Key::Y, (true, true)),
        (Key::U, (false, true)),
    ] {
        press(&mut harness, key);
        let tools = &harness.state().tools;
        assert_eq!((tools.through, tools.takes_off), seen);
    }
    // Escape leaves an outline that was begun, and then the tool.
    press(&mut harness, Key::Enter);
    assert!(harness.state().tools.outline.is_some());
    press(&mut harness, Key::Escape);
    assert!(harness.state().tools.outline.is_none());
    assert_eq!(harness.state().tools.tool, Tool::Box);
    assert_eq!(outlines(&harness, 1).len(), 1);
}

#[test]
fn a_lasso_is_free_and_by_keys_has_the_corners_that_are_set() {
    let mut harness = with_tool("Lasso");
    let mut path = Vec::new();
    for (from, to) in [((-10.0, 20.0), (10.0, 20.0)), ((10.0, 20.0), (-10.0, 40.0))] {
        let ends = [from, to].map(|(x, z)| front(&harness, x, z));
        path.extend(line(ends[0], ends[1]));
    }
    drag(&mut harness, &path);
    assert_eq!(outlines(&harness, 1)[0].corners_mm.len(), 3);
    assert!(covers(&harness, 1, -8.0, -20.0, 22.0) && covers(&harness, 1, 0.0, -20.0, 29.0));
    assert!(!covers(&harness, 1, 6.0, -20.0, 36.0));

    harness.event(Event::PointerGone);
    for key in [
        Key::Enter,
        Key::PageUp,
        Key::Enter,
        Key::ArrowRight,
        Key::Enter,
        Key::Enter,
    ] {
        press(&mut harness, key);
    }
    let corners: Vec<usize> = outlines(&harness, 1)
        .iter()
        .map(|o| o.corners_mm.len())
        .collect();
    assert_eq!(corners, [3, 3]);
}

#[test]
fn escape_cancels_an_outline_that_is_being_dragged() {
    let mut harness = with_tool("Lasso");
    let [from, to] = [(-10.0, 20.0), (10.0, 40.0)].map(|(x, z)| front(&harness, x, z));
    let button = |pos, pressed| Event::PointerButton {
        pos,
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    harness.event(Event::PointerMoved(from));
    harness.event(button(from, true));
    harness.step();
    for at in [from + vec2(40.0, 0.0), to] {
        harness.event(Event::PointerMoved(at));
        harness.step();
    }
    assert!(harness.state().tools.outline.is_some());
    assert!(
        harness.state().sketches_behind() > 0,
        "what it would cover is sketched"
    );
    harness.key_press(Key::Escape);
    harness.step();
    harness.event(button(to, false));
    settle(&mut harness);
    assert_eq!(regions(&harness), 1);
    assert_eq!(harness.state().tools.tool, Tool::Lasso);
    // A click alone is no outline.
    drag(&mut harness, &[from, from]);
    assert_eq!(regions(&harness), 1);
}

#[test]
fn an_outline_is_mirrored_and_seen_in_perspective_as_the_view_is() {
    let mut harness = with_tool("Box");
    press(&mut harness, Key::P);
    harness
        .state_mut()
        .apply(Command::Mirror(Mirror::Around(4)));
    drag_over(&mut harness, (5.0, 20.0), (15.0, 40.0));
    let found = outlines(&harness, 1);
    assert_eq!(found.len(), 4);
    assert!(found.iter().all(|outline| outline.eye_mm.is_some()));
    // A quarter turn takes the front to the right, the back and the left.
    for (x, y) in [(10.0, -20.0), (20.0, 10.0), (-10.0, 20.0), (-20.0, -10.0)] {
        assert!(covers(&harness, 1, x, y, 30.0), "{x} {y}");
        assert!(!covers(&harness, 1, -x, y, 30.0), "{x} {y}");
    }
    click(&mut harness, "Undo");
    assert_eq!(regions(&harness), 1);
}

#[test]
fn the_base_is_not_taken_off() {
    let mut harness = with_tool("Box");
    click(&mut harness, "Take off");
    drag_over(&mut harness, (-10.0, 20.0), (10.0, 40.0));
    assert_eq!(regions(&harness), 1);
    let said = harness.state().notices.shown();
    assert!(
        said.iter()
            .any(|n| n.text.contains("Choose another region"))
    );
}

#[test]
fn a_fill_by_flatness_covers_what_faces_the_same_way() {
    let mut harness = with_tool("Fill");
    harness.get_by_label("What ends a fill").click();
    settle(&mut harness);
    harness.get_by_label("By flatness").click();
    settle(&mut harness);
    assert_eq!(harness.state().tools.fill_by, FillBy::Flatness);
    let at = front(&harness, 4.0, 30.0);
    drag(&mut harness, &[at, at]);
    let mask = &plan_of(&harness).regions[1].mask;
    assert!(matches!(mask, Mask::Any(any) if matches!(any[..], [Mask::Flat { .. }])));
    assert!(covers(&harness, 1, -19.0, -20.0, 1.0) && !covers(&harness, 1, -20.0, 0.0, 30.0));
    click(&mut harness, "Undo");
    assert_eq!(regions(&harness), 1);
}

#[test]
fn a_fill_by_blend_stops_at_another_blend_and_goes_on_in_one_area() {
    let mut harness = with_tool("Fill");
    harness.state_mut().add_band(25.0, 35.0);
    settle(&mut harness);
    harness.event(Event::PointerGone);
    for key in [Key::J, Key::J] {
        press(&mut harness, key);
    }
    assert_eq!(harness.state().tools.fill_by, FillBy::Blend);
    harness.state_mut().tools.new_area = true;
    let at = front(&harness, 4.0, 10.0);
    harness.event(Event::PointerMoved(at));
    settle(&mut harness);
    drag(&mut harness, &[at, at]);
    assert_eq!(regions(&harness), 3);
    assert!(covers(&harness, 2, 0.0, 20.0, 5.0) && covers(&harness, 2, 0.0, 0.0, 0.0));
    assert!(!covers(&harness, 2, 0.0, -20.0, 30.0) && !covers(&harness, 2, 0.0, -20.0, 50.0));
    // Another piece of the same blend goes into the same fill.
    let at = front(&harness, 4.0, 50.0);
    drag(&mut harness, &[at, at]);
    let Mask::Any(any) = &plan_of(&harness).regions[2].mask else {
        panic!("any");
    };
    let [Mask::Connected { near_mm, .. }] = any.as_slice() else {
        panic!("one fill: {any:?}");
    };
    assert_eq!(near_mm.len(), 2);
    assert!(covers(&harness, 2, 0.0, 20.0, 50.0) && !covers(&harness, 2, 0.0, 20.0, 30.0));
    // It stays what it was, whatever the band does.
    harness.state_mut().apply(Command::ChooseRegion(1));
    harness.state_mut().apply(Command::Delete);
    settle(&mut harness);
    assert!(covers(&harness, 1, 0.0, 20.0, 50.0) && !covers(&harness, 1, 0.0, 20.0, 30.0));
    let plan = plan_of(&harness);
    let again = Plan::from_ron(&plan.to_ron().expect("writes")).expect("reads");
    assert_eq!(&again, plan);
}

#[test]
fn an_edge_is_smoothed_by_its_key_and_by_its_button() {
    let mut harness = with_tool("Box");
    drag_over(&mut harness, (-10.0, 20.0), (10.0, 40.0));
    assert!(covers(&harness, 1, 9.8, -20.0, 39.8));
    harness.state_mut().apply(Command::SmoothBy(3.0));
    press(&mut harness, Key::Q);
    let length = |h: &Harness<'_, Session>| match plan_of(h).regions[1].mask {
        Mask::Smoothed { by_mm, .. } => by_mm,
        ref other => panic!("{other:?}"),
    };
    assert_eq!(length(&harness), 3.0);
    assert!(
        !covers(&harness, 1, 9.8, -20.0, 39.8),
        "the corner is round"
    );
    assert!(covers(&harness, 1, 9.7, -20.0, 30.0), "the side stays");
    harness.state_mut().apply(Command::SmoothBy(4.0));
    click(&mut harness, "Smooth the edge");
    assert!((length(&harness) - 5.0).abs() < 1e-12);
    let plan = plan_of(&harness);
    let again = Plan::from_ron(&plan.to_ron().expect("writes")).expect("reads");
    assert_eq!(&again, plan);
    click(&mut harness, "Undo");
    click(&mut harness, "Undo");
    assert!(covers(&harness, 1, 9.8, -20.0, 39.8));
}
