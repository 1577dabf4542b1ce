//! The steps of the whole job, each by its own button.

use std::path::{Path, PathBuf};

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, LayerPlan, solids};
use plan::{FirstPlan, Machine, MeshSource, Plan};
use project::signoff;
use tempfile::TempDir;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::errand::{Answer, Errand, Forms, Line};
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;

use crate::bench::{click, settle, shown};

const BLOCK_MM: DVec3 = DVec3::new(12.0, 10.0, 6.0);

fn folder() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let mesh = solids::cuboid(BLOCK_MM).expect("a block");
    let stl = geometry::read::mesh_to_stl(&mesh);
    std::fs::write(folder.path().join("block.stl"), stl).expect("written");
    let file = folder.path().join("block.plan.ron");
    std::fs::write(&file, plan().to_ron().expect("text")).expect("written");
    (folder, file)
}

fn plan() -> Plan {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Mooring block".to_owned(),
        height_mm: BLOCK_MM.z,
    });
    plan.layers = LayerPlan::plain(0.3, 0.3);
    plan
}

fn opened<'a>(plan: &Path) -> Harness<'a, Session> {
    let mut session = Session::new(None);
    session.open(plan);
    session.finish_work();
    session.drawer = Drawer::Job;
    let mut harness = shown(session);
    settle(&mut harness);
    harness
}

/// Opens a step of the page and presses its button.
fn press(harness: &mut Harness<'_, Session>, step: &str, button: &str) {
    click(harness, step);
    let node = harness.get_by_label(button);
    node.scroll_to_me();
    harness.run_ok();
    click(harness, button);
    // Closed again, so that what comes next is in sight.
    harness.get_by_label(step).scroll_to_me();
    harness.run_ok();
    click(harness, step);
}

fn answer<'a>(harness: &'a Harness<'_, Session>, errand: Errand) -> &'a Answer {
    match harness.state().errands.answers.get(&errand) {
        Some(Ok(answer)) => answer,
        other => panic!("{errand:?}: {other:?}"),
    }
}

fn refusal<'a>(harness: &'a Harness<'_, Session>, errand: Errand) -> &'a str {
    match harness.state().errands.answers.get(&errand) {
        Some(Err(why)) => why,
        other => panic!("{errand:?}: {other:?}"),
    }
}

fn text_of(answer: &Answer) -> String {
    let text = |line: &Line| match line {
        Line::Text(t) | Line::Holds(t) | Line::Warning(t) | Line::Table(t) => t.clone(),
        Line::File(file, about) => format!("{file} {about}"),
    };
    let lines: Vec<String> = answer.lines.iter().map(text).collect();
    lines.join("\n")
}

fn set(harness: &mut Harness<'_, Session>, change: impl FnOnce(&mut Forms)) {
    let mut forms = harness.state().errands.forms.clone();
    change(&mut forms);
    harness
        .state_mut()
        .apply(Command::SetForms(Box::new(forms)));
    settle(harness);
}

#[test]
fn a_plan_is_reviewed_signed_handed_on_and_checked() {
    let (folder, file) = folder();
    let mut harness = opened(&file);
    press(&mut harness, "Review page", "Write the review page");
    let page = std::fs::read_to_string(folder.path().join("block-review.html")).expect("a page");
    assert!(page.contains("Mooring block") && page.contains("</html>"));
    // A folder that is no record of a print is refused in words.
    set(&mut harness, |forms| {
        forms.record = folder.path().display().to_string()
    });
    press(&mut harness, "Review page", "Write the review page");
    assert!(refusal(&harness, Errand::Review).contains("a folder that `tintfall seen` wrote"));
    set(&mut harness, |forms| forms.record.clear());
    press(
        &mut harness,
        "Changes since it was signed",
        "List the changes",
    );
    assert!(text_of(answer(&harness, Errand::Changes)).contains("never signed"));

    // Nobody is no reviewer, and sending back needs a reason.
    press(&mut harness, "Sign, or send back", "Approve and sign");
    assert!(refusal(&harness, Errand::Sign).contains("needs a name"));
    set(&mut harness, |forms| {
        forms.reviewer = "Ada Keeper".to_owned()
    });
    press(&mut harness, "Sign, or send back", "Send it back");
    assert!(refusal(&harness, Errand::SendBack).contains("what has to change"));
    press(&mut harness, "Sign, or send back", "Approve and sign");
    assert!(text_of(answer(&harness, Errand::Sign)).contains("Ada Keeper approved"));
    assert!(harness.state().review.approved);
    let signatures = signoff::signatures(&file).expect("read");
    assert_eq!(signatures.list.len(), 1);

    set(&mut harness, |forms| forms.needs_review = true);
    press(&mut harness, "Write a hand-off", "Write the hand-off");
    let zip = folder.path().join("block-handoff.zip");
    assert!(zip.is_file(), "{:?}", harness.state().errands.answers);
    press(&mut harness, "Check a hand-off", "Check the hand-off");
    let found = text_of(answer(&harness, Errand::CheckHandOff));
    assert!(found.contains("complete and unchanged"), "{found}");
    // A hand-off that somebody has changed is told, file by file.
    let mut bytes = std::fs::read(&zip).expect("read");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x55;
    std::fs::write(&zip, bytes).expect("written");
    press(&mut harness, "Check a hand-off", "Check the hand-off");
    let whole = match harness.state().errands.answers.get(&Errand::CheckHandOff) {
        Some(Ok(answer)) => text_of(answer).contains("complete and unchanged"),
        _ => false,
    };
    assert!(!whole);

    // With a change that no file holds, what is about files waits for saving.
    harness.state_mut().add_band(1.0, 2.0);
    settle(&mut harness);
    for errand in [
        Errand::Sign,
        Errand::HandOff,
        Errand::Changes,
        Errand::Review,
    ] {
        assert!(!harness.state().can(&Command::Run(errand)), "{errand:?}");
    }
    harness.state_mut().save();
    settle(&mut harness);
    press(
        &mut harness,
        "Changes since it was signed",
        "List the changes",
    );
    let found = text_of(answer(&harness, Errand::Changes));
    assert!(found.contains("added"), "{found}");
    assert!(!harness.state().review.approved);
    set(&mut harness, |forms| {
        forms.handoff = folder.path().join("two").display().to_string()
    });
    press(&mut harness, "Write a hand-off", "Write the hand-off");
    assert!(!folder.path().join("two").exists());
    assert!(!refusal(&harness, Errand::HandOff).is_empty());
}

#[test]
fn a_plan_is_compared_with_another_as_it_stands() {
    let (folder, file) = folder();
    let other = folder.path().join("other.plan.ron");
    std::fs::copy(&file, &other).expect("copied");
    let mut harness = opened(&file);
    set(&mut harness, |forms| {
        forms.other_plan = other.display().to_string()
    });
    press(
        &mut harness,
        "Compare with another plan",
        "Compare the plans",
    );
    assert!(text_of(answer(&harness, Errand::Compare)).contains("the same"));
    harness.state_mut().add_band(1.0, 2.0);
    settle(&mut harness);
    press(
        &mut harness,
        "Compare with another plan",
        "Compare the plans",
    );
    let found = answer(&harness, Errand::Compare);
    assert!(text_of(found).contains("added"), "{found:?}");
    let drawn = std::fs::read(folder.path().join("block-differences.png")).expect("drawn");
    assert_eq!(&drawn[1..4], b"PNG");
}

#[test]
fn test_prints_are_written_and_the_lag_is_fitted() {
    let (folder, file) = folder();
    let mut harness = opened(&file);
    press(
        &mut harness,
        "Test print of the spools",
        "Write the test print",
    );
    let swatch = folder.path().join("swatch");
    for name in [
        "measured.csv",
        "how-to-measure.txt",
        "swatch.plan.ron",
        "swatch/sheet.png",
    ] {
        assert!(swatch.join(name).is_file(), "{name}");
    }
    assert!(text_of(answer(&harness, Errand::Swatch)).contains("g of plastic"));

    press(
        &mut harness,
        "Lag of the melt chamber",
        "Write the lag test",
    );
    let lag = folder.path().join("lag");
    assert!(lag.join("lag-test/sheet.png").is_file());
    // Readings are never written over.
    let ends = std::fs::read_to_string(lag.join("ends.csv")).expect("a table");
    let filled: String = ends
        .lines()
        .map(|line| match line {
            "1,," => "1,12.9,15.5\n".to_owned(),
            line => format!("{line}\n"),
        })
        .collect();
    std::fs::write(lag.join("ends.csv"), &filled).expect("written");
    press(
        &mut harness,
        "Lag of the melt chamber",
        "Write the lag test",
    );
    assert!(refusal(&harness, Errand::LagTest).contains("readings in it"));
    press(&mut harness, "Fit the lag", "Fit the chamber");
    match harness.state().errands.answers.get(&Errand::LagFit) {
        Some(Ok(_)) => {
            let text = std::fs::read_to_string(folder.path().join("machine.ron")).expect("read");
            Machine::from_ron(&text).expect("a machine");
        }
        // One reading may be too little; it is then said so, with the file's name.
        Some(Err(why)) => assert!(why.contains("ends.csv"), "{why}"),
        None => panic!("no answer"),
    }
}

#[test]
fn the_table_to_key_in_the_watch_list_and_the_cause_of_a_fault() {
    let (folder, file) = folder();
    let mut harness = opened(&file);
    press(&mut harness, "Table to key in", "Make the table");
    let table = std::fs::read_to_string(folder.path().join("block-key-in.txt")).expect("a table");
    assert!(text_of(answer(&harness, Errand::KeyIn)).contains(table.trim_end()));

    set(&mut harness, |forms| forms.every_mm = 2.0);
    press(&mut harness, "Watch list", "Write the watch list");
    let seen = folder.path().join("block-watch/seen.csv");
    assert!(seen.is_file());

    press(
        &mut harness,
        "Find the cause of a bad print",
        "Find the cause",
    );
    assert!(refusal(&harness, Errand::Trace).contains("What you saw"));
    set(&mut harness, |forms| {
        forms.seen[0].height_mm = "3".to_owned();
        forms.seen[0].hex = "#808080".to_owned();
        forms.seen[1].height_mm = "5".to_owned();
        forms.seen[1].hex = "#202020".to_owned();
    });
    press(
        &mut harness,
        "Find the cause of a bad print",
        "Find the cause",
    );
    let found = text_of(answer(&harness, Errand::Trace));
    // Such colours are of no print of this plan, whatever went wrong; and that is what it says.
    assert!(found.contains("2 observations") && found.contains("None of these explains"));
    click(&mut harness, "Find the cause of a bad print");
    harness.get_by_label_contains("Switch off and let it cool");
}
