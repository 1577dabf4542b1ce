//! Reading a photograph of a test print: by itself, in a frame that is dragged, and into a table.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use blend::ciede2000;
use calibrate::{Options, Reading, Swatch, Table, read_spools};
use egui::accesskit::Role;
use egui::{Key, Modifiers, Pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use photograph::laid::{CORNERS, Frame};
use tempfile::TempDir;
use tintfall_viewer::commands::{Browse, Command};
use tintfall_viewer::model::page::Page;
use tintfall_viewer::model::photo_form::{PhotoFile, PhotoForm};
use tintfall_viewer::session::{Picked, Session};

use crate::bench::*;

pub(crate) fn shipped(file: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-models/calibration");
    folder.join(file)
}

/// A folder with the demonstration's test print, its plan's file, and the page filled in.
fn print() -> (TempDir, PathBuf, PhotoForm) {
    let folder = tempfile::tempdir().expect("a folder");
    let spools = read_spools(&shipped("spools.ron")).expect("spools");
    let options = Options::for_spools(spools.list.len());
    let machine = plan::Machine::default();
    let swatch = Swatch::new(spools, &machine, &options).expect("a bar");
    swatch.write(folder.path()).expect("written");
    let plan = Swatch::plan_file(folder.path(), &swatch.bars()[0].0);
    let form = PhotoForm {
        photo: shipped("photograph.jpg").display().to_string(),
        plan: plan.display().to_string(),
        references: ["0.9", "0.18", "0.04"].map(str::to_owned),
        ..PhotoForm::default()
    };
    (folder, plan, form)
}

/// Types a form's fields; the table's stays as it is proposed.
fn set(harness: &mut Harness<'_, Session>, form: &PhotoForm) {
    let form = PhotoForm {
        table: harness.state().photographs.form.table.clone(),
        ..form.clone()
    };
    let form = Command::SetPhotoForm(Box::new(form));
    harness.state_mut().apply(form);
    settle(harness);
}

fn opened<'a>() -> Harness<'a, Session> {
    let mut harness = bench(None);
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::R);
    settle(&mut harness);
    assert_eq!(harness.state().page, Some(Page::Photograph));
    harness
}

fn form(harness: &Harness<'_, Session>) -> PhotoForm {
    harness.state().photographs.form.clone()
}

fn refusal(harness: &Harness<'_, Session>) -> String {
    let seen = harness.state().photographs.shown().expect("a photograph");
    seen.read.as_ref().expect_err("refused").clone()
}

fn handle(corner: usize) -> String {
    format!("Frame: {}", CORNERS[corner])
}

fn drag_corner(harness: &mut Harness<'_, Session>, corner: usize, by: egui::Vec2) {
    let from: Pos2 = rect_of(harness, &handle(corner)).center();
    drag(harness, &line(from, from + by));
}

#[test]
fn a_photograph_is_read_by_itself_and_written_when_asked() {
    let (folder, plan, filled) = print();
    let mut harness = opened();
    // Nothing to show yet, and what is missing is said.
    click(&mut harness, "Read the photograph");
    let trouble = |h: &Harness<'_, Session>| h.state().photographs.trouble.clone();
    assert_eq!(trouble(&harness).as_deref(), Some("Choose the photograph."));
    let no_grey = PhotoForm {
        references: Default::default(),
        ..filled.clone()
    };
    set(&mut harness, &no_grey);
    click(&mut harness, "Read the photograph");
    assert!(trouble(&harness).expect("refused").contains("grey card"));

    set(&mut harness, &filled);
    click(&mut harness, "Read the photograph");
    assert_eq!(trouble(&harness), None);
    harness.get_by_label("The photograph with what was found on it");
    harness.get_by_label("Step 1");
    // Nothing is written before it is asked for.
    let out = plan.with_file_name("readings.csv");
    assert_eq!(PathBuf::from(&form(&harness).table), out);
    assert!(!out.exists());
    click(&mut harness, "Write the table");
    harness.get_by_label("Replace the table");
    let table = |file: &Path| {
        Table::read(&std::fs::read_to_string(file).expect("a file")).expect("a table")
    };
    let (read, truth) = (table(&out), table(&shipped("measured.csv")));
    assert_eq!(read.rows.len(), truth.rows.len());
    for (row, truth) in read.rows.iter().zip(&truth.rows) {
        let (Some(Reading::Lab(seen)), Some(Reading::Lab(there))) = (&row.reading, &truth.reading)
        else {
            panic!("step {} was not read", row.step);
        };
        assert!(ciede2000(*seen, *there) < 1.5, "step {}", row.step);
    }
    // From there the spools are fitted.
    click(&mut harness, "Fit the spools to it");
    assert_eq!(harness.state().page, Some(Page::Steps));
    drop(folder);
}

#[test]
fn the_frame_is_dragged_and_what_it_says_is_checked() {
    let (_folder, _, filled) = print();
    let mut harness = opened();
    set(&mut harness, &filled);
    click(&mut harness, "Read the photograph");
    let found = harness.state().photographs.frame().expect("a frame");
    let first =
        |h: &Harness<'_, Session>| h.state().photographs.readings().expect("read").listed[0].1;
    let alone = first(&harness);

    // A corner a little off is put right by what is seen; what was read before is out of date.
    drag_corner(&mut harness, 1, vec2(4.0, -3.0));
    assert!(form(&harness).frame.is_some());
    assert!(harness.state().photographs.readings().is_none());
    assert!(!harness.state().can(&Command::WritePhotoTable));
    harness.get_by_label_contains("read it again");
    click(&mut harness, "Read in this frame");
    assert!(ciede2000(first(&harness), alone) < 0.3);
    let refined = harness.state().photographs.frame().expect("a frame");
    for (a, b) in refined.0.iter().zip(found.0) {
        assert!((a.0 - b.0).hypot(a.1 - b.1) < 4.0, "{refined} {found}");
    }

    // All four far off are refused, and the frame stays where it was put.
    for corner in 0..4 {
        drag_corner(&mut harness, corner, vec2(60.0, 0.0));
    }
    let far = form(&harness).frame.expect("a frame");
    click(&mut harness, "Read in this frame");
    assert!(!refusal(&harness).is_empty());
    assert_eq!(harness.state().photographs.frame(), Some(far));
    harness.get_by_label_contains("Refused");
    harness.get_by_label_contains("drag the frame's corners");
    assert!(harness.query_by_label("Write the table").is_none());

    // Without the frame it is found again.
    click(&mut harness, "Find it without the frame");
    assert_eq!(form(&harness).frame, None);
    assert!(ciede2000(first(&harness), alone) < 1e-9);
}

#[test]
fn a_handle_follows_the_arrow_keys_and_nothing_else_does() {
    let (_folder, _, filled) = print();
    let mut harness = opened();
    set(&mut harness, &filled);
    click(&mut harness, "Read the photograph");
    let before = harness.state().photographs.frame().expect("a frame");
    let camera = harness.state().view.camera;
    harness.get_by_label(&handle(2)).focus();
    harness.run_ok();
    harness.key_press(Key::ArrowRight);
    settle(&mut harness);
    harness.key_press_modifiers(Modifiers::SHIFT, Key::ArrowDown);
    settle(&mut harness);
    assert!(harness.get_by_label(&handle(2)).is_focused());
    let Frame(after) = form(&harness).frame.expect("a frame");
    let (x, y) = (after[2].0 - before.0[2].0, after[2].1 - before.0[2].1);
    assert!(x > 0.5 && (y / x - 10.0).abs() < 0.01, "{x} {y}");
    assert_eq!(after[0], before.0[0]);
    assert_eq!(harness.state().view.camera, camera);
}

#[test]
fn a_picture_without_a_card_is_shown_with_a_frame_to_drag() {
    let (folder, _, filled) = print();
    let blank = folder.path().join("blank.png");
    let image = render::Image::from_rgba(300, 400, [200, 190, 180, 255].repeat(300 * 400));
    let mut bytes = Vec::new();
    image
        .expect("a picture")
        .write_png(&mut bytes)
        .expect("png");
    std::fs::write(&blank, bytes).expect("written");
    let mut harness = opened();
    set(&mut harness, &filled);
    let session = harness.state_mut();
    session.take_picked(Browse::Photo(PhotoFile::Photo), Picked::File(blank.clone()));
    settle(&mut harness);
    assert_eq!(form(&harness).photo, blank.display().to_string());
    click(&mut harness, "Read the photograph");
    assert!(refusal(&harness).contains("no photograph card"));
    for corner in 0..4 {
        harness.get_by_label(&handle(corner));
    }
    // Another file is none of that photograph.
    let text = PhotoForm {
        photo: filled.plan.clone(),
        ..form(&harness)
    };
    set(&mut harness, &text);
    click(&mut harness, "Read the photograph");
    let trouble = harness.state().photographs.trouble.clone().expect("why");
    assert!(trouble.contains("swatch.plan.ron"), "{trouble}");
    assert!(harness.query_by_label(&handle(0)).is_none());
}

#[test]
fn reading_can_be_cancelled_and_the_page_closed_meanwhile() {
    let (_folder, _, filled) = print();
    let mut harness = opened();
    set(&mut harness, &filled);
    harness.state_mut().apply(Command::ReadPhoto);
    harness.step();
    assert!(harness.state().photographs.told().is_some());
    assert!(!harness.state().can(&Command::ReadPhoto));
    harness.state_mut().apply(Command::CancelPhoto);
    settle(&mut harness);
    let trouble = harness.state().photographs.trouble.clone().expect("why");
    assert!(trouble.contains("Cancelled"), "{trouble}");
    harness.state_mut().apply(Command::ReadPhoto);
    harness.key_press(Key::Escape);
    settle(&mut harness);
    assert_eq!(harness.state().page, None);
    assert!(harness.state().photographs.readings().is_some());
}

#[derive(Debug)]
pub(crate) struct Dropped(pub(crate) PathBuf);

impl egui::DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }

    fn bytes(&self) -> Result<Vec<u8>, String> {
        std::fs::read(&self.0).map_err(|error| error.to_string())
    }
}

#[test]
fn the_page_opens_from_the_job_with_the_plan_that_is_written_there() {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::Job);
    settle(&mut harness);
    click(&mut harness, "Photograph of a test print");
    click(&mut harness, "Read a photograph…");
    assert_eq!(harness.state().page, Some(Page::Photograph));
    let plan = PathBuf::from(form(&harness).plan);
    assert!(plan.ends_with("swatch/swatch.plan.ron"), "{plan:?}");
    let field = harness.get_by_role_and_label(Role::TextInput, "Photograph");
    assert!(field.is_focused());
    // A picture that is dropped is the photograph, and none for the part.
    let file = shipped("photograph.jpg");
    harness.input_mut().dropped_files = vec![Arc::new(Dropped(file.clone()))];
    settle(&mut harness);
    assert_eq!(form(&harness).photo, file.display().to_string());
    assert_eq!(plan_of(&harness).regions.len(), 1);
}
