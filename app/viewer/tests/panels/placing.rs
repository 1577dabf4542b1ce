//! Pictures and letters, put on the part by hand.

use std::path::{Path, PathBuf};

use egui::{Key, Modifiers, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::imprint::{Covers, Laid, Picture};
use geometry::{DVec3, Field, Mask};
use plan::{Paint, Plan};
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::page::Page;
use tintfall_viewer::model::placing;
use tintfall_viewer::model::tool::Tool;
use tintfall_viewer::session::Session;

use crate::bench::*;

/// A black disk on white, as a drawing.
const BADGE: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20">
    <rect width="40" height="20" fill="white"/><circle cx="20" cy="10" r="8"/></svg>"#;

fn badge() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("badge.svg");
    std::fs::write(&file, BADGE).expect("written");
    (folder, file)
}

fn front(x: f64, z: f64) -> DVec3 {
    DVec3::new(x, -20.0, z)
}

/// The block from the front, with the badge dropped on its face.
fn with_badge<'a>(file: &Path) -> Harness<'a, Session> {
    let mut harness = bench(None);
    harness.state_mut().view.camera.yaw_deg = 0.0;
    settle(&mut harness);
    let at = on_stage(&harness, front(0.0, 30.0));
    harness.event(egui::Event::PointerMoved(at));
    harness.step();
    let session = harness.state_mut();
    assert!(session.apply(Command::PutPicture(file.to_owned(), Some(at))));
    settle(&mut harness);
    harness
}

fn picture<'a>(harness: &'a Harness<'_, Session>) -> &'a Picture {
    let regions = &plan_of(harness).regions;
    match &regions.last().expect("a region").mask {
        Mask::Picture(picture) => picture,
        other => panic!("no picture: {other:?}"),
    }
}

#[test]
fn a_picture_that_is_dropped_lies_where_it_fell() {
    let (_folder, file) = badge();
    let harness = with_badge(&file);
    assert_eq!(plan_of(&harness).regions.len(), 2);
    assert_eq!(plan_of(&harness).regions[1].name, "badge");
    let Laid::Projected {
        at_mm,
        along,
        depth_mm,
    } = picture(&harness).laid
    else {
        panic!("straight");
    };
    assert!(at_mm.distance(front(0.0, 30.0)) < 0.2, "{at_mm}");
    assert_eq!(along, DVec3::Y);
    // Not through a block that is 40 mm thick.
    assert!(depth_mm > 1.0 && depth_mm < 19.0, "{depth_mm}");
    assert_eq!(harness.state().tools.tool, Tool::Place);
    // What is dark is a disk: 8 of 20 of the height, so π 0.4² of height times width.
    let (width_mm, height_mm) = harness.state().picture_size_mm().expect("a size");
    assert!((width_mm - 2.0 * height_mm).abs() < 0.01);
    let area_mm2 = harness.state().summary.region(1).expect("figures").area_mm2;
    let disk_mm2 = std::f64::consts::PI * (0.4 * height_mm).powi(2);
    assert!(
        (area_mm2 / disk_mm2 - 1.0).abs() < 5e-3,
        "{area_mm2} {disk_mm2}"
    );
}

#[test]
fn it_is_moved_sized_and_turned_by_the_pointer_each_one_step_of_undo() {
    let (_folder, file) = badge();
    let mut harness = with_badge(&file);
    let before = picture(&harness).clone();
    let frame = harness.state().frame_of_picture().expect("a frame");
    drag(
        &mut harness,
        &line(frame.middle, frame.middle + vec2(30.0, -40.0)),
    );
    let moved = picture(&harness).laid.at_mm();
    let mm = harness.state().view.camera.mm_per_point;
    let expected = before.laid.at_mm() + DVec3::new(30.0 * mm, 0.0, 40.0 * mm);
    assert!(moved.distance(expected) < 0.05, "{moved} {expected}");

    let frame = harness.state().frame_of_picture().expect("a frame");
    let corner = frame.corners[2];
    let out = frame.middle + (corner - frame.middle) * 1.5;
    drag(&mut harness, &line(corner, out));
    let wider = picture(&harness).width_mm / before.width_mm;
    assert!((wider - 1.5).abs() < 0.02, "{wider}");

    let frame = harness.state().frame_of_picture().expect("a frame");
    let arm = frame.knob.0 - frame.middle;
    let left = frame.middle + vec2(arm.y, -arm.x);
    drag(&mut harness, &line(frame.knob.0, left));
    assert!((picture(&harness).turn_deg - 90.0).abs() < 0.2);

    for _ in 0..3 {
        click(&mut harness, "Undo");
    }
    assert_eq!(*picture(&harness), before);
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 1);
}

#[test]
fn escape_gives_a_picture_that_is_held_back() {
    let (_folder, file) = badge();
    let mut harness = with_badge(&file);
    let before = picture(&harness).clone();
    let frame = harness.state().frame_of_picture().expect("a frame");
    let session = harness.state_mut();
    session.apply(Command::BeginPlacing(frame.middle));
    session.apply(Command::GoOnPlacing(frame.middle + vec2(20.0, 0.0), false));
    assert_ne!(*picture(&harness), before);
    harness.state_mut().apply(Command::Dismiss);
    settle(&mut harness);
    assert_eq!(*picture(&harness), before);
    assert!(harness.state().tools.hold.is_none());
}

#[test]
fn its_numbers_can_be_typed_and_its_greys_can_be_a_fade() {
    let (_folder, file) = badge();
    let mut harness = with_badge(&file);
    click(&mut harness, "Its light");
    assert_eq!(picture(&harness).covers, Covers::Light);
    click(&mut harness, "Swap left and right");
    assert!(picture(&harness).mirror);
    click(&mut harness, "Round the part");
    assert!(matches!(picture(&harness).laid, Laid::Wrapped { .. }));
    let frame = harness.state().frame_of_picture().expect("a frame");
    click(&mut harness, "On the skin");
    let Laid::OnSkin { at_mm, along, .. } = picture(&harness).laid else {
        panic!("on the skin");
    };
    assert_eq!((at_mm.y, along), (-20.0, Some(DVec3::Y)));
    let on_skin = harness.state().frame_of_picture().expect("a frame");
    assert!(frame.middle.distance(on_skin.middle) < 0.5);
    assert!(frame.corners[2].distance(on_skin.corners[2]) < 5.0);
    click(&mut harness, "Straight, as I look now");
    let Laid::Projected { along, .. } = picture(&harness).laid else {
        panic!("straight");
    };
    assert_eq!(along, DVec3::Y);
    click(&mut harness, "Fade along its greys");
    let greys = |harness: &Harness<'_, Session>| match &plan_of(harness).regions[1].paint {
        Paint::Fade {
            along: Field::Picture(picture),
            fade,
        } => (picture.laid.at_mm(), fade.stops.len()),
        other => panic!("{other:?}"),
    };
    assert_eq!(picture(&harness).covers, Covers::Frame);
    assert_eq!(greys(&harness).1, 2);
    // The fade goes where the picture goes.
    let frame = harness.state().frame_of_picture().expect("a frame");
    drag(
        &mut harness,
        &line(frame.middle, frame.middle + vec2(-25.0, 10.0)),
    );
    assert_eq!(greys(&harness).0, picture(&harness).laid.at_mm());
}

#[test]
fn letters_are_put_on_the_part_and_their_text_is_typed() {
    let mut harness = bench(None);
    harness.state_mut().view.camera.yaw_deg = 0.0;
    settle(&mut harness);
    click(&mut harness, "+ Letters");
    let text = |harness: &Harness<'_, Session>| match &plan_of(harness).regions[1].mask {
        Mask::Text(letters) => letters.text.clone(),
        other => panic!("no letters: {other:?}"),
    };
    assert_eq!(text(&harness), "Text");
    let before = harness.state().picture_size_mm().expect("a size").0;
    harness.get_by_label("Text").focus();
    harness.run_ok();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness.event(egui::Event::Text("QUAY THREE".to_owned()));
    harness.run_ok();
    harness.key_press(Key::Enter);
    settle(&mut harness);
    assert_eq!(text(&harness), "QUAY THREE");
    assert!(harness.state().picture_size_mm().expect("a size").0 > 1.5 * before);
}

#[test]
fn what_is_no_picture_is_refused_in_words_and_nothing_is_added() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("badge.png");
    std::fs::write(&file, b"no picture").expect("written");
    let mut harness = bench(None);
    harness.state_mut().apply(Command::PutPicture(file, None));
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 1);
    let said = harness.state().notices.shown()[0].text.clone();
    assert!(said.contains("badge.png is neither a PNG"), "{said}");
}

#[test]
fn a_saved_plan_has_its_picture_beside_it() {
    let (_folder, file) = badge();
    let mut harness = with_badge(&file);
    let home = tempfile::tempdir().expect("a folder");
    // Another of that name is there already.
    std::fs::write(home.path().join("badge.svg"), "another").expect("written");
    let plan_file = home.path().join("block.plan.ron");
    harness
        .state_mut()
        .apply(Command::SaveTo(plan_file.clone(), None));
    settle(&mut harness);
    assert_eq!(picture(&harness).file, "badge-2.svg");
    let copy = std::fs::read_to_string(home.path().join("badge-2.svg")).expect("a copy");
    assert_eq!(copy, BADGE);
    let read: Plan = project::job::read_plan(&plan_file).expect("the plan opens");
    assert_eq!(read.regions.len(), 2);
}

#[test]
fn the_page_for_a_picture_takes_its_path() {
    let (_folder, file) = badge();
    let mut harness = bench(None);
    click(&mut harness, "+ Picture");
    assert!(matches!(harness.state().page, Some(Page::Picture { .. })));
    harness.state_mut().page = Some(Page::Picture {
        path: file.display().to_string(),
    });
    harness.run_ok();
    click(&mut harness, "Put it on the part");
    assert_eq!(plan_of(&harness).regions.len(), 2);
}

/// Two thirds of the first spool's blue beside the second one's white, clear to the right.
const FLAG: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20">
    <rect width="20" height="20" fill="BLUE"/><rect x="20" width="10" height="20" fill="WHITE"/>
    </svg>"##;

#[test]
fn its_colours_become_regions_that_go_together_in_one_step_of_undo() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("flag.svg");
    let codes: Vec<String> = plan()
        .spools
        .list
        .iter()
        .map(|s| s.xyz().to_srgb().to_string())
        .collect();
    let text = FLAG.replace("BLUE", &codes[0]).replace("WHITE", &codes[1]);
    std::fs::write(&file, text).expect("written");
    let mut harness = with_badge(&file);
    let before = picture(&harness).clone();
    click(&mut harness, "Its colours as blends");
    settle(&mut harness);
    let said = harness.state().notices.shown();
    let regions = &plan_of(&harness).regions;
    assert_eq!(regions.len(), 3, "{said:?}");
    assert!(regions[1].name.starts_with("Flag: "), "{}", regions[1].name);
    assert!(
        said.iter().any(|n| n.text.contains("2 regions now")),
        "{said:?}"
    );
    let of_colour = |region: usize| match &regions[region].mask {
        Mask::Picture(picture) => match &picture.covers {
            Covers::Colour(one) => one.place(),
            other => panic!("no colour: {other:?}"),
        },
        other => panic!("no picture: {other:?}"),
    };
    assert_eq!((of_colour(1), of_colour(2)), (Some(0), Some(1)));
    // A half and a quarter of the picture's rectangle, which is half as high as wide.
    let whole_mm2 = before.width_mm * before.width_mm / 2.0;
    for (region, share) in [(1, 0.5), (2, 0.25)] {
        let area_mm2 = harness
            .state()
            .summary
            .region(region)
            .expect("figures")
            .area_mm2;
        let off = area_mm2 / (share * whole_mm2) - 1.0;
        assert!(off.abs() < 5e-3, "{region}: {area_mm2} of {whole_mm2}");
    }

    // Moving one moves the other.
    let frame = harness.state().frame_of_picture().expect("a frame");
    let to = frame.middle + vec2(-25.0, 10.0);
    drag(&mut harness, &line(frame.middle, to));
    let laid = |harness: &Harness<'_, Session>, region: usize| {
        let mask = &plan_of(harness).regions[region].mask;
        placing::laid(mask).expect("a picture").at_mm()
    };
    assert_ne!(laid(&harness, 1), before.laid.at_mm());
    assert_eq!(laid(&harness, 1), laid(&harness, 2));

    click(&mut harness, "Undo");
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 2);
    assert_eq!(*picture(&harness), before);
    assert_eq!(plan_of(&harness).regions[1].name, "flag");

    // One blend for all of them.
    harness.state_mut().apply(Command::ChooseRegion(1));
    harness.state_mut().apply(Command::FlatColours(Some(1)));
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 2);
    let plan_file = folder.path().join("block.plan.ron");
    harness
        .state_mut()
        .apply(Command::SaveTo(plan_file.clone(), None));
    let read = project::job::read_plan(&plan_file).expect("the plan opens");
    assert!(matches!(
        &read.regions[1].mask,
        Mask::Picture(picture) if matches!(picture.covers, Covers::Colour(_))
    ));
}

#[test]
fn a_picture_that_is_gone_is_told_and_its_region_stays() {
    let (folder, file) = badge();
    let mut harness = with_badge(&file);
    drop(folder);
    click(&mut harness, "Its colours as blends");
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 2);
    let said = harness.state().notices.shown();
    assert!(
        said.iter()
            .any(|n| n.text.contains("badge.svg: can't be read")),
        "{said:?}"
    );
}
