//! What weaving would lose, named before it is done; and ways to weave beside each other.

use std::path::PathBuf;

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, Mask};
use plan::{Paint, Region, SharedLayers};
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;
use weave::arrange::Purge;
use weave::compare::Means;

use crate::bench::{block_folder, click, plan_of, settle, shown};

const BLOCK_MM: DVec3 = DVec3::new(16.0, 12.0, 2.0);

/// A block with a badge on its front that shares all layers with the rest, and its toolpath.
fn folder() -> (TempDir, PathBuf) {
    block_folder(BLOCK_MM, |plan| {
        let [dark, light] =
            [0, 1].map(|i| blend::Shares::pure(i, plan.spools.len()).expect("a spool"));
        plan.regions.truncate(1);
        plan.regions[0].paint = Paint::Fixed(light);
        plan.regions.push(Region {
            name: "Badge".to_owned(),
            mask: Mask::Box {
                min_mm: DVec3::new(-2.0, -6.5, -1.0),
                max_mm: DVec3::new(2.0, -5.0, 9.0),
            },
            brush: Vec::new(),
            paint: Paint::Fixed(dark),
            hidden: false,
            locked: false,
        });
    })
}

fn opened<'a>(plan: &PathBuf) -> Harness<'a, Session> {
    let mut session = Session::new(None);
    session.open(plan);
    session.finish_work();
    session.drawer = Drawer::Weave;
    let mut harness = shown(session);
    settle(&mut harness);
    harness
}

fn set_purge(harness: &mut Harness<'_, Session>, purge: Purge) {
    let mut draft = harness.state().toolpath.draft.clone();
    draft.purge = purge;
    harness
        .state_mut()
        .apply(Command::SetDraft(Box::new(draft)));
    settle(harness);
}

#[test]
fn what_would_be_lost_is_named_before_anything_is_written() {
    let (folder, plan) = folder();
    let woven = folder.path().join("block-woven.gcode");
    let mut harness = opened(&plan);
    harness.get_by_label_contains("nobody knows yet which regions come out");
    set_purge(&mut harness, Purge::Stay);
    click(&mut harness, "Weave it");
    assert!(!woven.exists(), "nothing is written while a region is lost");
    let lost = harness.state().foreseen_lost().expect("tried").to_vec();
    assert_eq!(lost.len(), 1, "{lost:?}");
    assert_eq!(lost[0].name, "Badge");
    harness.get_by_label_contains("Nothing was written: Badge would not come out");

    // Its row selects it, and turns the part to it.
    harness.state_mut().apply(Command::ChooseRegion(0));
    harness.state_mut().view.camera.yaw_deg = 120.0;
    settle(&mut harness);
    harness.get_by_label_contains("Badge, ").click();
    settle(&mut harness);
    let state = harness.state();
    assert_eq!(state.chosen.region, Some(1));
    assert_eq!(state.view.lift_region, Some(1));
    assert!(state.view.camera.yaw_deg.abs() < 1e-9, "from the front");
    // Another page shows the part as usual.
    click(&mut harness, "Spools");
    assert_eq!(harness.state().view.lift_region, None);
    click(&mut harness, "Weave");

    // Another way keeps it; weaving then goes ahead by itself.
    set_purge(&mut harness, Purge::Block);
    assert_eq!(harness.state().foreseen_lost(), None, "not tried yet");
    click(&mut harness, "Weave it");
    assert!(woven.exists(), "{:?}", harness.state().toolpath.trouble);
    assert_eq!(harness.state().foreseen_lost(), Some(&[][..]));
    harness.get_by_label_contains("Every region comes out");

    // Whoever wants it gets it.
    set_purge(&mut harness, Purge::Stay);
    click(&mut harness, "Weave it");
    std::fs::remove_file(&woven).expect("removed");
    click(&mut harness, "Weave anyway");
    assert!(woven.exists());
}

#[test]
fn ways_are_compared_and_a_click_takes_one() {
    let (_folder, plan) = folder();
    let mut harness = opened(&plan);
    click(&mut harness, "Compare ways");
    let found = harness.state().compared_now().expect("compared").clone();
    let ways = &found.comparison.ways;
    harness.get_by_label_contains("1. ");
    harness.get_by_label_contains("(recommended)");
    let stays = |means: &Means| matches!(means, Means::Options(a) if a.purge == Purge::Stay);
    let at = ways.iter().position(|w| stays(&w.means)).expect("a way");
    assert_eq!(ways[at].lost.len(), 1);
    click_row(&mut harness, at, &ways[at].name);
    assert_eq!(harness.state().toolpath.draft.purge, Purge::Stay);
    // What is lost in it is known without another trial.
    let lost = harness.state().foreseen_lost().expect("known");
    assert_eq!(lost, ways[at].lost);
    // A way that changes the plan is one step of undo.
    let at = ways.iter().position(|w| w.means == Means::OneBlend);
    let at = at.expect("a way");
    click_row(&mut harness, at, &ways[at].name);
    let shared = |h: &Harness<'_, Session>| plan_of(h).laying.shared_layers;
    assert_eq!(shared(&harness), SharedLayers::OneBlend);
    assert!(harness.state().compared_now().is_none(), "of another plan");
    harness.state_mut().undo();
    settle(&mut harness);
    assert_eq!(shared(&harness), SharedLayers::Flush);
    assert!(harness.state().compared_now().is_some());
}

fn click_row(harness: &mut Harness<'_, Session>, way: usize, name: &str) {
    let text = format!("{}. {name}", way + 1);
    harness.get_by_label_contains(&text).scroll_to_me();
    harness.run_ok();
    harness.get_by_label_contains(&text).click();
    settle(harness);
}

#[test]
fn a_trial_can_be_cancelled_and_a_signature_can_be_asked_for() {
    let (folder, plan) = folder();
    let mut harness = opened(&plan);
    let session = harness.state_mut();
    session.apply(Command::CompareWays);
    assert!(session.is_on_toolpath());
    session.apply(Command::CancelToolpathWork);
    settle(&mut harness);
    assert!(harness.state().compared_now().is_none());
    click(&mut harness, "Only if the plan is signed as it is");
    click(&mut harness, "Weave it");
    let woven = folder.path().join("block-woven.gcode");
    assert!(!woven.exists());
    assert!(harness.state().toolpath.trouble.is_some());
}
