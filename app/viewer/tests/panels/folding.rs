//! The panels at the sides, folded and unfolded.

use egui::{Key, Modifiers, Rect, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use tintfall_viewer::commands::{Command, Cutting};
use tintfall_viewer::files::Home;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::model::section::Across;
use tintfall_viewer::session::Session;

use crate::bench::*;

fn width(harness: &Harness<'_, Session>) -> f32 {
    harness.state().view.stage.width()
}

#[test]
fn panels_fold_by_pointer_and_keys_and_stay_so() {
    let home = tempfile::tempdir().expect("a folder");
    let mut harness = bench(Some(home.path()));
    let before = width(&harness);
    click(&mut harness, "Fold or unfold the drawer");
    assert!(harness.query_by_label("Spools").is_none());
    let wider = width(&harness);
    assert!(wider > before + 290.0, "{before} {wider}");
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Num2);
    settle(&mut harness);
    assert!(harness.query_by_label("Height ribbon").is_none());
    assert!(width(&harness) > wider + 250.0);
    // Another window begins as this one was left.
    let mut session = Session::new(Some(Home::at(home.path())));
    session.take_part(plan(), Default::default(), block());
    session.finish_work();
    let mut again = shown(session);
    assert!(again.query_by_label("Height ribbon").is_none());
    click(&mut again, "Fold or unfold the ribbon");
    assert!(again.query_by_label("Height ribbon").is_some());
    again.key_press_modifiers(Modifiers::COMMAND, Key::Num1);
    settle(&mut again);
    assert!(again.query_by_label("Spools").is_some());
    assert!((width(&again) - before).abs() < 1.0);
}

#[test]
fn what_is_shown_in_the_drawer_unfolds_it() {
    let mut harness = bench(None);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Num1);
    settle(&mut harness);
    assert!(harness.state().settings.drawer_folded);
    let both = Modifiers::COMMAND | Modifiers::SHIFT;
    harness.key_press_modifiers(both, Key::J);
    settle(&mut harness);
    assert_eq!(harness.state().drawer, Drawer::Job);
    assert!(!harness.state().settings.drawer_folded);
}

#[test]
fn in_a_small_window_everything_stays_within_reach() {
    let mut harness = bench(None);
    let room = Rect::from_min_size(egui::Pos2::ZERO, vec2(1000.0, 700.0));
    harness.set_size(room.size());
    harness
        .state_mut()
        .apply(Command::Section(Cutting::Across(Across::Typed)));
    settle(&mut harness);
    let header = [
        "Open",
        "Save",
        "Undo",
        "Redo",
        "Level",
        "Fit",
        "Look inside",
        "Parallel or perspective",
        "Picture of the view",
        "View from",
        "Keys",
        "Help and cautions",
        "Prepare…",
        "Fold or unfold the ribbon",
        "Fold or unfold the drawer",
    ];
    let strip = [
        "Place of the cut",
        "Place of the cut, mm",
        "Other side of the cut",
        "Close the cut",
        "Direction of the cut, z",
    ];
    for folded in [false, true] {
        if folded {
            harness.key_press_modifiers(Modifiers::COMMAND, Key::Num1);
            harness.key_press_modifiers(Modifiers::COMMAND, Key::Num2);
            settle(&mut harness);
        }
        let at = |name: &str| (name.to_owned(), rect_of(&harness, name));
        let mut placed: Vec<(String, Rect)> = header.into_iter().map(at).collect();
        placed.extend(strip.into_iter().map(at));
        for (i, (name, rect)) in placed.iter().enumerate() {
            assert!(room.contains_rect(*rect), "{name}: {rect:?}");
            for (other, beside) in &placed[i + 1..] {
                let shared = rect.shrink(1.0).intersects(beside.shrink(1.0));
                assert!(!shared, "{name} and {other}: {rect:?} {beside:?}");
            }
        }
        assert!(harness.state().view.stage.height() > 380.0);
    }
}
