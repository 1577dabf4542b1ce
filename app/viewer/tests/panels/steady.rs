//! Showing a plan changes nothing: no frame and no move of the focus edits it.

use egui::{Event, Key, Modifiers, pos2};
use egui_kittest::Harness;
use geometry::Mask;
use plan::{Edit, Paint, Plan, Region};
use proptest::prelude::*;
use tintfall_viewer::commands::Command;
use tintfall_viewer::model::document::Origin;
use tintfall_viewer::model::page::Drawer;
use tintfall_viewer::session::Session;

use crate::bench::{block, plan, plan_of, shown};

/// What would differ if something had been edited.
fn state_of(harness: &Harness<'_, Session>) -> (Plan, u64, bool, Option<&'static str>) {
    let doc = harness.state().doc.as_ref().expect("a part");
    let redo = doc.redo_label();
    (doc.plan().clone(), doc.revision(), doc.is_unsaved(), redo)
}

/// A plan with a band of two spools' shares, in a window on a drawer.
fn showing<'a>(share: f64, drawer: Drawer, change: &Change) -> Harness<'a, Session> {
    let mut plan = plan();
    change.make(&mut plan);
    let shares = blend::Shares::from_weights(&[share, 1.0 - share]).expect("shares");
    let mask = Mask::Band {
        from_mm: 10.0,
        to_mm: 20.0,
    };
    let region = Region::new("Band", mask, Paint::Fixed(shares));
    plan.regions.push(region);
    let mut session = Session::new(None);
    session.take_part(plan, Origin::default(), block());
    session.drawer = drawer;
    session.finish_work();
    let mut harness = shown(session);
    harness.state_mut().finish_work();
    harness
}

/// Numbers that fields would like to round or to hold in their range.
#[derive(Clone, Debug)]
struct Change {
    layer_mm: f64,
    skin_mm: f64,
    density: f64,
    stop_mm: f64,
}

impl Change {
    fn make(&self, plan: &mut Plan) {
        plan.layers.layer_mm = self.layer_mm;
        plan.skin_mm = self.skin_mm;
        if let Some(spool) = plan.spools.value.list.first_mut() {
            spool.density_g_cm3 = self.density;
        }
        if let Some(Paint::Fade { fade, .. }) = plan.regions.first_mut().map(|r| &mut r.paint)
            && let Some(stop) = fade.stops.first_mut()
        {
            stop.at_mm = self.stop_mm;
        }
    }
}

#[test]
fn a_share_that_is_no_whole_step_is_left_alone() {
    for share in [0.55, 0.29, 0.57, 1.0 / 3.0, 0.333_333] {
        let change = Change {
            layer_mm: 0.5,
            skin_mm: 0.8,
            density: 1.24,
            stop_mm: 0.0,
        };
        let mut harness = showing(share, Drawer::Colour, &change);
        let before = state_of(&harness);
        for _ in 0..5 {
            harness.step();
        }
        assert_eq!(state_of(&harness), before, "{share}");
    }
}

#[test]
fn tabbing_through_all_fields_leaves_undo_and_redo_alone() {
    let change = Change {
        layer_mm: 0.5,
        skin_mm: 0.8,
        density: 1.24,
        stop_mm: 0.0,
    };
    let mut harness = showing(0.55, Drawer::Colour, &change);
    harness
        .state_mut()
        .edit(Edit::SetTitle("Bollard".to_owned()));
    harness.state_mut().undo();
    let before = state_of(&harness);
    assert!(before.3.is_some(), "there is something to do again");
    for drawer in Drawer::ALL {
        harness.state_mut().apply(Command::ShowDrawer(drawer));
        for _ in 0..60 {
            harness.key_press(Key::Tab);
            harness.step();
        }
        assert_eq!(state_of(&harness), before, "{drawer:?}");
    }
}

#[test]
fn a_typed_share_is_one_step_of_undo() {
    use egui_kittest::kittest::Queryable;
    let change = Change {
        layer_mm: 0.5,
        skin_mm: 0.8,
        density: 1.24,
        stop_mm: 0.0,
    };
    let mut harness = showing(0.5, Drawer::Colour, &change);
    let name = plan_of(&harness).spools.list[0].name.clone();
    harness.get_by_label(&format!("{name} in percent")).click();
    harness.run_ok();
    harness.event(Event::Text("55".to_owned()));
    harness.run_ok();
    harness.key_press(Key::Enter);
    harness.run_ok();
    let share = |h: &Harness<'_, Session>| match &plan_of(h).regions[1].paint {
        Paint::Fixed(shares) => shares.as_slice()[0],
        paint => panic!("{paint:?}"),
    };
    assert!((share(&harness) - 0.55).abs() < 1e-9, "{}", share(&harness));
    let revision = state_of(&harness).1;
    for _ in 0..5 {
        harness.step();
    }
    assert_eq!(state_of(&harness).1, revision);
    harness.state_mut().undo();
    assert!((share(&harness) - 0.5).abs() < 1e-9);
}

/// Something that happens without anybody changing anything.
#[derive(Clone, Debug)]
enum Idle {
    Frame,
    Focus(bool),
    Pointer(f32, f32),
    Drawer(usize),
    Region(bool),
}

fn idle() -> impl Strategy<Value = Idle> {
    prop_oneof![
        Just(Idle::Frame),
        any::<bool>().prop_map(Idle::Focus),
        (0.0_f32..1280.0, 0.0_f32..800.0).prop_map(|(x, y)| Idle::Pointer(x, y)),
        (0..Drawer::ALL.len()).prop_map(Idle::Drawer),
        any::<bool>().prop_map(Idle::Region),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn no_frame_and_no_move_of_the_focus_edits_a_plan(
        share in 0.0_f64..=1.0,
        layer_mm in 0.301_f64..0.9,
        skin_mm in 0.05_f64..3.0,
        density in 0.5_f64..3.0,
        stop_mm in 0.0_f64..20.0,
        drawer in 0..Drawer::ALL.len(),
        idle in proptest::collection::vec(idle(), 1..40),
    ) {
        let change = Change { layer_mm, skin_mm, density, stop_mm };
        let mut harness = showing(share, Drawer::ALL[drawer], &change);
        let before = state_of(&harness);
        for event in idle {
            match event {
                Idle::Frame => {}
                Idle::Focus(back) => {
                    let modifiers = if back { Modifiers::SHIFT } else { Modifiers::NONE };
                    harness.key_press_modifiers(modifiers, Key::Tab);
                }
                Idle::Pointer(x, y) => harness.event(Event::PointerMoved(pos2(x, y))),
                Idle::Drawer(i) => {
                    harness.state_mut().apply(Command::ShowDrawer(Drawer::ALL[i]));
                }
                Idle::Region(up) => {
                    let command = if up { Command::ChooseAbove } else { Command::ChooseBelow };
                    harness.state_mut().apply(command);
                }
            }
            harness.step();
        }
        prop_assert_eq!(state_of(&harness), before);
    }
}
