//! The unit of a mesh, and which of its axes is up.

use std::path::PathBuf;

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::place::{Axis, Unit};
use geometry::{DVec3, solids};
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;

use crate::bench::{click, plan_of, settle, shown};

/// A window with a block of a size, in the numbers of its file.
fn opened<'a>(size: DVec3) -> (TempDir, PathBuf, Harness<'a, Session>) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("block.stl");
    let mesh = solids::cuboid(size).expect("a block");
    std::fs::write(&file, geometry::read::mesh_to_stl(&mesh)).expect("written");
    let mut session = Session::new(None);
    session.open(&file);
    session.finish_work();
    let mut harness = shown(session);
    settle(&mut harness);
    (folder, file, harness)
}

fn size(harness: &Harness<'_, Session>) -> DVec3 {
    let doc = harness.state().doc.as_ref().expect("a part");
    doc.bounds_mm.1 - doc.bounds_mm.0
}

fn near(a: DVec3, b: DVec3) -> bool {
    a.distance(b) < 1e-4
}

#[test]
fn a_part_of_unlikely_size_is_offered_in_the_units_that_suit() {
    let (folder, _, mut harness) = opened(DVec3::new(0.03, 0.02, 0.05));
    harness.get_by_label_contains("The file does not say its unit");
    // 0.05 feet are 15 mm, 0.05 inches 1.3 mm.
    harness.get_by_label("Feet: 15.24 mm");
    assert!(harness.query_by_label_contains("Inches: ").is_none());
    click(&mut harness, "Metres: 50 mm");
    assert!(near(size(&harness), DVec3::new(30.0, 20.0, 50.0)));
    assert_eq!(plan_of(&harness).mesh.place.unit, Some(Unit::Metre));
    assert!(harness.query_by_label_contains("does not say").is_none());
    // It stands in the plan, and the plan opens so.
    let plan = folder.path().join("block.plan.ron");
    harness
        .state_mut()
        .apply(Command::SaveTo(plan.clone(), None));
    settle(&mut harness);
    let mut again = Session::new(None);
    again.open(&plan);
    again.finish_work();
    let again = shown(again);
    assert!(near(size(&again), DVec3::new(30.0, 20.0, 50.0)));
    assert!(again.query_by_label_contains("does not say").is_none());
}

#[test]
fn a_part_of_likely_size_is_not_asked_about_and_millimetres_can_be_kept() {
    let (_folder, _, harness) = opened(DVec3::new(30.0, 20.0, 50.0));
    assert!(harness.query_by_label_contains("does not say").is_none());
    let (_folder, _, mut harness) = opened(DVec3::new(1300.0, 20.0, 50.0));
    harness.get_by_label_contains("does not say");
    // The question says it: no message beside it.
    assert!(harness.query_by_label_contains("check the unit").is_none());
    click(&mut harness, "Keep millimetres");
    assert!(harness.query_by_label_contains("does not say").is_none());
    assert_eq!(plan_of(&harness).mesh.place.unit, None);
    assert!(!harness.state().doc.as_ref().expect("a part").is_unsaved());
}

#[test]
fn unit_and_upright_axis_are_set_on_the_part_s_page() {
    let (_folder, _, mut harness) = opened(DVec3::new(30.0, 20.0, 50.0));
    harness.state_mut().apply(Command::ShowDrawer(Drawer::Part));
    settle(&mut harness);
    let choose = |harness: &mut Harness<'_, Session>, of: &str, choice: &str| {
        harness.get_by_role_and_label(Role::ComboBox, of).click();
        settle(harness);
        click(harness, choice);
    };
    choose(&mut harness, "Axis up", "−y");
    assert_eq!(plan_of(&harness).mesh.place.up, Axis::MinusY);
    assert!(near(size(&harness), DVec3::new(30.0, 50.0, 20.0)));
    assert!(harness.state().doc.as_ref().expect("a part").is_unsaved());
    choose(&mut harness, "Unit", "Inches");
    let inches = DVec3::new(30.0, 50.0, 20.0) * 25.4;
    assert!(near(size(&harness), inches), "{}", size(&harness));
    choose(&mut harness, "Unit", "As the file says");
    assert_eq!(plan_of(&harness).mesh.place.unit, None);
    // The part is seen whole again.
    let view = &harness.state().view;
    let top = DVec3::new(0.0, 0.0, 20.0);
    let at = view.camera.project(view.stage, top).expect("in sight");
    assert!(view.stage.contains(at));
}
