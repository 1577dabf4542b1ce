//! Files that another program changes while they are open.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, LayerPlan, solids};
use plan::{Edit, FirstPlan, Machine, MeshSource, Plan};
use tempfile::TempDir;
use tintfall_viewer::files::Home;
use tintfall_viewer::jobs::watching::Which;
use tintfall_viewer::model::errand::Errand;
use tintfall_viewer::session::Session;

use crate::bench::{block_folder, click, plan_of, settle, shown};

fn write_mesh(file: &Path, height_mm: f64) {
    let mesh = solids::cuboid(DVec3::new(12.0, 10.0, height_mm)).expect("a block");
    let stl = geometry::read::mesh_to_stl(&mesh);
    std::fs::write(file, stl).expect("written");
}

fn plan() -> Plan {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Mooring block".to_owned(),
        height_mm: 6.0,
    });
    plan.layers = LayerPlan::plain(0.3, 0.3);
    plan
}

fn folder(plan: &Plan) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    write_mesh(&folder.path().join("block.stl"), 6.0);
    let file = folder.path().join("block.plan.ron");
    std::fs::write(&file, plan.to_ron().expect("text")).expect("written");
    (folder, file)
}

fn opened<'a>(file: &Path) -> Harness<'a, Session> {
    let mut session = Session::new(None);
    session.open(file);
    session.finish_work();
    let mut harness = shown(session);
    settle(&mut harness);
    harness
}

/// Waits until the window has noticed that a file changed.
fn notice(harness: &mut Harness<'_, Session>, which: Which) {
    let begun = Instant::now();
    loop {
        harness.state_mut().tick(Instant::now());
        if let Some(changed) = harness.state().changed_elsewhere() {
            assert_eq!(changed.of.which, which);
            return settle(harness);
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "not noticed");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn written_by_somebody(file: &Path, title: &str) {
    let mut theirs = plan();
    theirs.title = title.to_owned();
    std::fs::write(file, theirs.to_ron().expect("text")).expect("written");
}

#[test]
fn a_plan_that_is_changed_elsewhere_is_offered() {
    let (_folder, file) = folder(&plan());
    let mut harness = opened(&file);
    assert!(harness.state().changed_elsewhere().is_none());
    written_by_somebody(&file, "Theirs");
    notice(&mut harness, Which::Plan);
    harness.get_by_label_contains("was changed by another window or program");

    // Held against what is in the window.
    click(&mut harness, "Compare");
    let answers = &harness.state().errands.answers;
    assert!(
        matches!(answers.get(&Errand::Compare), Some(Ok(_))),
        "{answers:?}"
    );

    // Mine stays; the same change is not offered again, the next one is.
    click(&mut harness, "Keep mine");
    assert_eq!(plan_of(&harness).title, "Mooring block");
    for _ in 0..80 {
        harness.state_mut().tick(Instant::now());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(harness.state().changed_elsewhere().is_none());
    written_by_somebody(&file, "Theirs again");
    notice(&mut harness, Which::Plan);
    click(&mut harness, "Load theirs");
    assert_eq!(plan_of(&harness).title, "Theirs again");
    assert!(harness.state().changed_elsewhere().is_none());
}

#[test]
fn saving_here_is_no_change_from_elsewhere() {
    let (_folder, file) = folder(&plan());
    let mut harness = opened(&file);
    let session = harness.state_mut();
    assert!(session.edit(Edit::SetTitle("Mine".to_owned())));
    session.save();
    for _ in 0..80 {
        session.tick(Instant::now());
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(session.changed_elsewhere().is_none());
}

#[test]
fn a_mesh_that_is_replaced_goes_under_the_plan_that_is_open() {
    let (folder, file) = folder(&plan());
    let mut harness = opened(&file);
    assert!(harness.state_mut().edit(Edit::SetTitle("Mine".to_owned())));
    write_mesh(&folder.path().join("block.stl"), 9.0);
    notice(&mut harness, Which::Mesh);
    click(&mut harness, "Load the new mesh");
    let doc = harness.state().doc.as_ref().expect("a part");
    assert!((doc.extent_mm().1 - 9.0).abs() < 1e-9);
    assert_eq!(plan_of(&harness).title, "Mine");
    harness.state_mut().undo();
    settle(&mut harness);
    assert_eq!(plan_of(&harness).title, "Mooring block", "undo stays");
    // Saving finds nothing wrong with the mesh.
    harness.state_mut().save();
    let said = harness.state().notices.shown();
    assert!(said.iter().all(|n| !n.text.contains("mesh")), "{said:?}");
    // A mesh that is gone is said so.
    std::fs::remove_file(folder.path().join("block.stl")).expect("removed");
    notice(&mut harness, Which::Mesh);
    harness.get_by_label_contains("is gone");
    click(&mut harness, "Go on without it");
    assert!(harness.state().changed_elsewhere().is_none());
}

#[test]
fn a_machine_file_that_is_fitted_again_is_offered() {
    let mut with_machine = plan();
    with_machine.machine.file = Some("machine.ron".to_owned());
    let (folder, file) = folder(&with_machine);
    let machine = folder.path().join("machine.ron");
    let mut fitted = Machine::default();
    std::fs::write(&machine, fitted.to_ron().expect("text")).expect("written");
    let mut harness = opened(&file);
    fitted.chamber.dead_mm3 += 7.5;
    std::fs::write(&machine, fitted.to_ron().expect("text")).expect("written");
    notice(&mut harness, Which::Machine);
    click(&mut harness, "Load the new machine");
    let now = &plan_of(&harness).machine;
    assert_eq!(now.chamber, fitted.chamber);
    assert_eq!(now.file.as_deref(), Some("machine.ron"));
    harness.state_mut().undo();
    settle(&mut harness);
    assert_ne!(plan_of(&harness).machine.chamber, fitted.chamber);
}

#[test]
fn a_plan_that_is_open_in_another_window_is_told() {
    let home = tempfile::tempdir().expect("a folder");
    let (_folder, file) = block_folder(DVec3::new(20.0, 20.0, 10.0), |_| {});
    let window = || {
        let mut session = Session::new(Some(Home::at(home.path())));
        session.open(&file);
        session.finish_work();
        session
    };
    let told = |session: &Session| {
        let all = session.notices.shown();
        all.iter()
            .any(|n| n.text.contains("open in another window"))
    };
    let mut one = window();
    assert!(!told(&one) && !one.is_open_elsewhere());
    let other = window();
    assert!(told(&other) && other.is_open_elsewhere());
    // The elder notices, too, that there is another, and that it is gone.
    wait_until(&mut one, |elder| elder.is_open_elsewhere());
    assert!(told(&one));
    let mut harness = shown(one);
    harness.get_by_label("also in another window");
    drop(other);
    wait_until(harness.state_mut(), |elder| !elder.is_open_elsewhere());
    settle(&mut harness);
    assert!(harness.query_by_label("also in another window").is_none());
    drop(harness);
    assert!(!told(&window()));
}

fn wait_until(session: &mut Session, seen: impl Fn(&Session) -> bool) {
    let begun = Instant::now();
    while !seen(session) {
        session.tick(Instant::now());
        assert!(begun.elapsed() < Duration::from_secs(60), "not noticed");
        std::thread::sleep(Duration::from_millis(50));
    }
}
