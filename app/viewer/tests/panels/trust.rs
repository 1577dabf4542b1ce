//! What a person must be able to rely on: files written elsewhere, keys, messages, the layout.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use egui::{Event, Key, Modifiers, Vec2, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, Mask};
use plan::{BrushStroke, Edit, Plan};
use tempfile::TempDir;
use tintfall_viewer::commands::{Browse, Command, Hover};
use tintfall_viewer::model::page::Page;
use tintfall_viewer::model::tool::Tool;
use tintfall_viewer::session::{Picked, Session};

use crate::bench::{
    bench, block, click, drag, line, on_stage, plan, plan_of, rect_of, settle, shown,
};

/// A folder with the block and its plan.
fn folder() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let stl = geometry::read::mesh_to_stl(block().mesh());
    std::fs::write(folder.path().join("block.stl"), stl).expect("writes");
    let file = folder.path().join("block.plan.ron");
    std::fs::write(&file, plan().to_ron().expect("a plan")).expect("writes");
    (folder, file)
}

fn opened(file: &Path) -> Session {
    let mut session = Session::new(None);
    session.open(file);
    session.finish_work();
    assert!(session.doc.is_some(), "{:?}", session.notices);
    session
}

fn titled(session: &mut Session, title: &str) {
    assert!(session.edit(Edit::SetTitle(title.to_owned())));
}

fn title_in(file: &Path) -> String {
    let text = std::fs::read_to_string(file).expect("text");
    Plan::from_ron(&text).expect("a plan").title
}

#[test]
fn of_two_windows_on_one_plan_the_second_asks_before_it_saves_over_the_first() {
    let (_folder, file) = folder();
    let (mut one, mut other) = (opened(&file), opened(&file));
    titled(&mut one, "First");
    titled(&mut other, "Second");
    one.save();
    assert_eq!(title_in(&file), "First");
    other.save();
    assert_eq!(title_in(&file), "First", "nothing is lost unasked");
    assert!(matches!(
        other.page,
        Some(Page::Overwrite { changed: true, .. })
    ));
    let mut harness = shown(other);
    harness.get_by_label("Load theirs");
    click(&mut harness, "Save mine over it");
    assert_eq!(title_in(&file), "Second");
    assert_eq!(harness.state().page, None);
    // From then on it is this window's own file again.
    titled(harness.state_mut(), "Third");
    harness.state_mut().save();
    assert_eq!(title_in(&file), "Third");
}

#[test]
fn theirs_can_be_loaded_instead() {
    let (_folder, file) = folder();
    let mut session = opened(&file);
    titled(&mut session, "Mine");
    let mut theirs = plan();
    theirs.title = "Theirs".to_owned();
    std::fs::write(&file, theirs.to_ron().expect("text")).expect("written");
    session.save();
    let mut harness = shown(session);
    click(&mut harness, "Load theirs");
    assert_eq!(plan_of(&harness).title, "Theirs");
    assert!(!harness.state().title().contains("not saved"));
}

#[test]
fn another_file_is_not_replaced_unasked() {
    let (folder, file) = folder();
    let other = folder.path().join("other.plan.ron");
    std::fs::write(&other, "somebody's").expect("written");
    let mut session = opened(&file);
    session.apply(Command::SaveTo(other.clone(), None));
    assert!(matches!(
        session.page,
        Some(Page::Overwrite { changed: false, .. })
    ));
    let kept = std::fs::read_to_string(&other).expect("text");
    assert_eq!(kept, "somebody's");
}

#[test]
fn a_mesh_that_is_gone_or_changed_is_told_of() {
    let (folder, file) = folder();
    let mesh = folder.path().join("block.stl");
    let mut session = opened(&file);
    let bytes = std::fs::read(&mesh).expect("bytes");
    std::fs::remove_file(&mesh).expect("removed");
    titled(&mut session, "Bollard");
    session.save();
    assert_eq!(title_in(&file), "Bollard", "the work itself is kept");
    let said = |session: &Session, words: &str| {
        let shown = session.notices.shown();
        shown.iter().any(|n| n.text.contains(words))
    };
    assert!(said(&session, "is missing"), "{:?}", session.notices);

    let prepared = folder.path().join("prepared");
    session.apply(Command::PrepareIn(prepared.clone()));
    session.finish_work();
    assert!(!prepared.exists() && session.prepared.is_none());

    std::fs::write(&mesh, [&bytes[..], &bytes[84..]].concat()).expect("written");
    session.notices.clear();
    session.apply(Command::PrepareIn(prepared.clone()));
    session.finish_work();
    assert!(said(&session, "was changed since"), "{:?}", session.notices);
    assert!(!prepared.exists());
}

#[test]
fn nothing_is_marked_on_the_part_while_its_colours_are_painted_or_the_pointer_is_elsewhere() {
    let mut harness = bench(None);
    let at = on_stage(&harness, DVec3::new(0.0, -20.0, 30.0));
    harness.event(Event::PointerMoved(at));
    harness.run_ok();
    let marked = harness.state().marked_height_mm().expect("marked");
    assert!((marked - 30.0).abs() < 0.5, "{marked}");

    // On the header: neither the stage nor the ribbon.
    harness.event(Event::PointerMoved(pos2(640.0, 14.0)));
    harness.run_ok();
    assert_eq!(harness.state().marked_height_mm(), None);

    for tool in [Tool::Brush, Tool::Erase, Tool::Straight, Tool::Fill] {
        harness.state_mut().apply(Command::Take(tool));
        harness.event(Event::PointerMoved(at));
        harness.run_ok();
        assert_eq!(harness.state().marked_height_mm(), None, "{tool:?}");
    }
    // The ribbon marks a height whatever the tool.
    let session = harness.state_mut();
    session.apply(Command::Hover(Hover::Ribbon(12.0)));
    assert_eq!(session.marked_height_mm(), Some(12.0));
}

#[test]
fn keys_that_arrive_in_one_frame_are_each_done_in_their_order() {
    let mut harness = bench(None);
    for title in ["A", "B", "C"] {
        titled(harness.state_mut(), title);
    }
    let key = |key, pressed, modifiers| Event::Key {
        key,
        physical_key: None,
        pressed,
        repeat: false,
        modifiers,
    };
    // Three times Ctrl+Z, and Ctrl up again, before one frame is drawn.
    harness.event(Event::ModifiersChanged(Modifiers::COMMAND));
    for _ in 0..3 {
        harness.event(key(Key::Z, true, Modifiers::COMMAND));
        harness.event(key(Key::Z, false, Modifiers::COMMAND));
    }
    harness.event(Event::ModifiersChanged(Modifiers::NONE));
    settle(&mut harness);
    assert_eq!(plan_of(&harness).title, plan().title);

    // S takes the straight stroke, Ctrl+S asks where to save.
    harness.event(key(Key::S, true, Modifiers::COMMAND));
    harness.event(Event::ModifiersChanged(Modifiers::NONE));
    settle(&mut harness);
    assert_eq!(harness.state().tools.tool, Tool::Turn);
    assert!(matches!(harness.state().page, Some(Page::SaveAs { .. })));
}

#[test]
fn a_fill_covers_what_was_erased_before() {
    let mut harness = bench(None);
    let face = |x, z| DVec3::new(x, -20.0, z);
    let fill = |harness: &mut Harness<'_, Session>| {
        harness.state_mut().apply(Command::Take(Tool::Fill));
        let at = on_stage(harness, face(12.0, 50.0));
        drag(harness, &[at, at]);
    };
    fill(&mut harness);
    harness.state_mut().apply(Command::Take(Tool::Erase));
    let hole = line(
        on_stage(&harness, face(-4.0, 25.0)),
        on_stage(&harness, face(4.0, 25.0)),
    );
    drag(&mut harness, &hole);
    let region_in_hole = |harness: &Harness<'_, Session>| {
        let painted = harness.state().painted.clone().expect("laid on the part");
        let hit = painted
            .surface()
            .nearest_within(face(0.0, 25.0), 1.0)
            .expect("skin");
        painted.region_at(hit)
    };
    assert!(
        plan_of(&harness).regions[1]
            .brush
            .iter()
            .any(|t| matches!(t, BrushStroke::Erase(_)))
    );
    assert_eq!(region_in_hole(&harness), 0, "erased");
    fill(&mut harness);
    assert_eq!(region_in_hole(&harness), 1, "covered again");
    click(&mut harness, "Undo");
    assert_eq!(region_in_hole(&harness), 0);
    assert!(!matches!(plan_of(&harness).regions[1].mask, Mask::Whole));
}

#[test]
fn a_part_that_was_fitted_stays_so_when_the_window_changes_its_size() {
    let mut harness = bench(None);
    let outside = |harness: &Harness<'_, Session>| {
        let stage = harness.state().view.stage;
        let bounds = harness.state().doc.as_ref().expect("a part").bounds_mm;
        [bounds.0, bounds.1]
            .into_iter()
            .filter(|p| !stage.contains(on_stage(harness, *p)))
            .count()
    };
    let height = |h: &Harness<'_, Session>| {
        (on_stage(h, DVec3::ZERO).y - on_stage(h, DVec3::new(0.0, 0.0, 60.0)).y)
            / h.state().view.stage.height()
    };
    let share = height(&harness);
    for size in [
        Vec2::new(1000.0, 600.0),
        Vec2::new(1900.0, 1060.0),
        Vec2::new(1280.0, 800.0),
    ] {
        harness.set_size(size);
        harness.run_ok();
        assert_eq!(outside(&harness), 0, "{size}");
        assert!((height(&harness) - share).abs() < 0.12, "{size}");
    }
    // What somebody has moved there stays where it was put.
    let middle = harness.state().view.stage.center();
    let session = harness.state_mut();
    session.apply(Command::ZoomAt(middle, 2.0));
    let zoomed = session.view.camera.mm_per_point;
    harness.set_size(Vec2::new(1000.0, 600.0));
    harness.run_ok();
    assert_eq!(harness.state().view.camera.mm_per_point, zoomed);
}

#[test]
fn another_frame_is_asked_for_when_work_has_come_in() {
    let mut session = Session::new(None);
    session.take_part(plan(), Default::default(), block());
    let deadline = Instant::now() + Duration::from_secs(60);
    let mut asked = 0;
    while session.is_working() && Instant::now() < deadline {
        let before = session.summary.revision;
        let again = session.tick(Instant::now());
        if session.summary.revision != before {
            assert_eq!(again, Some(Duration::ZERO));
            asked += 1;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    assert_eq!(asked, 1);
}

#[test]
fn a_dialog_that_never_opened_is_told_of_and_one_that_was_cancelled_is_not() {
    let soon = Picked::after(None, Duration::from_millis(20));
    assert_eq!(soon, Picked::NoDialog);
    let later = Picked::after(None, Duration::from_secs(3));
    assert_eq!(later, Picked::Nothing);
    let mut session = Session::new(None);
    session.take_picked(Browse::Open, later);
    assert!(session.notices.shown().is_empty());
    session.take_picked(Browse::Open, soon);
    assert!(session.notices.shown()[0].text.contains("Type the path"));
}

#[test]
fn a_page_takes_the_keyboard_and_says_what_is_wrong() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut harness = shown(Session::new(None));
    harness.state_mut().apply(Command::Open);
    harness.run_ok();
    let typed = |harness: &Harness<'_, Session>| match &harness.state().page {
        Some(Page::OpenFile { path }) => path.clone(),
        page => panic!("{page:?}"),
    };
    harness.state_mut().apply(Command::ShowPage(Page::OpenFile {
        path: String::new(),
    }));
    harness.run_ok();
    // Nobody has clicked into the field.
    let nowhere = folder.path().join("no").display().to_string();
    harness.event(Event::Text(nowhere.clone()));
    harness.run_ok();
    assert_eq!(typed(&harness), nowhere);
    harness.get_by_label("This file does not exist.");
    harness.key_press(Key::Enter);
    harness.run_ok();
    harness.event(Event::Text("thing".to_owned()));
    harness.run_ok();
    assert_eq!(
        typed(&harness),
        format!("{nowhere}thing"),
        "Enter led nowhere"
    );
}

#[test]
fn a_page_whose_work_is_done_is_left_by_done() {
    let (folder, file) = folder();
    let mut harness = shown(opened(&file));
    click(&mut harness, "Prepare…");
    assert!(harness.query_by_label("Done").is_none());
    click(&mut harness, "Write the files");
    assert!(folder.path().join("block-prepared").is_dir());
    assert!(harness.query_by_label("Cancel").is_none());
    click(&mut harness, "Done");
    assert_eq!(harness.state().page, None);
}

#[test]
fn preparing_asks_for_the_record_of_a_print_and_refuses_what_is_none() {
    let (folder, file) = folder();
    let mut harness = shown(opened(&file));
    click(&mut harness, "Prepare…");
    let fields = harness.query_all_by_label("Folder of a print's record");
    assert!(fields.count() > 0);
    let name = |harness: &mut Harness<'_, Session>, record: String| {
        let mut forms = harness.state().errands.forms.clone();
        forms.record = record;
        let set = Command::SetForms(Box::new(forms));
        harness.state_mut().apply(set);
        settle(harness);
    };
    name(&mut harness, folder.path().display().to_string());
    click(&mut harness, "Write the files");
    assert!(!folder.path().join("block-prepared").exists());
    let shown = harness.state().notices.shown();
    let why = "a folder that `tintfall seen` wrote";
    assert!(shown.iter().any(|n| n.text.contains(why)), "{shown:?}");
    name(&mut harness, String::new());
    click(&mut harness, "Write the files");
    assert!(folder.path().join("block-prepared").is_dir());
}

#[test]
fn messages_do_not_outlive_their_file() {
    let (_folder, file) = folder();
    let mut session = opened(&file);
    session.notices.error("The block is made of nothing.");
    session.open(&file);
    session.finish_work();
    assert!(session.notices.shown().is_empty());
    session.notices.done("Saved.");
    session.tick(Instant::now());
    session.tick(Instant::now() + Duration::from_secs(7));
    assert!(session.notices.shown().is_empty());
}

#[test]
fn no_button_of_the_header_moves_with_the_title() {
    for width in [1000.0, 1280.0, 1920.0] {
        let mut harness = bench(None);
        harness.set_size(Vec2::new(width, 800.0));
        harness.run_ok();
        let places = |harness: &Harness<'_, Session>| {
            [
                "Open",
                "Save",
                "Undo",
                "Redo",
                "Level",
                "Fit",
                "Keys",
                "Prepare…",
            ]
            .map(|name| rect_of(harness, name))
        };
        let before = places(&harness);
        let title = "A mooring block with a name that goes on for longer than any header is wide";
        titled(harness.state_mut(), title);
        settle(&mut harness);
        assert_eq!(places(&harness), before, "{width}");
        for pair in before.windows(2) {
            assert!(pair[0].right() <= pair[1].left() + 0.5, "{width}: {pair:?}");
        }
        assert!(before[7].right() <= width, "{width}");
    }
}

#[test]
fn the_tray_keeps_its_pieces_apart_in_a_narrow_window_too() {
    for width in [1000.0, 1280.0] {
        let mut harness = bench(None);
        harness.state_mut().add_band(10.0, 20.0);
        harness.state_mut().apply(Command::Take(Tool::Brush));
        harness.set_size(Vec2::new(width, 800.0));
        settle(&mut harness);
        let names = ["Band", "Radius of the brush", "Mirror", "New area"];
        let mut places = Vec::new();
        for name in names {
            let lowest = harness
                .get_all_by_label(name)
                .map(|node| node.rect())
                .max_by(|a, b| a.top().total_cmp(&b.top()))
                .expect(name);
            places.push(lowest);
        }
        for (i, one) in places.iter().enumerate() {
            for other in &places[i + 1..] {
                assert!(!one.shrink(1.0).intersects(other.shrink(1.0)), "{places:?}");
            }
        }
        let stage = rect_of(&harness, "Stage");
        assert!(
            places.iter().all(|p| p.right() <= stage.right()),
            "{places:?}"
        );
    }
}

/// Two blocks that cross: told, mended at a click, and the plan with its steps of undo stays.
#[test]
fn a_mesh_is_mended_at_a_click_and_the_plan_stays() {
    let folder = tempfile::tempdir().expect("a folder");
    let block = block().mesh().as_ref().clone();
    let moved = block.clone().map(|p| p + DVec3::new(15.0, 7.0, 0.0));
    let both = geometry::Mesh::join([block, moved.expect("moved")]).expect("joined");
    let file = folder.path().join("crossing.stl");
    std::fs::write(&file, geometry::read::mesh_to_stl(&both)).expect("written");
    let mut session = opened(&file);
    titled(&mut session, "Two blocks");
    let faults = |session: &Session| session.doc.as_ref().map_or(0, |doc| doc.found.len());
    assert!(faults(&session) > 0 && session.can(&Command::Mend));
    session.apply(Command::ShowDrawer(
        tintfall_viewer::model::page::Drawer::Part,
    ));
    let mut harness = shown(session);
    click(&mut harness, "Mend the mesh");
    settle(&mut harness);
    let session = harness.state();
    assert_eq!(faults(session), 0, "{:?}", session.notices);
    assert!(!session.can(&Command::Mend));
    let doc = session.doc.as_ref().expect("a part");
    let overlap = 25.0 * 33.0 * 60.0;
    let volume = doc.mesh().volume_mm3();
    assert!(
        (volume - (2.0 * 96_000.0 - overlap)).abs() < 1e-3,
        "{volume}"
    );
    assert_eq!(doc.title(), "Two blocks");
    assert!(doc.plan().mesh.mend && doc.is_unsaved());
    harness.state_mut().apply(Command::Undo);
    let plan = plan_of(&harness);
    assert!(plan.title != "Two blocks" && plan.mesh.mend);
}
