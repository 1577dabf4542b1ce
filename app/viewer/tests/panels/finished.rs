//! Reading the finished part from photographs: the page, the record that is written when asked, and
//! the cause that is looked for in one click.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use egui::{Key, Modifiers, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use project::record::{Opened, PictureOf, file_names};
use tempfile::TempDir;
use tintfall_viewer::commands::{Browse, Command};
use tintfall_viewer::model::errand::{Errand, Line};
use tintfall_viewer::model::finished_form::{FinishedFile, FinishedForm, PhotoRow, Shows};
use tintfall_viewer::model::page::{Drawer, Page};
use tintfall_viewer::session::{Picked, Session};

use crate::bench::*;
use crate::photograph::{Dropped, shipped};

/// The demonstration's lamp shade with its plan in a folder, opened, and the page shown.
fn opened<'a>() -> (TempDir, Harness<'a, Session>) {
    let folder = tempfile::tempdir().expect("a folder");
    let demos = demo_models::all().expect("demonstrations");
    let shade = demos.iter().find(|d| d.name == "lamp-shade").expect("it");
    let mesh = geometry::read::mesh_to_stl(&shade.mesh);
    std::fs::write(folder.path().join("lamp-shade.stl"), mesh).expect("written");
    let plan = folder.path().join("lamp-shade.plan.ron");
    std::fs::write(&plan, shade.plan_ron).expect("written");
    let mut session = Session::new(None);
    session.open(&plan);
    session.finish_work();
    let mut harness = shown(session);
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::F);
    settle(&mut harness);
    assert_eq!(harness.state().page, Some(Page::FinishedPart));
    (folder, harness)
}

fn form(harness: &Harness<'_, Session>) -> FinishedForm {
    harness.state().finished.form.clone()
}

fn set(harness: &mut Harness<'_, Session>, change: impl FnOnce(&mut FinishedForm)) {
    let mut form = form(harness);
    change(&mut form);
    let command = Command::SetFinishedForm(Box::new(form));
    harness.state_mut().apply(command);
    settle(harness);
}

/// Fills in the demonstration's photograph and its references.
fn fill(harness: &mut Harness<'_, Session>) {
    set(harness, |form| {
        form.add(&[shipped("finished.jpg")]);
        form.references = ["0.9", "0.18", "0.04"].map(str::to_owned);
    });
}

fn trouble(harness: &Harness<'_, Session>) -> String {
    let trouble = harness.state().finished.trouble.clone();
    trouble.expect("a reason")
}

fn is_read(harness: &Harness<'_, Session>) -> bool {
    harness.state().finished.read().is_some()
}

fn folder_of_record(harness: &Harness<'_, Session>) -> PathBuf {
    PathBuf::from(form(harness).folder)
}

/// One reading serves all that is done with it: reading takes longest.
#[test]
fn a_finished_part_is_read_shown_written_when_asked_and_traced_in_one_click() {
    let (_folder, mut harness) = opened();
    // What is missing is said.
    click(&mut harness, "Read the photograph");
    assert!(trouble(&harness).contains("Choose a photograph"));
    set(&mut harness, |form| {
        form.add(&[shipped("finished.jpg")]);
    });
    click(&mut harness, "Read the photograph");
    assert!(trouble(&harness).contains("grey card"));
    set(&mut harness, |form| {
        form.references = ["0.9", "0.18", "0.04"].map(str::to_owned);
    });
    click(&mut harness, "Read the photograph");
    assert!(is_read(&harness), "{:?}", harness.state().finished.trouble);
    harness.get_by_label_contains("Seen against as printed: ΔE00");
    harness.get_by_label_contains("the card is printed at 97 %");
    it_is_shown(&mut harness);
    it_is_written_when_asked(&mut harness);
    it_is_traced(&mut harness);
    what_is_changed_is_out_of_date(&mut harness);
}

fn it_is_shown(harness: &mut Harness<'_, Session>) {
    harness.get_by_label("The photograph with what was found on it");
    click(harness, "Views");
    assert!(form(harness).shows.views && is_read(harness));
    let seen = harness.state().finished.read().cloned().expect("read");
    for of in PictureOf::ALL {
        let ([width, height], rgba) = seen.view(0, of).expect("a view");
        assert_eq!(rgba.len(), 4 * width * height);
    }
    // The figure under the pointer is that of the pixel there.
    let view = rect_of(harness, "Part: Seen");
    let at = view.min + view.size() * vec2(0.5, 0.6);
    harness.event(egui::Event::PointerMoved(at));
    harness.run_ok();
    // A hint waits a moment.
    for _ in 0..60 {
        harness.step();
    }
    let [width, height] = seen.view(0, PictureOf::Seen).expect("a view").0;
    let pixel = (width / 2, (height as f32 * 0.6) as usize);
    let off = seen.off_de00(0, pixel).expect("it is read there");
    harness.get_by_label(&format!("Off by ΔE00 {off:.1} here"));
    assert!(seen.off_de00(0, (usize::MAX, 0)).is_none());
    click(harness, "Photograph");
    assert!(!form(harness).shows.views);
}

fn it_is_written_when_asked(harness: &mut Harness<'_, Session>) {
    let folder = folder_of_record(harness);
    assert!(folder.ends_with("lamp-shade-seen"), "{folder:?}");
    assert!(!folder.exists());
    assert!(harness.query_by_label("Prepare with it…").is_none());
    click(harness, "Write the record");
    let record = Opened::read(&folder).expect("a record").record;
    let names: Vec<&str> = record.files.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(names, file_names(1));
    let seen = harness.state().finished.read().cloned().expect("read");
    assert_eq!(seen.record.record, record);
    let colours = std::fs::read_to_string(folder.join("colours.csv")).expect("a table");
    assert_eq!(colours, seen.colours);
    // It is what preparing, the review page and the hand-off take along from now on.
    harness.get_by_label("Replace the record");
    assert_eq!(
        Path::new(&harness.state().errands.forms.record),
        folder.as_path()
    );
    click(harness, "Prepare with it…");
    assert!(matches!(harness.state().page, Some(Page::Prepare { .. })));
    harness.state_mut().apply(Command::FinishedPart);
    settle(harness);
    assert!(is_read(harness));
}

fn it_is_traced(harness: &mut Harness<'_, Session>) {
    harness.get_by_label("Find the cause").click();
    // Its step comes into sight while it runs.
    for _ in 0..40 {
        harness.step();
    }
    settle(harness);
    let session = harness.state();
    assert_eq!((session.page.as_ref(), session.drawer), (None, Drawer::Job));
    let answer = traced(harness);
    assert!(answer[0].contains("118 observations"), "{answer:?}");
    // A drive fed too little up to some height; the photograph was rendered so.
    let likely = answer.iter().filter(|line| line.contains("Try: "));
    assert!(likely.clone().count() < 4);
    let planted = likely.filter(|line| line.contains("a drive feeds too little"));
    assert_eq!(planted.count(), 1, "{answer:?}");
    let line = harness.get_by_label_contains("What was read of finished.jpg");
    assert!(line.rect().bottom() < SIZE.y, "{:?}", line.rect());
    // The table in the record tells the same.
    click(harness, "Type what you saw, or name a file");
    let mut forms = harness.state().errands.forms.clone();
    assert_eq!(forms.photographed, None);
    let table = folder_of_record(harness).join("colours.csv");
    forms.seen_file = table.display().to_string();
    let session = harness.state_mut();
    session.apply(Command::SetForms(Box::new(forms)));
    session.apply(Command::Run(Errand::Trace));
    settle(harness);
    assert_eq!(traced(harness), answer);
}

/// The causes that were found, in words.
fn traced(harness: &Harness<'_, Session>) -> Vec<String> {
    let answers = &harness.state().errands.answers;
    let answer = answers.get(&Errand::Trace).expect("an answer");
    let answer = answer.as_ref().expect("a cause");
    let text = |line: &Line| match line {
        Line::Text(text) | Line::Warning(text) => text.clone(),
        _ => String::new(),
    };
    answer.lines.iter().map(text).collect()
}

fn what_is_changed_is_out_of_date(harness: &mut Harness<'_, Session>) {
    harness.state_mut().apply(Command::FinishedPart);
    settle(harness);
    set(harness, |form| form.every_mm = 2.0);
    assert!(!is_read(harness));
    assert!(!harness.state().can(&Command::WriteRecord));
    assert!(!harness.state().can(&Command::TraceFinished));
    harness.get_by_label_contains("read it again");
    set(harness, |form| form.every_mm = 1.0);
    assert!(is_read(harness));
    // Another photograph is not the one that was read.
    let picture = "The photograph with what was found on it";
    let before = form(harness);
    harness.get_by_label(picture);
    set(harness, |form| form.photos[0].file = "other.jpg".to_owned());
    assert!(harness.query_by_label(picture).is_none());
    set(harness, |form| *form = before);
    assert!(is_read(harness));
    // A change of the plan is told, and the photographs are not read with it before it is saved.
    harness.state_mut().apply(Command::AddBand);
    settle(harness);
    harness.get_by_label_contains("The plan has changed since it was read.");
    assert!(!harness.state().can(&Command::ReadFinished));
    click(harness, "Save the plan");
    assert!(harness.state().can(&Command::ReadFinished));
}

#[test]
fn a_photograph_without_the_part_is_refused_and_reading_can_be_cancelled() {
    let (_folder, mut harness) = opened();
    fill(&mut harness);
    set(&mut harness, |form| {
        form.photos[0].file = shipped("photograph.jpg").display().to_string();
    });
    click(&mut harness, "Read the photograph");
    let why = trouble(&harness);
    assert!(
        why.starts_with("Refused: ") && why.contains("photograph.jpg: the part is not found"),
        "{why}"
    );
    harness.get_by_label_contains("the part is not found");
    assert!(harness.query_by_label("Write the record").is_none());
    set(&mut harness, |form| {
        form.photos[0].file = "no-such.jpg".to_owned();
    });
    click(&mut harness, "Read the photograph");
    assert!(trouble(&harness).contains("no-such.jpg: can't be read"));

    set(&mut harness, |form| {
        form.photos[0].file = shipped("finished.jpg").display().to_string();
    });
    harness.state_mut().apply(Command::ReadFinished);
    harness.step();
    assert!(harness.state().finished.told().is_some());
    assert!(!harness.state().can(&Command::ReadFinished));
    // The header has such a button, too.
    let cancel = harness.get_all_by_label("Cancel").last();
    cancel.expect("a button").click();
    settle(&mut harness);
    assert!(trouble(&harness).contains("Cancelled"));
    assert!(!is_read(&harness));
}

#[test]
fn photographs_are_dropped_chosen_turned_and_taken_off() {
    let (folder, mut harness) = opened();
    let field = harness.get_by_label("Photograph 1");
    assert!(field.is_focused());
    let drop = |file: &str| {
        Arc::new(Dropped(PathBuf::from(file))) as Arc<dyn egui::DroppedFile + Send + Sync>
    };
    harness.input_mut().dropped_files = vec![drop("a.jpg"), drop("b.PNG")];
    settle(&mut harness);
    let row = |file: &str| PhotoRow {
        file: file.to_owned(),
        turn: String::new(),
    };
    assert_eq!(form(&harness).photos, [row("a.jpg"), row("b.PNG")]);
    // It is no picture for the part.
    assert_eq!(plan_of(&harness).regions.len(), 1);
    click(&mut harness, "+ Photograph");
    let of = Browse::Finished(FinishedFile::Photo(2));
    let picked = Picked::File("c.jpg".into());
    harness.state_mut().take_picked(of, picked);
    let of = Browse::Finished(FinishedFile::Folder);
    let elsewhere = folder.path().join("elsewhere");
    harness
        .state_mut()
        .take_picked(of, Picked::File(elsewhere.clone()));
    settle(&mut harness);
    assert_eq!(folder_of_record(&harness), elsewhere);
    click(&mut harness, "Remove photograph 1");
    assert_eq!(form(&harness).photos, [row("b.PNG"), row("c.jpg")]);
    harness.get_by_label("Turn in photograph 2").focus();
    harness.run_ok();
    harness
        .get_by_label("Turn in photograph 2")
        .type_text("left");
    settle(&mut harness);
    set(&mut harness, |form| form.references[0] = "0.9".to_owned());
    click(&mut harness, "Read the photographs");
    assert!(trouble(&harness).contains("Photograph 2, turn left"));
    // Looking at another photograph is no change.
    let before = form(&harness);
    set(&mut harness, |form| {
        form.shows = Shows {
            photo: 1,
            views: true,
        };
    });
    assert!(form(&harness).reads_as(&before));
    assert!(trouble(&harness).contains("turn left"));
    // The other page is a click away.
    click(&mut harness, "Test print");
    assert_eq!(harness.state().page, Some(Page::Photograph));
    click(&mut harness, "Finished part");
    assert_eq!(harness.state().page, Some(Page::FinishedPart));
    assert_eq!(form(&harness).photos.len(), 2);
}

#[test]
fn it_is_about_the_saved_plan() {
    let mut harness = bench(None);
    harness.state_mut().apply(Command::Job);
    settle(&mut harness);
    click(&mut harness, "Photograph of the finished part");
    click(&mut harness, "Read a finished part…");
    assert_eq!(harness.state().page, Some(Page::FinishedPart));
    harness.get_by_label_contains("save it first");
    assert!(!harness.state().can(&Command::ReadFinished));
    click(&mut harness, "Save the plan");
    assert!(matches!(harness.state().page, Some(Page::SaveAs { .. })));
}
