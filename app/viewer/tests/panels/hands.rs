//! What a hand expects: several regions at once, menus, keys held with the pointer, measuring.

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, MouseWheelUnit, PointerButton, Pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, Mask};
use plan::{BrushStroke, Edit};
use tintfall_viewer::commands::Command;
use tintfall_viewer::files::Settings;
use tintfall_viewer::model::tool::Tool;
use tintfall_viewer::session::Session;

use crate::bench::*;

fn with_bands<'a>(count: usize) -> Harness<'a, Session> {
    let mut harness = bench(None);
    for i in 0..count {
        let from_mm = 10.0 * i as f64 + 2.0;
        harness.state_mut().add_band(from_mm, from_mm + 5.0);
        let to = format!("Stripe {i}");
        let region = i + 1;
        assert!(harness.state_mut().edit(Edit::RenameRegion { region, to }));
    }
    settle(&mut harness);
    harness
}

fn names(harness: &Harness<'_, Session>) -> Vec<String> {
    let regions = &plan_of(harness).regions;
    regions.iter().map(|r| r.name.clone()).collect()
}

/// The row of a region in the list.
fn row<'a>(harness: &'a Harness<'_, Session>, name: &'a str) -> egui_kittest::Node<'a> {
    harness.get_by_role_and_label(Role::Button, name)
}

fn click_with(harness: &mut Harness<'_, Session>, name: &str, modifiers: Modifiers) {
    row(harness, name).click_modifiers(modifiers);
    settle(harness);
}

#[test]
fn several_regions_are_selected_moved_and_deleted_in_one_step_each() {
    let mut harness = with_bands(4);
    let before = names(&harness);
    click_with(&mut harness, &before[1], Modifiers::NONE);
    click_with(&mut harness, &before[3], Modifiers::COMMAND);
    assert_eq!(harness.state().selected_regions(), [1, 3]);
    click(&mut harness, "Move up");
    let order = |list: [usize; 5]| list.map(|i| before[i].clone());
    assert_eq!(names(&harness), order([0, 2, 1, 4, 3]));
    assert_eq!(harness.state().selected_regions(), [2, 4]);
    click(&mut harness, "Undo");
    assert_eq!(names(&harness), before);

    click_with(&mut harness, &before[2], Modifiers::NONE);
    click_with(&mut harness, &before[4], Modifiers::SHIFT);
    assert_eq!(harness.state().selected_regions(), [2, 3, 4]);
    click(&mut harness, "Delete");
    assert_eq!(names(&harness), before[..2]);
    click(&mut harness, "Undo");
    assert_eq!(names(&harness), before);
    // The base stays, whatever is selected with it.
    click_with(&mut harness, &before[0], Modifiers::NONE);
    click_with(&mut harness, &before[1], Modifiers::COMMAND);
    harness.state_mut().apply(Command::ChooseRegion(1));
    harness.state_mut().apply(Command::ChooseToo(0));
    harness.state_mut().apply(Command::Delete);
    assert_eq!(plan_of(&harness).regions.len(), 4);
    assert_eq!(names(&harness)[0], before[0]);
}

#[test]
fn a_right_click_on_a_region_offers_what_can_be_done_with_it() {
    let mut harness = with_bands(2);
    let before = names(&harness);
    row(&harness, &before[1]).click_secondary();
    settle(&mut harness);
    assert_eq!(harness.state().chosen.region, Some(1));
    harness.get_by_label_contains("Show it on the part").click();
    settle(&mut harness);
    assert!((harness.state().view.cursor_mm - 4.5).abs() < 2.5);
    row(&harness, &before[1]).click_secondary();
    settle(&mut harness);
    harness.get_by_label_contains("Invert the area").click();
    settle(&mut harness);
    assert!(matches!(plan_of(&harness).regions[1].mask, Mask::Not(_)));
}

#[test]
fn an_area_grows_and_shrinks_by_its_keys() {
    let mut harness = with_bands(1);
    let band = |h: &Harness<'_, Session>| match plan_of(h).regions[1].mask {
        Mask::Band { from_mm, to_mm } => (from_mm, to_mm),
        ref other => panic!("{other:?}"),
    };
    assert_eq!(band(&harness), (2.0, 7.0));
    harness.key_press(Key::CloseBracket);
    settle(&mut harness);
    assert_eq!(band(&harness), (1.5, 7.5));
    harness.key_press(Key::OpenBracket);
    settle(&mut harness);
    assert_eq!(band(&harness), (2.0, 7.0));
    click(&mut harness, "Undo");
    click(&mut harness, "Undo");
    assert_eq!(band(&harness), (2.0, 7.0));
}

#[test]
fn the_wheel_with_alt_sets_the_brush_and_leaves_the_view() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    let at = on_stage(&harness, DVec3::new(0.0, -20.0, 30.0));
    let wheel = |h: &mut Harness<'_, Session>, modifiers| {
        h.event(Event::PointerMoved(at));
        let wheel = Event::MouseWheel {
            unit: MouseWheelUnit::Point,
            delta: vec2(0.0, 60.0),
            phase: egui::TouchPhase::Move,
            modifiers,
        };
        held(h, modifiers, true);
        h.event(wheel);
        for _ in 0..20 {
            h.step();
        }
        held(h, modifiers, false);
        settle(h);
    };
    let seen =
        |h: &Harness<'_, Session>| (h.state().tools.brush_mm, h.state().view.camera.mm_per_point);
    let (brush_mm, scale) = seen(&harness);
    wheel(&mut harness, Modifiers::ALT);
    let (wider_mm, same) = seen(&harness);
    assert!(wider_mm > brush_mm && same == scale, "{wider_mm} {same}");
    wheel(&mut harness, Modifiers::NONE);
    let (same_mm, zoomed) = seen(&harness);
    assert!(same_mm == wider_mm && zoomed < scale, "{same_mm} {zoomed}");
}

/// Holds keys, or lets go of them.
fn held(harness: &Harness<'_, Session>, modifiers: Modifiers, down: bool) {
    let now = if down { modifiers } else { Modifiers::NONE };
    harness.event(Event::ModifiersChanged(now));
}

fn press(harness: &mut Harness<'_, Session>, at: Pos2, modifiers: Modifiers) {
    held(harness, modifiers, true);
    harness.event(Event::PointerMoved(at));
    harness.step();
    for pressed in [true, false] {
        harness.event(Event::PointerButton {
            pos: at,
            button: PointerButton::Primary,
            pressed,
            modifiers,
        });
        harness.step();
    }
    held(harness, modifiers, false);
    settle(harness);
}

#[test]
fn with_shift_the_brush_goes_straight_from_where_it_ended() {
    let mut harness = bench(None);
    click(&mut harness, "Brush");
    let face = |x, z| DVec3::new(x, -20.0, z);
    let [from, to] = [face(-10.0, 20.0), face(10.0, 40.0)];
    let [start, end] = [from, to].map(|p| on_stage(&harness, p));
    press(&mut harness, start, Modifiers::NONE);
    press(&mut harness, end, Modifiers::SHIFT);
    assert_eq!(harness.state().tools.tool, Tool::Brush);
    let brush = plan_of(&harness).regions[1].brush.clone();
    assert_eq!(brush.len(), 2);
    let BrushStroke::Paint(stroke) = &brush[1] else {
        panic!("{brush:?}");
    };
    let ends = [stroke.dabs_mm.first(), stroke.dabs_mm.last()].map(|p| *p.expect("a dab"));
    assert!(
        ends[0].distance(from) < 1.0 && ends[1].distance(to) < 1.0,
        "{ends:?}"
    );
    // And on from there.
    let next = on_stage(&harness, face(10.0, 10.0));
    press(&mut harness, next, Modifiers::SHIFT);
    assert_eq!(plan_of(&harness).regions[1].brush.len(), 3);
}

#[test]
fn two_clicks_measure_the_part() {
    let mut harness = bench(None);
    click(&mut harness, "Measure");
    for z in [10.0, 40.0] {
        let at = on_stage(&harness, DVec3::new(0.0, -20.0, z));
        press(&mut harness, at, Modifiers::NONE);
    }
    let words = harness.state().tools.measure.words().expect("measured");
    let length: f64 = words
        .split(' ')
        .next()
        .expect("a number")
        .parse()
        .expect("mm");
    assert!((length - 30.0).abs() < 0.2, "{words}");
    harness.key_press(Key::Escape);
    settle(&mut harness);
    assert_eq!(harness.state().tools.measure.words(), None);
    assert_eq!(harness.state().tools.tool, Tool::Measure);
}

#[test]
fn the_drawer_is_as_wide_as_it_is_dragged_whatever_is_in_it() {
    let mut harness = bench(None);
    let left = |h: &Harness<'_, Session>| h.state().view.stage.right();
    let edge = rect_of(&harness, "Height ribbon").right();
    let before = left(&harness);
    for drawer in tintfall_viewer::model::page::Drawer::ALL {
        harness.state_mut().apply(Command::ShowDrawer(drawer));
        settle(&mut harness);
        assert_eq!(left(&harness), before, "{drawer:?}");
    }
    let at = |x: f32| Pos2::new(x, 400.0);
    drag(&mut harness, &line(at(edge + 3.0), at(edge - 117.0)));
    let wider = left(&harness);
    assert!((before - wider - 120.0).abs() < 12.0, "{before} {wider}");
    for drawer in tintfall_viewer::model::page::Drawer::ALL {
        harness.state_mut().apply(Command::ShowDrawer(drawer));
        settle(&mut harness);
        assert_eq!(left(&harness), wider, "{drawer:?}");
    }
}

#[test]
fn a_new_part_begins_with_one_blend_and_no_warning() {
    let folder = tempfile::tempdir().expect("a folder");
    let mesh = folder.path().join("block.stl");
    let block_of = geometry::solids::cuboid(DVec3::new(20.0, 20.0, 12.0)).expect("a block");
    std::fs::write(&mesh, geometry::read::mesh_to_stl(&block_of)).expect("written");
    let mut session = Session::new(None);
    session.open(&mesh);
    session.finish_work();
    let plan = session.doc.as_ref().expect("a part").plan();
    assert!(plan.regions[0].paint.one_blend().is_some());
    assert_eq!(session.warnings(), Vec::<String>::new());
}

#[test]
fn a_spool_takes_a_colour_code_and_the_open_page_leads_back_to_the_start() {
    let mut harness = bench(None);
    click(&mut harness, "Spools");
    let field = harness.get_by_label("Colour code of spool 1");
    field.focus();
    harness.run_ok();
    harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    harness
        .get_by_label("Colour code of spool 1")
        .type_text("#1f6f8b");
    harness.run_ok();
    harness.key_press(Key::Enter);
    settle(&mut harness);
    let colour = plan_of(&harness).spools[0].xyz().to_srgb();
    assert_eq!(colour.to_string(), "#1f6f8b");
    harness.state_mut().undo();

    let recent = std::path::PathBuf::from("works/bollard.plan.ron");
    harness.state_mut().recent.files = vec![recent];
    harness.state_mut().apply(Command::Open);
    settle(&mut harness);
    harness.get_by_label_contains("bollard.plan.ron");
    click(&mut harness, "Go to the start page");
    assert!(harness.state().doc.is_none());
    assert_eq!(Settings::default().scale, 1.0);
}

#[test]
fn every_page_of_the_drawer_can_be_reached_at_any_width_of_it() {
    use tintfall_viewer::model::page::Drawer;
    let mut harness = bench(None);
    for width in [0.0, 200.0, -400.0] {
        let edge = rect_of(&harness, "Height ribbon").right();
        let at = |x: f32| Pos2::new(x, 500.0);
        drag(&mut harness, &line(at(edge + 3.0), at(edge + 3.0 + width)));
        let edge = rect_of(&harness, "Height ribbon").right();
        for name in ["Colour", "Spools", "Part", "Weave", "Job"] {
            let tab = rect_of(&harness, name);
            assert!(tab.left() >= edge && tab.right() <= SIZE.x, "{name} {tab}");
            click(&mut harness, name);
            assert_eq!(harness.state().drawer.name(), name);
        }
        harness
            .state_mut()
            .apply(Command::ShowDrawer(Drawer::Colour));
        settle(&mut harness);
    }
}
