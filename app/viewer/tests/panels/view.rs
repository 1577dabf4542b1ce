//! What is shown, and how it is looked at.

use egui::{Key, Modifiers, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::DVec3;
use tintfall_viewer::model::camera::{Lens, Side};
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;

use crate::bench::*;

#[test]
fn the_wheel_zooms_to_the_pointer_in_parallel_and_in_perspective() {
    let mut harness = bench(None);
    for lens in [Lens::Parallel, Lens::Perspective] {
        if harness.state().view.camera.lens != lens {
            harness.key_press(Key::P);
            harness.run_ok();
        }
        let camera = harness.state().view.camera;
        assert_eq!(camera.lens, lens);
        let axes = camera.axes();
        let point = camera.target_mm + axes.right * 8.0 + axes.up * 11.0;
        let at = on_stage(&harness, point);
        harness.event(egui::Event::PointerMoved(at));
        harness.step();
        harness.event(egui::Event::MouseWheel {
            unit: egui::MouseWheelUnit::Point,
            delta: Vec2::new(0.0, 150.0),
            phase: egui::TouchPhase::Move,
            modifiers: Modifiers::NONE,
        });
        harness.run_ok();
        let zoomed = harness.state().view.camera;
        assert!(zoomed.mm_per_point < 0.8 * camera.mm_per_point, "{lens:?}");
        let off = on_stage(&harness, point) - at;
        assert!(off.length() < 0.1, "{lens:?}: {off:?}");
    }
}

#[test]
fn in_perspective_near_things_are_larger_and_the_level_view_is_parallel_again() {
    let mut harness = bench(None);
    let across = |harness: &Harness<'_, Session>, y: f64| {
        let ends = [-15.0, 15.0].map(|x| on_stage(harness, DVec3::new(x, y, 30.0)));
        ends[0].distance(ends[1])
    };
    harness.state_mut().view.camera.look_from(Side::Front);
    harness.run_ok();
    let (near, far) = (across(&harness, -20.0), across(&harness, 20.0));
    assert!((near - far).abs() < 0.01);
    harness.key_press(Key::P);
    harness.run_ok();
    assert!(across(&harness, -20.0) > 1.02 * across(&harness, 20.0));
    harness.key_press(Key::L);
    harness.run_ok();
    assert_eq!(harness.state().view.camera.lens, Lens::Parallel);
}

#[test]
fn the_wall_is_set_on_the_page_of_the_part() {
    let mut harness = bench(None);
    harness.state_mut().drawer = Drawer::Part;
    settle(&mut harness);
    click(&mut harness, "Colours seen through the wall");
    let wall = plan_of(&harness).wall.expect("a wall");
    assert_eq!(wall.thickness_mm, plan_of(&harness).skin_mm);
    assert!(harness.query_by_label("Light from behind").is_some());
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).wall, None);
}

#[test]
fn every_drawer_shows_itself() {
    let mut harness = bench(None);
    for (name, drawer, text) in [
        (
            "Spools",
            Drawer::Spools,
            "In the order of the hotend's inlets.",
        ),
        ("Part", Drawer::Part, "Triangles"),
        ("Colour", Drawer::Colour, "+ Letters"),
    ] {
        let buttons: Vec<_> = harness.get_all_by_label(name).collect();
        let tab = buttons
            .iter()
            .min_by(|a, b| a.rect().top().total_cmp(&b.rect().top()));
        tab.expect("a tab").click();
        settle(&mut harness);
        assert_eq!(harness.state().drawer, drawer);
        assert!(harness.query_by_label(text).is_some(), "{name}: {text}");
    }
}

#[test]
fn pages_open_by_key_and_close_by_escape() {
    let mut harness = bench(None);
    for (key, modifiers) in [
        (Key::F1, Modifiers::NONE),
        (Key::Questionmark, Modifiers::NONE),
        (Key::K, Modifiers::COMMAND),
        (Key::O, Modifiers::COMMAND),
        (Key::S, Modifiers::COMMAND),
        (Key::Enter, Modifiers::COMMAND),
    ] {
        harness.key_press_modifiers(modifiers, key);
        harness.run_ok();
        assert!(harness.state().page.is_some(), "{key:?}");
        harness.key_press(Key::Escape);
        harness.run_ok();
        assert_eq!(harness.state().page, None, "{key:?}");
    }
}

#[test]
fn an_action_is_found_by_its_name() {
    let mut harness = bench(None);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_ok();
    harness.event(egui::Event::Text("look inside".to_owned()));
    harness.run_ok();
    harness.key_press(Key::Enter);
    harness.run_ok();
    assert!(harness.state().view.cut);
}
