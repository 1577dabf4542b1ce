//! Regions, bands and fades by pointer and keys.

use blend::Shares;
use egui::{Key, pos2};
use egui_kittest::kittest::Queryable;
use geometry::{DVec3, Field, Mask};
use plan::{BrushStroke, Paint};
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::document::Origin;
use tintfall_viewer::session::Session;

use crate::bench::*;

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
    click(&mut harness, "Leave Band out of the print");
    assert!(plan_of(&harness).regions[1].hidden);
    click(&mut harness, "Print Band");
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
                touch: BrushStroke::Paint(stroke),
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
fn a_picked_blend_is_stored_and_shared() {
    let mut harness = bench(None);
    harness.state_mut().add_band(20.0, 30.0);
    harness.state_mut().add_band(40.0, 50.0);
    settle(&mut harness);
    let wanted = plan_of(&harness).regions[2].paint.one_blend().copied();
    click(&mut harness, "Pick a blend");
    // A click, on the ribbon, in the upper band.
    let at = on_blends(&harness, 45.0);
    drag(&mut harness, &[at, at]);
    settle(&mut harness);
    let blends = &plan_of(&harness).blends;
    assert_eq!(blends.len(), 1, "{blends:?}");
    assert_eq!(blends[0].name, "Blend 1");
    assert_eq!(Some(blends[0].shares), wanted);

    for region in [1, 2] {
        harness.state_mut().apply(Command::ChooseRegion(region));
        let use_it = Command::UseBlend("Blend 1".to_owned());
        harness.state_mut().apply(use_it);
        settle(&mut harness);
    }
    let shares = Shares::new(&[0.25, 0.75]).expect("shares");
    harness.state_mut().apply(Command::SetBlend(shares));
    settle(&mut harness);
    for region in [1, 2] {
        let paint = &plan_of(&harness).regions[region].paint;
        assert_eq!(paint.one_blend(), Some(&shares), "region {region}");
    }
    // Taken out of the list, it stays with its regions.
    harness
        .state_mut()
        .apply(Command::DropBlend("Blend 1".to_owned()));
    settle(&mut harness);
    let plan = plan_of(&harness);
    assert!(plan.blends.is_empty());
    assert_eq!(plan.regions[1].paint, Paint::Fixed(shares));
    click(&mut harness, "Undo");
    assert_eq!(plan_of(&harness).blends.len(), 1);
}
