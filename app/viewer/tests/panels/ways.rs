//! What weaving would lose, named before it is done; and ways to weave beside each other.

use std::path::PathBuf;
use std::sync::Arc;

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, Mask};
use plan::{Paint, Region, SharedLayers};
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::model::purge_blocks;
use tintfall_viewer::model::strands::{StrandMesh, StrandUpdate};
use tintfall_viewer::model::tool::Tool;
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

/// The purge block is a body beside the part: seen before anything is woven, in words and on the
/// stage, and nothing can be done to it.
#[test]
fn the_purge_block_is_shown_before_weaving_and_is_no_part() {
    let (_folder, plan) = folder();
    let mut harness = opened(&plan);
    set_purge(&mut harness, Purge::Block);
    assert!(harness.state().purge_blocks().is_none(), "not tried yet");
    click(&mut harness, "Try these options");
    harness.get_by_label_contains("The purge block stands at x");
    let standing = harness.state().purge_blocks().expect("a block").clone();
    let found = harness.state().foreseen_now().expect("tried").purged_g;
    let mass_g: f64 = standing
        .blocks
        .iter()
        .filter_map(|block| block.mass_g)
        .sum();
    assert!(
        (mass_g - found).abs() < 1e-9 && mass_g > 0.0,
        "{mass_g} {found}"
    );

    // It stands on the bed beside the part, and both are in sight.
    let (lo, hi) = purge_blocks::bounds_mm(&standing);
    let beside = (lo.x - BLOCK_MM.x / 2.0).max(-BLOCK_MM.x / 2.0 - hi.x);
    let behind = (lo.y - BLOCK_MM.y / 2.0).max(-BLOCK_MM.y / 2.0 - hi.y);
    assert!(beside.max(behind) >= 4.9, "{lo} {hi}");
    assert!(lo.z.abs() < 1e-9 && hi.z <= BLOCK_MM.z + 1e-9);
    let view = &harness.state().view;
    for corner in [
        lo,
        hi,
        DVec3::new(lo.x, hi.y, lo.z),
        DVec3::new(hi.x, lo.y, hi.z),
    ] {
        let at = view
            .camera
            .project(view.stage, corner)
            .expect("before the eye");
        assert!(view.stage.contains(at), "{corner}");
    }
    let mesh = drawn(&mut harness).expect("sent").expect("a body");
    assert!(!mesh.indices.is_empty());
    assert!(mesh.colours.iter().all(|[r, g, b, _]| r == g && g == b));

    // A brush on it paints nothing.
    let before = harness.state().doc.as_ref().expect("a part").revision();
    harness.state_mut().view.camera.pitch_deg = 90.0;
    settle(&mut harness);
    let session = harness.state_mut();
    let view = &session.view;
    let top_mm = purge_blocks::top_mm(&standing, &standing.blocks[0], f64::INFINITY);
    let at = view.camera.project(view.stage, top_mm).expect("in sight");
    assert!(session.pick(at).is_none(), "the pointer goes past it");
    session.tools.take(Tool::Brush);
    session.apply(Command::BeginStroke(at));
    session.apply(Command::EndStroke);
    settle(&mut harness);
    let now = harness.state().doc.as_ref().expect("a part").revision();
    assert_eq!(before, now, "nothing was painted");

    // Another page shows the part alone.
    click(&mut harness, "Spools");
    assert!(harness.state().purge_blocks().is_none());
    assert!(drawn(&mut harness).expect("sent").is_none(), "taken away");
    click(&mut harness, "Weave");
    assert!(harness.state().purge_blocks().is_some());
    // So do options that lay none, and the page says so.
    set_purge(&mut harness, Purge::Inside);
    assert!(harness.state().purge_blocks().is_none());
}

/// What was sent to the stage of the blocks last.
fn drawn(harness: &mut Harness<'_, Session>) -> Option<Option<Arc<StrandMesh>>> {
    let mut last = None;
    while let Some(update) = harness.state_mut().next_strand_update() {
        if let StrandUpdate::Blocks(mesh) = update {
            last = Some(mesh);
        }
    }
    last
}

#[test]
fn a_block_is_seen_in_the_way_that_is_taken_and_while_its_file_is_followed() {
    let (_folder, plan) = folder();
    let mut harness = opened(&plan);
    set_purge(&mut harness, Purge::Block);
    click(&mut harness, "Compare ways");
    let compared = harness.state().purge_blocks().expect("compared").clone();
    assert!(compared.blocks[0].mass_g.is_some());
    click(&mut harness, "Weave it");
    let done = harness.state().toolpath.done.clone().expect("woven");
    let woven = done.blocks.clone().expect("a block");
    assert_eq!(woven, compared, "what was shown is what was woven");
    click(&mut harness, "Follow it");
    let followed = harness.state().purge_blocks().expect("followed").clone();
    assert_eq!(followed, woven);
    // It grows with the layers that are shown.
    let height = |harness: &mut Harness<'_, Session>, cursor_mm: f64| {
        harness.state_mut().set_cursor_mm(cursor_mm);
        settle(harness);
        let mesh = drawn(harness).flatten().expect("a body");
        let z = mesh.positions.iter().map(|p| p[2]);
        z.fold(f32::NEG_INFINITY, f32::max)
    };
    let (low, high) = (height(&mut harness, 0.9), height(&mut harness, 1.5));
    assert!(low < high && low > 0.3 && high < 1.5, "{low} {high}");
    // Of a file that was not woven here, its head says what room the block has.
    harness.state_mut().toggle_follow();
    *harness.state_mut().toolpath.done = None;
    *harness.state_mut().toolpath.compared = None;
    *harness.state_mut().toolpath.foreseen = None;
    settle(&mut harness);
    assert!(harness.state().purge_blocks().is_none());
    harness.state_mut().toggle_follow();
    settle(&mut harness);
    let room = harness.state().purge_blocks().expect("declared").clone();
    assert!(room.blocks[0].mass_g.is_none());
    assert!(woven.fits(&room), "{woven:?} {room:?}");
    harness.get_by_label_contains("The followed file keeps room for its purge block");
}
