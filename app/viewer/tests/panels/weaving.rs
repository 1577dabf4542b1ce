//! The person's own toolpath in the window: woven, checked, followed.

use std::path::{Path, PathBuf};

use egui::{Key, Modifiers, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::DVec3;
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::model::strands::StrandUpdate;
use tintfall_viewer::session::Session;

use crate::bench::{block_folder, click, drag, line, rect_of, settle, shown, toolpath_of};

const BLOCK_MM: DVec3 = DVec3::new(20.0, 14.0, 5.0);

/// A folder with a block, its plan (a fade) and its toolpath, all of one name.
fn folder() -> (TempDir, PathBuf) {
    block_folder(BLOCK_MM, |_| ())
}

fn opened(plan: &Path) -> Session {
    let mut session = Session::new(None);
    session.open(plan);
    session.finish_work();
    session
}

fn press(harness: &mut Harness<'_, Session>, modifiers: Modifiers, key: Key) {
    harness.key_press_modifiers(modifiers, key);
    settle(harness);
}

fn step_of(harness: &Harness<'_, Session>) -> (usize, usize) {
    let follow = harness.state().toolpath.follow.as_ref().expect("followed");
    (follow.layer, follow.step)
}

/// Weaves; so low a fade comes late as a whole, which is told first.
fn weave(harness: &mut Harness<'_, Session>) {
    if harness.query_by_label("Weave it").is_some() {
        click(harness, "Weave it");
    }
    if harness.query_by_label("Weave anyway").is_some() {
        click(harness, "Weave anyway");
    }
}

#[test]
fn a_toolpath_is_woven_checked_and_followed() {
    let (folder, plan) = folder();
    let mut harness = shown(opened(&plan));
    click(&mut harness, "Weave");
    assert_eq!(harness.state().drawer, Drawer::Weave);
    weave(&mut harness);
    let woven = folder.path().join("block-woven.gcode");
    assert!(woven.is_file(), "{:?}", harness.state().toolpath.trouble);
    harness.get_by_label_contains("changes of blend added");
    harness.get_by_label_contains("fits the outline within");

    click(&mut harness, "Check it");
    let found = harness.state().toolpath.read_back.clone().expect("found");
    assert_eq!(found.fault, None);
    assert!(found.same.is_some_and(|same| same.holds()));
    harness.get_by_label_contains("after the melt chamber: mean");
    click(&mut harness, "Worst place 1");
    let miss = found.worst[0].point_mm;
    assert!((harness.state().view.cursor_mm - miss.z).abs() < 1e-9);
    assert_eq!(harness.state().toolpath.looked_at, Some(miss));

    click(&mut harness, "Follow it");
    let text = std::fs::read_to_string(&woven).expect("text");
    let lines: Vec<&str> = text.lines().collect();
    let (layer, last) = step_of(&harness);
    let follow = harness.state().toolpath.follow.as_ref().expect("followed");
    assert_eq!((follow.layers(), follow.file()), (25, woven.as_path()));
    let moves = &follow.now().expect("read").moves;
    assert_eq!(last + 1, moves.moves.len(), "shown whole at first");
    let shown = moves.text(&moves.moves[last]).to_owned();
    assert_eq!(shown, lines[moves.moves[last].line as usize - 1]);
    harness.get_by_label(&shown);

    press(&mut harness, Modifiers::ALT, Key::ArrowLeft);
    assert_eq!(step_of(&harness), (layer, last - 1));
    press(&mut harness, Modifiers::NONE, Key::Home);
    assert_eq!(step_of(&harness), (layer, 0));
    press(&mut harness, Modifiers::ALT, Key::ArrowLeft);
    let (below, step) = step_of(&harness);
    assert_eq!(below, layer - 1);
    assert!(step > 0, "at the end of the layer below");
    press(&mut harness, Modifiers::ALT, Key::ArrowRight);
    assert_eq!(step_of(&harness), (layer, 0));
    press(&mut harness, Modifiers::NONE, Key::ArrowDown);
    assert_eq!(step_of(&harness).0, layer - 1);
    press(&mut harness, Modifiers::NONE, Key::PageDown);
    press(&mut harness, Modifiers::NONE, Key::PageDown);
    press(&mut harness, Modifiers::NONE, Key::PageDown);
    assert_eq!(step_of(&harness).0, 0);

    let strip = rect_of(&harness, "Moves of the layer");
    let at = |share: f32| pos2(strip.left() + strip.width() * share, strip.center().y);
    drag(&mut harness, &line(at(0.9), at(0.5)));
    let follow = harness.state().toolpath.follow.as_ref().expect("followed");
    assert!((follow.share() - 0.5).abs() < 0.1, "{}", follow.share());

    let mut drawn = 0;
    while let Some(update) = harness.state_mut().next_strand_update() {
        if let StrandUpdate::Layer(Some(mesh)) = update {
            assert!(!mesh.indices.is_empty());
            let corners = mesh.positions.len() as u32;
            assert!(mesh.indices.iter().all(|i| *i < corners));
            // The toolpath's part stands elsewhere on the plate; on the stage it is the mesh.
            let far = mesh
                .positions
                .iter()
                .any(|p| p[0].abs() > 10.5 || p[1].abs() > 7.5);
            assert!(!far, "outside the part");
            drawn += 1;
        }
    }
    assert!(drawn >= 3, "{drawn}");
    assert!(harness.state().section_plane().is_some());
    click(&mut harness, "Stop following");
    assert!(harness.state().toolpath.follow.is_none());
    assert_eq!(harness.state().section_plane(), None);
}

#[test]
fn a_toolpath_of_another_part_is_refused_with_the_reason() {
    let (folder, plan) = folder();
    let sliced = folder.path().join("block.gcode");
    toolpath_of(DVec3::new(26.0, 9.0, 5.0), &sliced);
    let mut session = opened(&plan);
    session.drawer = Drawer::Weave;
    session.weave();
    session.finish_work();
    let mut harness = shown(session);
    settle(&mut harness);
    harness.get_by_label_contains("block.gcode");
    let why = harness.state().toolpath.trouble.clone().expect("a reason");
    assert!(why.contains("lice the"), "{why}");
    harness.get_by_label(&why);
    assert!(!folder.path().join("block-woven.gcode").exists());
}

#[test]
fn the_plan_is_woven_as_it_stands_and_the_window_says_so() {
    let (folder, plan) = folder();
    let mut session = opened(&plan);
    session.add_band(1.0, 3.0);
    session.drawer = Drawer::Weave;
    let mut harness = shown(session);
    settle(&mut harness);
    harness.get_by_label_contains("unsaved changes. They are woven");
    weave(&mut harness);
    let done = harness.state().toolpath.done.clone().expect("woven");
    assert!(done.unsaved);
    harness.get_by_label_contains("It has the plan's unsaved changes");
    let text = std::fs::read_to_string(folder.path().join("block-woven.gcode")).expect("text");
    let now = harness.state().doc.as_ref().expect("a part").plan();
    assert!(text.contains(&now.sha256().expect("a hash")));
    // Following goes on with the file when it is woven anew.
    click(&mut harness, "Follow it");
    assert!(harness.state().toolpath.follow.is_some());
    harness.state_mut().undo();
    settle(&mut harness);
    harness.get_by_label_contains("has changed since");
    weave(&mut harness);
    let follow = harness.state().toolpath.follow.as_ref();
    assert!(follow.is_some_and(|f| f.now().is_some()));
    assert!(
        !harness
            .state()
            .toolpath
            .done
            .as_ref()
            .expect("woven")
            .unsaved
    );
}

#[test]
fn a_weave_that_is_stopped_leaves_nothing_and_a_dropped_file_is_known_by_its_head() {
    let (folder, plan) = folder();
    let mut session = Session::new(None);
    let sliced = folder.path().join("block.gcode");
    session.take_toolpath(&sliced);
    assert!(session.notices.shown()[0].text.contains("Open its part"));

    let mut session = opened(&plan);
    session.weave();
    session.apply(Command::CancelToolpathWork);
    session.finish_work();
    let woven = folder.path().join("block-woven.gcode");
    assert!(!woven.exists() && session.toolpath.done.is_none());

    session.weave();
    session.finish_work();
    let other = folder.path().join("other.gcode");
    std::fs::rename(&woven, &other).expect("renamed");
    session.take_toolpath(&other);
    assert_eq!(session.drawer, Drawer::Weave);
    let draft = &session.toolpath.draft;
    assert_eq!(draft.woven_file(), Some(other.clone()));
    assert_eq!(draft.sliced_file(), Some(sliced));
    // It stands where it was found, though this window did not weave it.
    *session.toolpath.done = None;
    session.toggle_follow();
    session.finish_work();
    assert!(
        session.toolpath.follow.is_some(),
        "{:?}",
        session.toolpath.trouble
    );
    // A file that changes under the window is not read on.
    std::fs::write(&other, "G1 X1").expect("written");
    session.set_cursor_mm(4.9);
    session.finish_work();
    let said = session.notices.shown();
    assert!(
        said.iter().any(|n| n.text.contains("was changed")),
        "{said:?}"
    );

    // The toolpath itself is never written over.
    session.toolpath.draft.woven = session.toolpath.draft.sliced.clone();
    session.weave();
    session.finish_work();
    let why = session.toolpath.trouble.as_deref().unwrap_or_default();
    assert!(why.contains("keep the toolpath"), "{why}");
}
