//! A window to be driven without a display.

use std::path::{Path, PathBuf};

use egui::{Modifiers, Pos2, Rect, Vec2, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, LayerPlan, Surface, solids};
use plan::{FirstPlan, MeshSource, Plan};
use std::sync::Arc;
use tempfile::TempDir;
use tintfall_viewer::files::Home;
use tintfall_viewer::frame;
use tintfall_viewer::model::document::Origin;
use tintfall_viewer::session::Session;

pub(crate) const SIZE: Vec2 = Vec2::new(1280.0, 800.0);

pub(crate) fn block() -> Surface {
    let mesh = geometry::solids::cuboid(DVec3::new(40.0, 40.0, 60.0)).expect("a block");
    Surface::new(Arc::new(mesh))
}

/// Its layers are thick, so that few have to be worked out.
pub(crate) fn plan() -> Plan {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Mooring block".to_owned(),
        height_mm: 60.0,
    });
    plan.layers.first_layer_mm = 0.5;
    plan.layers.layer_mm = 0.5;
    plan
}

/// The window with the block open and all background work done.
pub(crate) fn bench<'a>(home: Option<&Path>) -> Harness<'a, Session> {
    let mut session = Session::new(home.map(Home::at));
    session.take_part(plan(), Origin::default(), block());
    session.finish_work();
    shown(session)
}

/// A session in its window.
pub(crate) fn shown<'a>(session: Session) -> Harness<'a, Session> {
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .with_max_steps(60)
        .build_ui_state(frame::frame, session);
    harness.run_ok();
    harness
}

pub(crate) fn plan_of<'a>(harness: &'a Harness<'_, Session>) -> &'a Plan {
    harness.state().doc.as_ref().expect("a part").plan()
}

pub(crate) fn settle(harness: &mut Harness<'_, Session>) {
    harness.run_ok();
    harness.state_mut().finish_work();
    harness.run_ok();
}

pub(crate) fn click(harness: &mut Harness<'_, Session>, label: &str) {
    harness.get_by_label(label).click();
    settle(harness);
}

/// A drag of the pointer with the primary button, in small steps.
pub(crate) fn drag(harness: &mut Harness<'_, Session>, path: &[Pos2]) {
    let button = |pos, pressed| egui::Event::PointerButton {
        pos,
        button: egui::PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    harness.event(egui::Event::PointerMoved(path[0]));
    harness.step();
    harness.event(button(path[0], true));
    harness.step();
    for &at in &path[1..] {
        harness.event(egui::Event::PointerMoved(at));
        harness.step();
    }
    harness.event(button(path[path.len() - 1], false));
    settle(harness);
}

pub(crate) fn line(from: Pos2, to: Pos2) -> Vec<Pos2> {
    (0..=10)
        .map(|i| from + (to - from) * (i as f32 / 10.0))
        .collect()
}

pub(crate) fn rect_of(harness: &Harness<'_, Session>, label: &str) -> Rect {
    harness.get_by_label(label).rect()
}

/// Where the ribbon shows a height, in its column of blends.
pub(crate) fn on_blends(harness: &Harness<'_, Session>, height_mm: f64) -> Pos2 {
    let view = &harness.state().view;
    let ribbon = rect_of(harness, "Height ribbon");
    pos2(
        ribbon.left() + 85.0,
        view.camera.ribbon_y(view.stage, height_mm),
    )
}

pub(crate) fn on_stage(harness: &Harness<'_, Session>, point: DVec3) -> Pos2 {
    let view = &harness.state().view;
    view.camera.project(view.stage, point).expect("in sight")
}

/// Slices a block at 0.2 mm.
pub(crate) fn toolpath_of(size_mm: DVec3, file: &Path) {
    let mesh = solids::cuboid(size_mm).expect("a block");
    let mut bytes = Vec::new();
    let layers = LayerPlan::plain(0.2, 0.2);
    demo_models::toolpath(&mesh, &layers, &demo_models::recipe(2), &mut bytes).expect("sliced");
    std::fs::write(file, bytes).expect("written");
}

/// A folder with a block, its first plan as it is edited, and its toolpath, all of one name; and
/// the plan's file.
pub(crate) fn block_folder(size_mm: DVec3, edit: impl FnOnce(&mut Plan)) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let mesh = solids::cuboid(size_mm).expect("a block");
    let stl = geometry::read::mesh_to_stl(&mesh);
    std::fs::write(folder.path().join("block.stl"), stl).expect("written");
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Mooring block".to_owned(),
        height_mm: size_mm.z,
    });
    plan.layers = LayerPlan::plain(0.2, 0.2);
    edit(&mut plan);
    let file = folder.path().join("block.plan.ron");
    std::fs::write(&file, plan.to_ron().expect("text")).expect("written");
    toolpath_of(size_mm, &folder.path().join("block.gcode"));
    (folder, file)
}
