//! The colours that a model has of its own.

use std::path::{Path, PathBuf};

use egui_kittest::Harness;
use geometry::Mask;
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;

use crate::bench::*;

/// A block of 20 mm in a file of its own, white but for one side of the second spool's blue.
fn coloured() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("buoy.ply");
    let corners = (0..8).map(|i| {
        let at = |bit: usize| if i >> bit & 1 == 1 { 20 } else { 0 };
        format!("{} {} {}\n", at(0), at(1), at(2))
    });
    let sides: [([usize; 4], &str); 6] = [
        ([0, 2, 3, 1], "240 240 240"),
        ([4, 5, 7, 6], "240 240 240"),
        ([0, 1, 5, 4], "30 60 150"),
        ([2, 6, 7, 3], "240 240 240"),
        ([0, 4, 6, 2], "240 240 240"),
        ([1, 3, 7, 5], "240 240 240"),
    ];
    let faces = sides.map(|([a, b, c, d], colour)| format!("4 {a} {b} {c} {d} {colour}\n"));
    let text = format!(
        "ply\nformat ascii 1.0\nelement vertex 8\nproperty float x\nproperty float y\n\
         property float z\nelement face 6\nproperty list uchar int vertex_indices\n\
         property uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n{}{}",
        corners.collect::<String>(),
        faces.concat()
    );
    std::fs::write(&file, text).expect("written");
    (folder, file)
}

fn opened<'a>(file: &Path) -> Harness<'a, Session> {
    let mut session = Session::new(None);
    session.open(file);
    session.finish_work();
    assert!(session.doc.is_some(), "{:?}", session.notices.shown());
    shown(session)
}

#[test]
fn a_models_colours_become_regions_in_one_step_of_undo() {
    let (folder, file) = coloured();
    let mut harness = opened(&file);
    harness.state_mut().add_band(5.0, 9.0);
    harness.state_mut().apply(Command::ShowDrawer(Drawer::Part));
    settle(&mut harness);
    click(&mut harness, "Make regions of them");
    let regions = &plan_of(&harness).regions;
    assert_eq!(regions.len(), 2, "{:?}", harness.state().notices.shown());
    assert_eq!(regions[0].mask, Mask::Whole);
    assert!(matches!(regions[1].mask, Mask::Colour(_)));
    // One side of six, the bed's among them.
    let area_mm2 = harness.state().summary.region(1).expect("figures").area_mm2;
    assert!((area_mm2 - 400.0).abs() < 8.0, "{area_mm2}");
    let rows = harness.state().own_colours.as_ref().expect("rows");
    assert_eq!(rows.blends, 2);

    // One blend for all, from the list.
    harness.state_mut().apply(Command::OwnColours(Some(1)));
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 1);
    click(&mut harness, "Undo");
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions[1].name, "Band");

    click(&mut harness, "Redo");
    let plan_file = folder.path().join("buoy.plan.ron");
    harness
        .state_mut()
        .apply(Command::SaveTo(plan_file.clone(), None));
    let read = project::job::read_plan(&plan_file).expect("the plan opens");
    let Mask::Colour(colour) = &read.regions[1].mask else {
        panic!("a colour");
    };
    assert_eq!(colour.file, "buoy.ply");
}

#[test]
fn a_file_without_colours_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("block.obj");
    let text = "v 0 0 0\nv 9 0 0\nv 0 9 0\nv 0 0 9\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 3 1 4\n";
    std::fs::write(&file, text).expect("written");
    let mut harness = opened(&file);
    harness.state_mut().apply(Command::OwnColours(None));
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 1);
    let said = harness.state().notices.shown();
    assert!(
        said.iter().any(|n| n.text.contains("block.obj")),
        "{said:?}"
    );
}
