//! Edits of a plan: taken back, done again, refused, dragged.

use blend::{Fade, Shares, Spacing, Spool, SpoolColour, Srgb, Stop};
use geometry::mask::Stroke;
use geometry::{DVec3, Field, LayerPlan, Mask};
use plan::{
    BrushStroke, Edit, EditError, FirstPlan, History, Laying, Machine, MeshSource, NamedBlend,
    Paint, Plan, Region, Wall,
};
use proptest::prelude::*;

fn shares(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).expect("shares")
}

fn stroke(x: f64) -> Stroke {
    Stroke {
        dabs_mm: vec![DVec3::new(x, 0.0, 1.0)],
        radius_mm: 2.0,
        reach_mm: None,
    }
}

fn fade(at: f64) -> Paint {
    let stop = |at_mm, first| Stop {
        at_mm,
        shares: shares(first),
    };
    Paint::Fade {
        along: Field::Height,
        fade: Fade {
            stops: vec![stop(0.0, 1.0), stop(at, 0.5), stop(at + 10.0, 0.0)],
            spacing: Spacing::Linear,
        },
    }
}

fn start() -> Plan {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("lamp.stl"),
        title: "Lamp".into(),
        height_mm: 120.0,
    });
    let band = |from_mm| Mask::Band {
        from_mm,
        to_mm: from_mm + 10.0,
    };
    for i in 0..3 {
        let name = format!("Band {i}");
        let region = Region::new(name, band(20.0 * f64::from(i)), fade(5.0));
        plan.regions.push(region);
    }
    assert_eq!(plan.problems(), []);
    plan
}

fn touch() -> impl Strategy<Value = BrushStroke> {
    (any::<bool>(), -5.0..5.0).prop_map(|(erase, x)| match erase {
        true => BrushStroke::Erase(stroke(x)),
        false => BrushStroke::Paint(stroke(x)),
    })
}

fn edit() -> impl Strategy<Value = Edit> {
    let place = || 0usize..5;
    let spool = || Spool::new("Extra", SpoolColour::Hex(Srgb([9, 9, 9])));
    let simple = prop_oneof![
        "[a-z]{0,3}".prop_map(Edit::SetTitle),
        (0.0..0.6f64).prop_map(|h| Edit::SetLayers(LayerPlan {
            first_layer_mm: 0.2,
            layer_mm: h,
            changes: vec![]
        })),
        (-0.2..3.0f64).prop_map(Edit::SetSkin),
        proptest::option::of((-0.1..2.0f64, -0.1..1.1f64)).prop_map(|wall| Edit::SetWall(
            wall.map(|(thickness_mm, behind)| Wall {
                thickness_mm,
                behind,
            })
        )),
        (-1.0..9.0f64).prop_map(Edit::SetStep),
        (-1.0..9.0f64, any::<bool>()).prop_map(|(de00, lead)| Edit::SetLaying(Laying {
            lead,
            merge_de00: Some(de00),
            ..Laying::default()
        })),
        (0.0..1.0f64).prop_map(|nozzle_mm| Edit::SetMachine(
            Machine {
                nozzle_mm,
                ..Machine::default()
            }
            .into()
        )),
        place().prop_map(move |at| Edit::AddSpool { at, spool: spool() }),
        place().prop_map(|spool| Edit::RemoveSpool { spool }),
        (place(), place()).prop_map(|(from, to)| Edit::MoveSpool { from, to }),
        place().prop_map(move |i| Edit::SetSpool {
            spool: i,
            to: spool()
        }),
    ];
    let stack = prop_oneof![
        (place(), any::<bool>()).prop_map(|(at, odd)| {
            let shares = match odd {
                true => Shares::new(&[1.0]).expect("shares"),
                false => shares(0.3),
            };
            let region = Region::painted("New", Paint::Fixed(shares));
            Edit::AddRegion { at, region }
        }),
        place().prop_map(|region| Edit::RemoveRegion { region }),
        (place(), place()).prop_map(|(from, to)| Edit::MoveRegion { from, to }),
        place().prop_map(|region| Edit::DuplicateRegion { region }),
        (place(), place()).prop_map(|(from, into)| Edit::CombineRegions { from, into }),
        (place(), "[a-z]{0,2}").prop_map(|(region, to)| Edit::RenameRegion { region, to }),
        (place(), any::<bool>()).prop_map(|(region, hidden)| Edit::HideRegion { region, hidden }),
        (place(), proptest::bool::weighted(0.2))
            .prop_map(|(region, locked)| Edit::LockRegion { region, locked }),
        place().prop_map(|region| Edit::SetMask {
            region,
            to: Mask::Stroke(stroke(1.0))
        }),
        (place(), touch()).prop_map(|(region, touch)| Edit::SetArea {
            region,
            mask: Mask::Whole,
            brush: vec![touch],
        }),
        (place(), 1.0..20.0).prop_map(|(region, at)| Edit::SetPaint {
            region,
            to: fade(at)
        }),
    ];
    let fine = prop_oneof![
        (place(), -1.0..30.0, 0.0..1.0).prop_map(|(region, at_mm, first)| Edit::AddStop {
            region,
            stop: Stop {
                at_mm,
                shares: shares(first)
            },
        }),
        (place(), place()).prop_map(|(region, stop)| Edit::RemoveStop { region, stop }),
        (place(), place(), 0.0..20.0).prop_map(|(region, stop, at_mm)| Edit::MoveStop {
            region,
            stop,
            at_mm
        }),
        (place(), place(), 0.0..1.0).prop_map(|(region, stop, first)| Edit::SetStopShares {
            region,
            stop,
            shares: shares(first),
        }),
        place().prop_map(|region| Edit::SetSpacing {
            region,
            spacing: Spacing::EqualSteps
        }),
        (place(), place(), touch()).prop_map(|(region, at, touch)| Edit::AddTouch {
            region,
            at,
            touch
        }),
        (place(), place(), 1usize..4).prop_map(|(region, touch, n)| Edit::ExtendTouch {
            region,
            touch,
            dabs_mm: vec![DVec3::X; n],
        }),
        (place(), place(), 0usize..4).prop_map(|(region, touch, by)| Edit::ShortenTouch {
            region,
            touch,
            by
        }),
        (place(), place()).prop_map(|(region, touch)| Edit::RemoveTouch { region, touch }),
    ];
    let one = prop_oneof![simple, stack, fine];
    one.prop_recursive(1, 4, 3, |inner| {
        prop::collection::vec(inner, 0..3).prop_map(Edit::Together)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn undoing_everything_gives_the_first_plan(
        edits in prop::collection::vec((edit(), 0u8..4), 0..60),
    ) {
        let first = start();
        let mut plan = first.clone();
        let mut history = History::new();
        let mut drag = history.begin_drag();
        for (edit, kind) in edits {
            let before = plan.clone();
            if kind == 0 {
                drag = history.begin_drag();
            }
            let done = match kind {
                0 | 1 => history.apply_drag(&mut plan, edit, drag),
                _ => history.apply(&mut plan, edit),
            };
            if done.is_err() {
                prop_assert_eq!(&plan, &before);
            }
            prop_assert_eq!(plan.problems(), vec![]);
        }
        let last = plan.clone();
        let steps = history.undo_count();
        for _ in 0..steps {
            prop_assert!(history.undo(&mut plan));
        }
        prop_assert_eq!(&plan, &first);
        prop_assert!(!history.is_unsaved());
        for _ in 0..steps {
            prop_assert!(history.redo(&mut plan));
        }
        prop_assert_eq!(&plan, &last);
    }
}

#[test]
fn locked_regions_refuse() {
    let mut plan = start();
    Edit::LockRegion {
        region: 1,
        locked: true,
    }
    .apply(&mut plan)
    .expect("locks");
    let before = plan.clone();
    let touch = BrushStroke::Paint(stroke(0.0));
    for edit in [
        Edit::SetPaint {
            region: 1,
            to: Paint::Fixed(shares(0.5)),
        },
        Edit::RemoveRegion { region: 1 },
        Edit::AddTouch {
            region: 1,
            at: 0,
            touch,
        },
        Edit::MoveStop {
            region: 1,
            stop: 1,
            at_mm: 7.0,
        },
        Edit::CombineRegions { from: 2, into: 1 },
        Edit::CombineRegions { from: 1, into: 2 },
    ] {
        let error = edit.apply(&mut plan).expect_err("locked");
        assert_eq!(error, EditError::Locked("Band 0".into()));
        assert_eq!(plan, before);
    }
}

#[test]
fn stops_cannot_pass_each_other_and_two_must_stay() {
    let mut plan = start();
    let passed = Edit::MoveStop {
        region: 1,
        stop: 1,
        at_mm: 15.0,
    };
    let error = passed.apply(&mut plan).expect_err("passes").to_string();
    assert!(error.contains("higher than the one before"), "{error}");
    Edit::RemoveStop { region: 1, stop: 1 }
        .apply(&mut plan)
        .expect("two stay");
    Edit::RemoveStop { region: 1, stop: 1 }
        .apply(&mut plan)
        .expect_err("one would stay");
    assert_eq!(plan.problems(), []);
}

#[test]
fn a_drag_is_one_step_and_small() {
    let mut plan = start();
    let first = plan.clone();
    let mut history = History::new();
    let drag = history.begin_drag();
    for i in 0..1000 {
        let edit = Edit::MoveStop {
            region: 1,
            stop: 1,
            at_mm: 1.0 + f64::from(i) * 0.01,
        };
        history.apply_drag(&mut plan, edit, drag).expect("moves");
    }
    assert_eq!(history.undo_count(), 1);
    // A mirrored stroke: two at once, drawn on together.
    let drag = history.begin_drag();
    let both = |edit: &dyn Fn(usize) -> Edit| Edit::Together(vec![edit(0), edit(1)]);
    let begin = both(&|at| Edit::AddTouch {
        region: 1,
        at,
        touch: BrushStroke::Paint(stroke(0.0)),
    });
    history.apply_drag(&mut plan, begin, drag).expect("begins");
    for _ in 0..1000 {
        let on = both(&|touch| Edit::ExtendTouch {
            region: 1,
            touch,
            dabs_mm: vec![DVec3::Y],
        });
        history.apply_drag(&mut plan, on, drag).expect("draws on");
    }
    assert_eq!(plan.regions[1].brush[1].stroke().dabs_mm.len(), 1001);
    assert_eq!(history.undo_count(), 2);
    assert!(
        format!("{history:?}").len() < 5000,
        "the drags were not joined"
    );
    assert!(history.undo(&mut plan) && history.undo(&mut plan));
    assert_eq!(plan, first);
    assert_eq!(history.redo_label(), Some("move a stop"));
}

#[test]
fn the_history_is_long_and_knows_what_was_saved() {
    let mut plan = start();
    let mut history = History::new();
    assert!(!history.is_unsaved());
    for i in 0..600 {
        history
            .apply(&mut plan, Edit::SetTitle(i.to_string()))
            .expect("renames");
    }
    history.mark_saved();
    history.undo(&mut plan);
    assert!(history.is_unsaved());
    history.redo(&mut plan);
    assert!(!history.is_unsaved());
    history.undo(&mut plan);
    // Another edit instead of redo: the saved state can't be reached any more.
    history
        .apply(&mut plan, Edit::SetTitle("other".into()))
        .expect("renames");
    assert!(history.is_unsaved());
    for _ in 0..600 {
        assert!(history.undo(&mut plan));
    }
    assert_eq!(plan, start());
}

#[test]
fn removing_a_spool_shares_its_part_out() {
    let mut plan = start();
    let spool = Spool::new("Third", SpoolColour::Hex(Srgb([1, 2, 3])));
    Edit::AddSpool { at: 1, spool }
        .apply(&mut plan)
        .expect("adds");
    let mixed = Shares::new(&[0.2, 0.5, 0.3]).expect("shares");
    let to = Paint::Fixed(mixed);
    Edit::SetPaint { region: 1, to }
        .apply(&mut plan)
        .expect("paints");
    Edit::RemoveSpool { spool: 1 }
        .apply(&mut plan)
        .expect("removes");
    let Paint::Fixed(left) = plan.regions[1].paint else {
        panic!("one blend");
    };
    assert_eq!(left, Shares::from_weights(&[0.2, 0.3]).expect("shares"));
}

fn named(name: &str, first: f64) -> NamedBlend {
    NamedBlend {
        name: name.to_owned(),
        shares: shares(first),
    }
}

/// What region 1 and 2 are fed.
fn fed(plan: &Plan) -> [Option<Shares>; 2] {
    [1, 2].map(|i| plan.regions[i].paint.one_blend().copied())
}

#[test]
fn a_named_blend_changes_all_its_regions_at_once() {
    let mut plan = start();
    let blends = vec![named("Dusk", 0.4), named("Dawn", 0.9)];
    Edit::SetBlends(blends)
        .apply(&mut plan)
        .expect("a sound list");
    for region in [1, 2] {
        // What the paint brings along does not count: the plan's list does.
        let to = Paint::Blend(named("Dusk", 0.1));
        Edit::SetPaint { region, to }
            .apply(&mut plan)
            .expect("a known name");
    }
    assert_eq!(fed(&plan), [Some(shares(0.4)); 2]);
    let before = plan.clone();
    let brighter = vec![named("Dusk", 0.7), named("Dawn", 0.9)];
    let undo = Edit::SetBlends(brighter)
        .apply(&mut plan)
        .expect("a change");
    assert_eq!(fed(&plan), [Some(shares(0.7)); 2]);
    undo.apply(&mut plan).expect("taken back");
    assert_eq!(plan, before);
    let rename = Edit::RenameBlend {
        from: "Dusk".into(),
        to: "Evening".into(),
    };
    let undo = rename.apply(&mut plan).expect("a free name");
    assert!(plan.blend_named("Dusk").is_none());
    assert_eq!(fed(&plan), [Some(shares(0.4)); 2]);
    undo.apply(&mut plan).expect("taken back");
    assert_eq!(plan, before);
    // Refused, and the plan stays as it was: a name in use taken out, a name twice, an
    // unknown name, other shares than spools.
    for wrong in [
        Edit::SetBlends(vec![named("Dawn", 0.9)]),
        Edit::RenameBlend {
            from: "Dusk".into(),
            to: "Dawn".into(),
        },
        Edit::RenameBlend {
            from: "Noon".into(),
            to: "Night".into(),
        },
        Edit::SetPaint {
            region: 1,
            to: Paint::Blend(named("Noon", 0.5)),
        },
        Edit::SetBlends(vec![NamedBlend {
            name: "Dusk".into(),
            shares: Shares::SINGLE,
        }]),
    ] {
        let said = format!("{wrong:?}");
        wrong.apply(&mut plan).expect_err(&said);
        assert_eq!(plan, before, "{said}");
    }
    // A spool more: the list's blends get a share for it, and the regions with them.
    let spool = Spool::new("Extra", SpoolColour::Hex(Srgb([9, 9, 9])));
    let undo = Edit::AddSpool { at: 2, spool }
        .apply(&mut plan)
        .expect("room");
    let three = Shares::new(&[0.4, 0.6, 0.0]).expect("shares");
    assert_eq!(plan.blends[0].shares, three);
    assert_eq!(fed(&plan), [Some(three); 2]);
    undo.apply(&mut plan).expect("taken back");
    assert_eq!(plan, before);
}

#[test]
fn a_plan_names_its_blends_in_its_text() {
    let mut plan = start();
    plan.blends = vec![named("Dusk", 0.4)];
    let to = Paint::Blend(named("Dusk", 0.4));
    Edit::SetPaint { region: 1, to }
        .apply(&mut plan)
        .expect("a known name");
    let text = plan.to_ron().expect("text");
    assert!(text.contains("Blend(\"Dusk\")"), "{text}");
    assert_eq!(Plan::from_ron(&text).expect("reads"), plan);
    // A change by hand in one place is a change of the region.
    let by_hand = text.replacen("[0.4, 0.6]", "[0.25, 0.75]", 1);
    let read = Plan::from_ron(&by_hand).expect("reads");
    assert_eq!(read.regions[1].paint.one_blend(), Some(&shares(0.25)));
    let wrong = text.replacen("Blend(\"Dusk\")", "Blend(\"Dust\")", 1);
    let said = Plan::from_ron(&wrong).expect_err("unknown").to_string();
    assert!(
        said.contains("line ") && said.contains("'Dust'") && said.contains("'Dusk'"),
        "{said}"
    );
}
