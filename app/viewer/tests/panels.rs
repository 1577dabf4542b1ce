//! The window's panels, driven by pointer and keys without a window.

mod weaving;

use std::path::Path;

use egui::{Key, Modifiers, Pos2, Rect, Vec2, pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use geometry::{DVec3, Field, Mask, Surface};
use plan::{FirstPlan, MeshSource, Paint, Plan, Touch};
use std::sync::Arc;
use tintfall_viewer::files::Home;
use tintfall_viewer::panels;
use tintfall_viewer::state::Session;
use tintfall_viewer::state::camera::{Lens, Side};
use tintfall_viewer::state::document::Origin;
use tintfall_viewer::state::hand::Tool;
use tintfall_viewer::state::session::{Drawer, Page};
use tintfall_viewer::state::skin::SkinUpdate;

const SIZE: Vec2 = Vec2::new(1280.0, 800.0);

fn block() -> Surface {
    let mesh = geometry::solids::cuboid(DVec3::new(40.0, 40.0, 60.0)).expect("a block");
    Surface::new(Arc::new(mesh))
}

/// Its layers are thick, so that few have to be worked out.
fn plan() -> Plan {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Mooring block".to_owned(),
        height_mm: 60.0,
    });
    plan.layers.first_layer_mm = 0.5;
    plan.layers.layer_mm = 0.5;
    plan
}

/// The window with the block open and all background work done.
fn bench<'a>(home: Option<&Path>) -> Harness<'a, Session> {
    let mut session = Session::new(home.map(Home::at));
    session.take_part(plan(), Origin::default(), block());
    session.finish_work();
    shown(session)
}

/// A session in its window.
fn shown<'a>(session: Session) -> Harness<'a, Session> {
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .with_max_steps(60)
        .build_ui_state(panels::window, session);
    harness.run_ok();
    harness
}

fn plan_of<'a>(harness: &'a Harness<'_, Session>) -> &'a Plan {
    harness.state().doc.as_ref().expect("a part").plan()
}

fn settle(harness: &mut Harness<'_, Session>) {
    harness.run_ok();
    harness.state_mut().finish_work();
    harness.run_ok();
}

fn click(harness: &mut Harness<'_, Session>, label: &str) {
    harness.get_by_label(label).click();
    settle(harness);
}

/// A drag of the pointer with the primary button, in small steps.
fn drag(harness: &mut Harness<'_, Session>, path: &[Pos2]) {
    let button = |pos, pressed| egui::Event::PointerButton {
        pos,
        button: egui::PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    harness.event(egui::Event::PointerMoved(path[0]));
    harness.step();
    harness.event(button(path[0], true));
    harness.step();
    for &at in &path[1..] {
        harness.event(egui::Event::PointerMoved(at));
        harness.step();
    }
    harness.event(button(path[path.len() - 1], false));
    settle(harness);
}

fn line(from: Pos2, to: Pos2) -> Vec<Pos2> {
    (0..=10)
        .map(|i| from + (to - from) * (i as f32 / 10.0))
        .collect()
}

fn rect_of(harness: &Harness<'_, Session>, label: &str) -> Rect {
    harness.get_by_label(label).rect()
}

/// Where the ribbon shows a height, in its column of blends.
fn on_blends(harness: &Harness<'_, Session>, height_mm: f64) -> Pos2 {
    let view = &harness.state().view;
    let ribbon = rect_of(harness, "Height ribbon");
    pos2(
        ribbon.left() + 85.0,
        view.camera.ribbon_y(view.stage, height_mm),
    )
}

fn on_stage(harness: &Harness<'_, Session>, point: DVec3) -> Pos2 {
    let view = &harness.state().view;
    view.camera.project(view.stage, point).expect("in sight")
}

#[test]
fn a_band_is_drawn_on_the_ribbon_and_taken_back() {
    let mut harness = bench(None);
    let path = line(on_blends(&harness, 20.0), on_blends(&harness, 35.0));
    drag(&mut harness, &path);
    let regions = &plan_of(&harness).regions;
    assert_eq!(regions.len(), 2);
    let Mask::Band { from_mm, to_mm } = regions[1].mask else {
        panic!("{:?}", regions[1].mask);
    };
    assert!(
        (from_mm - 20.0).abs() < 1.01 && (to_mm - 35.0).abs() < 1.01,
        "{from_mm} {to_mm}"
    );
    assert!(harness.state().title().contains("not saved"));

    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 1);
    click(&mut harness, "Redo");
    assert_eq!(plan_of(&harness).regions.len(), 2);
}

#[test]
fn an_edge_of_a_band_is_dragged_in_one_step_of_undo() {
    let mut harness = bench(None);
    harness.state_mut().add_band(20.0, 30.0);
    settle(&mut harness);
    let handle = rect_of(&harness, "Top of Band");
    let to = on_blends(&harness, 45.0);
    drag(
        &mut harness,
        &line(handle.center(), pos2(handle.center().x, to.y)),
    );
    let Mask::Band { to_mm, .. } = plan_of(&harness).regions[1].mask else {
        panic!("no band");
    };
    assert!((to_mm - 45.0).abs() < 1.01, "{to_mm}");
    click(&mut harness, "Undo");
    let Mask::Band { to_mm, .. } = plan_of(&harness).regions[1].mask else {
        panic!("no band");
    };
    assert_eq!(to_mm, 30.0);
}

#[test]
fn a_handle_follows_the_arrow_keys() {
    let mut harness = bench(None);
    let before = harness.state().view.cursor_mm;
    harness.get_by_label("Layer cursor").focus();
    harness.run_ok();
    harness.key_press(Key::ArrowUp);
    harness.run_ok();
    let after = harness.state().view.cursor_mm;
    assert!((after - before - 0.5).abs() < 1e-9, "{before} {after}");
}

#[test]
fn a_stroke_makes_a_region_and_the_next_one_joins_it() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    assert_eq!(harness.state().hand.tool, Tool::Brush);
    let face = |x, z| DVec3::new(x, -20.0, z);
    let path = line(
        on_stage(&harness, face(-8.0, 20.0)),
        on_stage(&harness, face(8.0, 24.0)),
    );
    drag(&mut harness, &path);
    let regions = &plan_of(&harness).regions;
    assert_eq!(regions.len(), 2);
    assert_eq!(regions[1].name, "Area");
    assert!(matches!(regions[1].brush[..], [Touch::Paint(_)]));

    let path = line(
        on_stage(&harness, face(-8.0, 40.0)),
        on_stage(&harness, face(8.0, 40.0)),
    );
    drag(&mut harness, &path);
    assert_eq!(plan_of(&harness).regions[1].brush.len(), 2);

    click(&mut harness, "Rub out");
    drag(&mut harness, &path);
    assert!(matches!(
        plan_of(&harness).regions[1].brush[2],
        Touch::Erase(_)
    ));
}

#[test]
fn a_mirrored_stroke_is_one_step_of_undo() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    click(&mut harness, "Mirror");
    let face = |x, z| DVec3::new(x, -20.0, z);
    let path = line(
        on_stage(&harness, face(5.0, 20.0)),
        on_stage(&harness, face(10.0, 20.0)),
    );
    drag(&mut harness, &path);
    let brush = &plan_of(&harness).regions[1].brush;
    assert_eq!(brush.len(), 2);
    let sides: Vec<f64> = brush.iter().map(|t| t.stroke().dabs_mm[0].x).collect();
    assert!((sides[0] + sides[1]).abs() < 1e-6, "{sides:?}");
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).regions.len(), 1);
}

#[test]
fn the_base_region_is_not_rubbed_out() {
    let mut harness = bench(None);
    click(&mut harness, "Rub out");
    let at = on_stage(&harness, DVec3::new(0.0, -20.0, 30.0));
    drag(&mut harness, &[at, at]);
    assert_eq!(plan_of(&harness).regions.len(), 1);
    let said = harness.state().notices.shown();
    assert!(
        said.iter()
            .any(|n| n.text.contains("Choose another region"))
    );
}

#[test]
fn two_clicks_make_a_band_and_growing_fills_a_face() {
    let mut harness = bench(None);
    click(&mut harness, "Band");
    for z in [10.0, 25.0] {
        let at = on_stage(&harness, DVec3::new(0.0, -20.0, z));
        drag(&mut harness, &[at, at]);
    }
    let Mask::Band { from_mm, to_mm } = plan_of(&harness).regions[1].mask else {
        panic!("no band");
    };
    assert!((from_mm - 10.0).abs() < 0.5 && (to_mm - 25.0).abs() < 0.5);

    harness.state_mut().hand.new_area = true;
    click(&mut harness, "Grow");
    let at = on_stage(&harness, DVec3::new(5.0, -20.0, 40.0));
    drag(&mut harness, &[at, at]);
    let mask = &plan_of(&harness).regions[2].mask;
    assert!(
        matches!(mask, Mask::Any(any) if matches!(any[..], [Mask::Crease { .. }])),
        "{mask:?}"
    );
}

#[test]
fn one_blend_becomes_a_fade_with_stops_to_drag() {
    let mut harness = bench(None);
    harness.state_mut().add_band(10.0, 50.0);
    settle(&mut harness);
    click(&mut harness, "Fade");
    let Paint::Fade { along, fade } = &plan_of(&harness).regions[1].paint else {
        panic!("no fade");
    };
    assert_eq!(*along, Field::Height);
    assert_eq!(fade.stops.len(), 2);
    assert_eq!((fade.stops[0].at_mm, fade.stops[1].at_mm), (10.0, 50.0));

    let handle = rect_of(&harness, "Stop 2 of Band");
    let to = on_blends(&harness, 40.0);
    drag(
        &mut harness,
        &line(handle.center(), pos2(handle.center().x, to.y)),
    );
    click(&mut harness, "Add a stop");
    click(&mut harness, "Equal steps");
    let Paint::Fade { fade, .. } = &plan_of(&harness).regions[1].paint else {
        panic!("no fade");
    };
    assert_eq!(fade.stops.len(), 3);
    assert_eq!(fade.spacing, blend::Spacing::EqualSteps);
    assert!((fade.stops[2].at_mm - 40.0).abs() < 1.01, "{fade:?}");

    click(&mut harness, "One blend");
    assert!(matches!(
        plan_of(&harness).regions[1].paint,
        Paint::Fixed(_)
    ));
}

#[test]
fn regions_are_hidden_locked_copied_renamed_and_deleted() {
    let mut harness = bench(None);
    harness.state_mut().add_band(10.0, 20.0);
    settle(&mut harness);
    click(&mut harness, "Hide Band");
    assert!(plan_of(&harness).regions[1].hidden);
    click(&mut harness, "Show Band");
    click(&mut harness, "Lock Band");
    assert!(plan_of(&harness).regions[1].locked);
    harness.key_press(Key::Delete);
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 2, "a locked region stays");
    click(&mut harness, "Unlock Band");
    click(&mut harness, "Duplicate");
    assert_eq!(plan_of(&harness).regions.len(), 3);
    harness.key_press(Key::F2);
    harness.run_ok();
    harness.event(egui::Event::Text(" two".to_owned()));
    harness.run_ok();
    harness.key_press(Key::Enter);
    settle(&mut harness);
    assert!(
        plan_of(&harness).regions[2].name.contains("two"),
        "{:?}",
        plan_of(&harness).regions[2].name
    );
    click(&mut harness, "Move down");
    assert!(plan_of(&harness).regions[1].name.contains("two"));
    click(&mut harness, "Delete");
    assert_eq!(plan_of(&harness).regions.len(), 2);
}

#[test]
fn pages_open_by_key_and_close_by_escape() {
    let mut harness = bench(None);
    for (key, modifiers) in [
        (Key::F1, Modifiers::NONE),
        (Key::Questionmark, Modifiers::NONE),
        (Key::K, Modifiers::COMMAND),
        (Key::O, Modifiers::COMMAND),
        (Key::S, Modifiers::COMMAND),
        (Key::Enter, Modifiers::COMMAND),
    ] {
        harness.key_press_modifiers(modifiers, key);
        harness.run_ok();
        assert!(harness.state().page.is_some(), "{key:?}");
        harness.key_press(Key::Escape);
        harness.run_ok();
        assert_eq!(harness.state().page, None, "{key:?}");
    }
}

#[test]
fn an_action_is_found_by_its_name() {
    let mut harness = bench(None);
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_ok();
    harness.event(egui::Event::Text("look inside".to_owned()));
    harness.run_ok();
    harness.key_press(Key::Enter);
    harness.run_ok();
    assert!(harness.state().view.cut);
}

#[test]
fn more_than_five_hundred_steps_are_taken_back_and_made_again() {
    const STEPS: usize = 600;
    let plan_now = |s: &Session| s.doc.as_ref().expect("a part").plan().clone();
    let mut session = Session::new(None);
    session.take_part(plan(), Origin::default(), block());
    session.add_band(10.0, 20.0);
    let first = plan_now(&session);
    for step in 0..STEPS {
        let x = (step % 37) as f64 * 0.5;
        let stroke = geometry::mask::Stroke {
            dabs_mm: vec![DVec3::new(x - 9.0, -20.0, 30.0)],
            radius_mm: 1.0 + x,
            reach_mm: None,
        };
        let at = plan_now(&session).regions[1].brush.len();
        let made = session.edit(match step % 5 {
            0 => plan::Edit::SetTitle(format!("Block {step}")),
            1 => plan::Edit::AddTouch {
                region: 1,
                at,
                touch: Touch::Paint(stroke),
            },
            2 => plan::Edit::SetMask {
                region: 1,
                to: Mask::Band {
                    from_mm: 10.0,
                    to_mm: 21.0 + x,
                },
            },
            3 => plan::Edit::RenameRegion {
                region: 1,
                to: format!("Band {step}"),
            },
            _ => plan::Edit::HideRegion {
                region: 1,
                hidden: step % 10 == 4,
            },
        });
        assert!(made, "step {step}");
    }
    let last = plan_now(&session);
    (0..STEPS).for_each(|_| session.undo());
    assert_eq!(plan_now(&session), first);
    (0..STEPS).for_each(|_| session.redo());
    assert_eq!(plan_now(&session), last);
    (0..=STEPS).for_each(|_| session.undo());
    assert_eq!(plan_now(&session), plan());
}

#[test]
fn the_wheel_zooms_to_the_pointer_in_parallel_and_in_perspective() {
    let mut harness = bench(None);
    for lens in [Lens::Parallel, Lens::Perspective] {
        if harness.state().view.camera.lens != lens {
            harness.key_press(Key::P);
            harness.run_ok();
        }
        let camera = harness.state().view.camera;
        assert_eq!(camera.lens, lens);
        let axes = camera.axes();
        let point = camera.target_mm + axes.right * 8.0 + axes.up * 11.0;
        let at = on_stage(&harness, point);
        harness.event(egui::Event::PointerMoved(at));
        harness.step();
        harness.event(egui::Event::MouseWheel {
            unit: egui::MouseWheelUnit::Point,
            delta: Vec2::new(0.0, 150.0),
            phase: egui::TouchPhase::Move,
            modifiers: Modifiers::NONE,
        });
        harness.run_ok();
        let zoomed = harness.state().view.camera;
        assert!(zoomed.mm_per_point < 0.8 * camera.mm_per_point, "{lens:?}");
        let off = on_stage(&harness, point) - at;
        assert!(off.length() < 0.1, "{lens:?}: {off:?}");
    }
}

#[test]
fn in_perspective_near_things_are_larger_and_the_level_view_is_parallel_again() {
    let mut harness = bench(None);
    let across = |harness: &Harness<'_, Session>, y: f64| {
        let ends = [-15.0, 15.0].map(|x| on_stage(harness, DVec3::new(x, y, 30.0)));
        ends[0].distance(ends[1])
    };
    harness.state_mut().view.camera.look_from(Side::Front);
    harness.run_ok();
    let (near, far) = (across(&harness, -20.0), across(&harness, 20.0));
    assert!((near - far).abs() < 0.01);
    harness.key_press(Key::P);
    harness.run_ok();
    assert!(across(&harness, -20.0) > 1.02 * across(&harness, 20.0));
    harness.key_press(Key::L);
    harness.run_ok();
    assert_eq!(harness.state().view.camera.lens, Lens::Parallel);
}

#[test]
fn the_wall_is_set_on_the_page_of_the_part() {
    let mut harness = bench(None);
    harness.state_mut().drawer = Drawer::Part;
    settle(&mut harness);
    click(&mut harness, "Colours seen through the wall");
    let wall = plan_of(&harness).wall.expect("a wall");
    assert_eq!(wall.thickness_mm, plan_of(&harness).skin_mm);
    assert!(harness.query_by_label("Light from behind").is_some());
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).wall, None);
}

#[test]
fn what_a_wide_brush_does_is_sketched_while_the_stroke_is_drawn() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    harness.state_mut().hand.set_brush_mm(8.0);
    let at = |x| DVec3::new(x, -20.0, 30.0);
    let from = on_stage(&harness, at(-8.0));
    let to = on_stage(&harness, at(8.0));
    let session = harness.state_mut();
    session.begin_stroke(from);
    session.go_on_stroke(to);
    assert!(session.sketches_behind() > 0, "no frame waits for it");
    session.finish_work();
    let mut drawn = 0;
    while let Some(update) = session.next_skin_update() {
        if let SkinUpdate::Drawn(mesh, _) = update {
            drawn += mesh.triangles();
        }
    }
    assert!(drawn > 10, "{drawn}");
    session.end_stroke();
    settle(&mut harness);
    assert_eq!(plan_of(&harness).regions.len(), 2);
}

#[test]
fn every_drawer_shows_itself() {
    let mut harness = bench(None);
    for (name, drawer, text) in [
        (
            "Spools",
            Drawer::Spools,
            "In the order of the hotend's inlets.",
        ),
        ("Part", Drawer::Part, "Triangles"),
        ("Colour", Drawer::Colour, "upper ones cover lower ones"),
    ] {
        let buttons: Vec<_> = harness.get_all_by_label(name).collect();
        let tab = buttons
            .iter()
            .min_by(|a, b| a.rect().top().total_cmp(&b.rect().top()));
        tab.expect("a tab").click();
        settle(&mut harness);
        assert_eq!(harness.state().drawer, drawer);
        assert!(harness.query_by_label(text).is_some(), "{name}: {text}");
    }
}

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
    harness.state_mut().ask_to_quit();
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
        .build_ui_state(panels::window, Session::new(None));
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
        .build_ui_state(panels::window, Session::new(Some(home)));
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
    let job = handoff::job::Job::open(&file, &geometry::Progress::new()).expect("opens");
    let verdict = handoff::signoff::Verdict {
        name: "Harbour master".to_owned(),
        decision: handoff::signoff::Decision::Approved,
        note: String::new(),
    };
    handoff::signoff::sign(&job, verdict).expect("signs");

    let mut session = Session::new(None);
    session.open(&file);
    session.finish_work();
    assert!(session.review.approved, "{}", session.review.words);
    assert!(session.review.words.contains("Harbour master"));
    session.drawer = Drawer::Checks;
    let mut harness = Harness::builder()
        .with_size(SIZE)
        .build_ui_state(panels::window, session);
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
