//! How blends change along the print, set by a click.

use egui_kittest::kittest::Queryable;
use plan::SharedLayers;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;

use crate::bench::{bench, click, plan_of, settle};

#[test]
fn each_choice_is_one_edit_that_can_be_undone() {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::ShowDrawer(Drawer::Part));
    settle(&mut harness);
    let before = plan_of(&harness).laying;
    assert!(before.lead && !before.purge_jumps && before.merge_de00.is_none());
    click(&mut harness, "Purge where the blend jumps");
    assert!(plan_of(&harness).laying.purge_jumps);
    click(&mut harness, "Send changes ahead");
    assert!(!plan_of(&harness).laying.lead);
    click(&mut harness, "Merge steps of fades");
    assert_eq!(plan_of(&harness).laying.merge_de00, Some(1.0));
    settle(&mut harness);
    harness.get_by_label("Merged steps off by at most");
    click(&mut harness, "one blend for the layer");
    assert_eq!(
        plan_of(&harness).laying.shared_layers,
        SharedLayers::OneBlend
    );
    for _ in 0..4 {
        harness.state_mut().apply(Command::Undo);
    }
    assert_eq!(plan_of(&harness).laying, before);
    // Looking on changes nothing.
    settle(&mut harness);
    assert_eq!(plan_of(&harness).laying, before);
}
