//! Opening, saving, recovering.

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use plan::Plan;
use tintfall_viewer::commands::Command;
use tintfall_viewer::files::Home;
use tintfall_viewer::frame;
use tintfall_viewer::model::page::{Drawer, Page};
use tintfall_viewer::session::Session;

use crate::bench::*;

#[test]
fn saving_asks_where_and_then_the_plan_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut harness = bench(Some(folder.path()));
    harness.state_mut().add_band(10.0, 20.0);
    settle(&mut harness);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::S);
    harness.run_ok();
    assert!(matches!(harness.state().page, Some(Page::SaveAs { .. })));
    let file = folder.path().join("block");
    harness.state_mut().page = Some(Page::SaveAs {
        path: file.display().to_string(),
        then: None,
    });
    harness.run_ok();
    click(&mut harness, "Save the plan");
    let written = folder.path().join("block.plan.ron");
    let text = std::fs::read_to_string(&written).expect("the plan");
    assert_eq!(Plan::from_ron(&text).expect("sound").regions.len(), 2);
    assert!(folder.path().join("block.stl").exists());
    assert!(!harness.state().title().contains("not saved"));
    assert_eq!(harness.state().recent.files, [written]);
}

#[test]
fn leaving_with_unsaved_work_asks_first() {
    let mut harness = bench(None);
    harness.state_mut().add_band(10.0, 20.0);
    harness.state_mut().apply(Command::Quit);
    settle(&mut harness);
    assert!(!harness.state().quits());
    click(&mut harness, "Don't save");
    assert!(harness.state().quits());
}

#[test]
fn a_file_that_is_not_there_gives_an_error_that_can_be_closed() {
    let mut harness = bench(None);
    harness.state_mut().open("nowhere/part.stl");
    settle(&mut harness);
    assert!(harness.state().notices.shown()[0].text.contains("part.stl"));
    assert!(harness.state().doc.is_some(), "the open part stays");
    click(&mut harness, "Close this message");
    assert!(harness.state().notices.shown().is_empty());
}

#[test]
fn the_start_page_opens_a_demonstration() {
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .with_max_steps(60)
        .build_ui_state(frame::frame, Session::new(None));
    settle(&mut harness);
    click(&mut harness, "Nameplate with raised letters");
    assert!(harness.state().doc.is_some());
    harness.get_by_label("Stage").accesskit_node();
}

#[test]
fn what_a_killed_window_left_is_recovered() {
    use tintfall_viewer::files::recovery::{About, Keeper};
    let folder = tempfile::tempdir().expect("a folder");
    let home = Home::at(folder.path());
    let keeper = Keeper::new(&home.recovery_folder()).expect("kept");
    let demo = demo_models::all().expect("demos").remove(0);
    let about = About {
        title: "Half done".to_owned(),
        plan_file: None,
        mesh_file: None,
        demo: Some(demo.name.to_owned()),
        at_s: 1,
    };
    keeper.keep(&about, demo.plan_ron).expect("written");
    drop(keeper);
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .with_max_steps(60)
        .build_ui_state(frame::frame, Session::new(Some(home)));
    settle(&mut harness);
    click(&mut harness, "Recover");
    assert!(harness.state().title().contains("not saved"));
    assert!(harness.state().left.is_empty());
}

#[test]
fn a_change_puts_a_signature_out_of_date() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("block.plan.ron");
    let stl = geometry::read::mesh_to_stl(block().mesh());
    std::fs::write(folder.path().join("block.stl"), stl).expect("writes");
    std::fs::write(&file, plan().to_ron().expect("a plan")).expect("writes");
    let job = project::job::Job::open(&file, &geometry::Progress::new()).expect("opens");
    let verdict = project::signoff::Verdict {
        name: "Harbour master".to_owned(),
        decision: project::signoff::Decision::Approved,
        note: String::new(),
    };
    project::signoff::sign(&job, verdict).expect("signs");

    let mut session = Session::new(None);
    session.open(&file);
    session.finish_work();
    assert!(session.review.approved, "{}", session.review.words);
    assert!(session.review.words.contains("Harbour master"));
    session.drawer = Drawer::Checks;
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .build_ui_state(frame::frame, session);
    harness.run_ok();
    harness.get_by_label_contains("approved by Harbour master");

    let title = plan::Edit::SetTitle("Bollard".to_owned());
    harness.state_mut().edit(title);
    settle(&mut harness);
    let review = &harness.state().review;
    assert!(!review.approved);
    assert!(review.words.contains("not saved"), "{}", review.words);

    click(&mut harness, "Undo");
    assert!(harness.state().review.approved);
    // Saved elsewhere, it is a plan that nobody has reviewed.
    let elsewhere = folder.path().join("elsewhere").join("block.plan.ron");
    harness.state_mut().save_to(&elsewhere, None);
    settle(&mut harness);
    let review = &harness.state().review;
    assert!(!review.approved, "{}", review.words);
}
