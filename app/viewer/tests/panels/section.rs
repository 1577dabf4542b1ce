//! The part cut open in any direction.

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::DVec3;
use geometry::plane::Met;
use tintfall_viewer::commands::{Command, Cutting};
use tintfall_viewer::model::camera::Side;
use tintfall_viewer::model::section::Across;
use tintfall_viewer::model::skin::{FREE, SkinUpdate};
use tintfall_viewer::model::tool::Tool;
use tintfall_viewer::session::Session;

use crate::bench::*;

fn press(harness: &mut Harness<'_, Session>, modifiers: Modifiers, key: Key) {
    harness.key_press_modifiers(modifiers, key);
    settle(harness);
}

/// Seen from the front, its near half cut away: the face is at y = 0 and looks at the eye.
fn front_half_open<'a>() -> Harness<'a, Session> {
    let mut harness = bench(None);
    let session = harness.state_mut();
    session.apply(Command::LookFrom(Side::Front));
    session.apply(Command::Section(Cutting::Across(Across::Y)));
    settle(&mut harness);
    harness
}

fn normal(harness: &Harness<'_, Session>) -> DVec3 {
    harness.state().section_plane().expect("cut open").normal()
}

#[test]
fn the_cut_is_opened_turned_moved_and_flipped_by_keys() {
    let mut harness = bench(None);
    assert_eq!(harness.state().section_plane(), None);
    press(&mut harness, Modifiers::NONE, Key::C);
    assert_eq!(normal(&harness), DVec3::Z);
    press(&mut harness, Modifiers::SHIFT, Key::C);
    assert_eq!(normal(&harness), DVec3::X);
    let plane = harness.state().section_plane().expect("a plane");
    assert!(plane.at_mm().abs() < 1e-9, "it begins in the middle");
    for _ in 0..5 {
        press(&mut harness, Modifiers::SHIFT, Key::PageUp);
    }
    press(&mut harness, Modifiers::SHIFT, Key::PageDown);
    let plane = harness.state().section_plane().expect("a plane");
    // Four hundredths of 40 mm.
    assert!((plane.at_mm() - 1.6).abs() < 1e-9, "{plane:?}");
    press(&mut harness, Modifiers::SHIFT, Key::X);
    assert_eq!(normal(&harness), DVec3::NEG_X);
    press(&mut harness, Modifiers::SHIFT, Key::C);
    // The side nearer to the eye is cut away.
    assert_eq!(normal(&harness), DVec3::NEG_Y);
    press(&mut harness, Modifiers::SHIFT, Key::C);
    let towards_eye = -harness.state().view.camera.axes().forward;
    assert!(normal(&harness).distance(towards_eye) < 1e-9);
    press(&mut harness, Modifiers::SHIFT, Key::C);
    assert_eq!(normal(&harness), DVec3::Z);
    press(&mut harness, Modifiers::NONE, Key::C);
    assert_eq!(harness.state().section_plane(), None);
}

#[test]
fn the_strip_moves_and_flips_the_cut_by_pointer_and_closes_it() {
    let mut harness = front_half_open();
    let slider = rect_of(&harness, "Place of the cut");
    drag(
        &mut harness,
        &line(
            slider.center(),
            slider.right_center() + egui::vec2(-4.0, 0.0),
        ),
    );
    let at_mm = harness.state().view.section.at_mm;
    assert!(at_mm > 12.0 && at_mm <= 20.0, "{at_mm}");
    harness.get_by_label("Place of the cut").focus();
    harness.run_ok();
    press(&mut harness, Modifiers::NONE, Key::ArrowLeft);
    assert!(harness.state().view.section.at_mm < at_mm);
    assert_eq!(normal(&harness), DVec3::NEG_Y);
    click(&mut harness, "Other side of the cut");
    assert_eq!(normal(&harness), DVec3::Y);
    click(&mut harness, "Close the cut");
    assert_eq!(harness.state().section_plane(), None);
    assert!(harness.query_by_label("Place of the cut").is_none());
}

#[test]
fn the_cut_lies_along_the_facet_that_is_clicked_or_in_the_middle() {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::LookFrom(Side::Front));
    press(&mut harness, Modifiers::COMMAND, Key::K);
    harness.event(egui::Event::Text("cut along a facet".to_owned()));
    harness.run_ok();
    press(&mut harness, Modifiers::NONE, Key::Enter);
    assert!(harness.state().view.section.asks_facet);
    let at = on_stage(&harness, DVec3::new(5.0, -20.0, 30.0));
    drag(&mut harness, &[at]);
    assert!(!harness.state().view.section.asks_facet);
    assert!(normal(&harness).distance(DVec3::NEG_Y) < 1e-9);
    // The same by keys alone, from the right.
    harness.state_mut().apply(Command::Cut);
    harness.state_mut().apply(Command::LookFrom(Side::Right));
    let facet = Command::Section(Cutting::Across(Across::Facet));
    harness.state_mut().apply(facet);
    harness
        .state_mut()
        .apply(Command::Section(Cutting::Across(Across::Height)));
    assert!(!harness.state().view.section.asks_facet);
    harness
        .state_mut()
        .apply(Command::Section(Cutting::Across(Across::Facet)));
    settle(&mut harness);
    press(&mut harness, Modifiers::NONE, Key::Escape);
    assert!(!harness.state().view.section.asks_facet, "Esc leaves off");
    harness
        .state_mut()
        .apply(Command::Section(Cutting::Across(Across::Facet)));
    settle(&mut harness);
    press(&mut harness, Modifiers::NONE, Key::Enter);
    assert!(normal(&harness).distance(DVec3::X) < 1e-9);
}

#[test]
fn a_typed_direction_of_any_length_counts_and_none_is_told() {
    let mut harness = bench(None);
    let typed = |harness: &mut Harness<'_, Session>, x, y, z| {
        let direction = Cutting::Direction(DVec3::new(x, y, z));
        harness.state_mut().apply(Command::Section(direction));
        settle(harness);
    };
    typed(&mut harness, 3.0, 0.0, 4.0);
    assert!(normal(&harness).distance(DVec3::new(0.6, 0.0, 0.8)) < 1e-12);
    assert!(harness.query_by_label("Direction of the cut, y").is_some());
    typed(&mut harness, 0.0, 0.0, 0.0);
    assert_eq!(harness.state().section_plane(), None);
    let told = "Type a direction other than 0, 0, 0.";
    assert!(harness.query_by_label(told).is_some());
}

#[test]
fn what_is_cut_away_is_neither_painted_nor_measured_nor_chosen() {
    let mut harness = front_half_open();
    // The tray may take another row, which moves the stage.
    let place = |harness: &Harness<'_, Session>, x| on_stage(harness, DVec3::new(x, 0.0, 40.0));
    match harness.state().meets(place(&harness, 3.0)) {
        Some(Met::Face(point)) => assert!(point.distance(DVec3::new(3.0, 0.0, 40.0)) < 0.1),
        other => panic!("{other:?}"),
    }
    let regions = plan_of(&harness).regions.len();
    harness.state_mut().apply(Command::NewArea);
    settle(&mut harness);
    let at = place(&harness, 3.0);
    drag(&mut harness, &line(at, at + egui::vec2(20.0, 10.0)));
    assert_eq!(
        plan_of(&harness).regions.len(),
        regions,
        "the face took paint"
    );
    harness.state_mut().apply(Command::Take(Tool::Measure));
    settle(&mut harness);
    let [at, to] = [3.0, -7.0].map(|x| place(&harness, x));
    drag(&mut harness, &[at]);
    drag(&mut harness, &[to]);
    let words = harness.state().tools.measure.words().expect("measured");
    assert!(words.starts_with("10.0"), "{words}");
    // Closed again, the near wall is met.
    harness.state_mut().apply(Command::Cut);
    settle(&mut harness);
    match harness.state().meets(place(&harness, 3.0)) {
        Some(Met::Skin(hit)) => assert!((hit.point_mm.y + 20.0).abs() < 1e-6),
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_face_has_the_plans_colours_and_goes_with_the_cut() {
    let mut harness = front_half_open();
    let face = &harness.state().section().expect("cut").face;
    assert!(face.region.contains(&0) && face.region.contains(&FREE));
    let drawn = |harness: &mut Harness<'_, Session>| {
        let mut last = None;
        while let Some(update) = harness.state_mut().next_skin_update() {
            if let SkinUpdate::Face(mesh) = update {
                last = Some(mesh.triangles());
            }
        }
        last
    };
    assert!(drawn(&mut harness).is_some_and(|triangles| triangles > 0));
    // A plan with another region is drawn on the face, too.
    harness
        .state_mut()
        .apply(Command::AddBandBetween(20.0, 30.0));
    settle(&mut harness);
    let face = &harness.state().section().expect("cut").face;
    assert!(face.region.contains(&1), "the band is on the face");
    harness.state_mut().apply(Command::Cut);
    settle(&mut harness);
    assert_eq!(drawn(&mut harness), Some(0));
}
