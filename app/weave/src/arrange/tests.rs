use std::io;
use std::sync::Arc;

use demo_models::slicer::{Recipe, Retraction, Stand as Place};
use geometry::{DVec3, Mask, solids};
use plan::machine::Chamber;
use project::signoff::Standing;

use toolpath::Settings;

use super::*;
use crate::dialect::Dialect;
use crate::register::Placement;
use crate::register::tests::sliced;
use crate::tests::{painted_on, region, run};
use crate::verify::{Verified, Verify};
use crate::{Source, Weave, Woven};

pub(super) const USUAL: Chamber = Chamber {
    dead_mm3: 20.0,
    mixed_mm3: 30.0,
    tanks: 1,
};

/// A block with a badge on one side, which its walls run through.
pub(super) fn badge() -> Painted {
    let part = solids::cuboid(DVec3::new(24.0, 18.0, 3.0)).expect("a block");
    let side = Mask::Box {
        min_mm: DVec3::new(-6.0, -10.0, 0.8),
        max_mm: DVec3::new(6.0, -7.5, 2.4),
    };
    let mut painted = painted_on(
        &part,
        vec![region("All", Mask::Whole, 1.0), region("Badge", side, 0.0)],
        USUAL,
    );
    // The machine's own pace.
    let mut plan = painted.plan().clone();
    plan.machine.value.changes_per_minute = 60.0;
    let model = plan.model();
    painted = painted
        .revised(plan, model, &Progress::new())
        .expect("the same plan");
    painted
}

pub(super) fn recipe() -> Recipe {
    Recipe {
        walls: 2,
        stands: vec![Place {
            turn_deg: 0.0,
            shift_mm: [60.0, 60.0],
        }],
        ..Recipe::default()
    }
}

pub(super) fn woven(painted: &Painted, how: &Arrange, file: &[u8]) -> (Woven, String) {
    let dialect = Dialect::built_in("slots").expect("built in");
    let job = Weave {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: vec![Placement {
            shift_mm: [60.0, 60.0],
            ..Placement::default()
        }],
        arrange: how.clone(),
        review: Standing::not_reviewed(),
    };
    run(&job, file).expect("it is woven")
}

pub(super) fn verified(painted: &Painted, woven: &str, before: &[u8]) -> Verified {
    let dialect = Dialect::built_in("slots").expect("built in");
    let verify = Verify {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: vec![Placement {
            shift_mm: [60.0, 60.0],
            ..Placement::default()
        }],
        chamber: USUAL,
    };
    let held: [Arc<[u8]>; 2] = [woven.as_bytes().into(), before.into()];
    let [open_woven, open_before] = held.map(|bytes| {
        move || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(Arc::clone(&bytes)))) }
    });
    let source = |open| Source::new(open, 0);
    verify
        .run(
            &source(&open_woven),
            Some(&source(&open_before)),
            &Progress::new(),
        )
        .expect("it is read back")
}

fn purge(purge: Purge) -> Arrange {
    Arrange {
        purge,
        ..Arrange::default()
    }
}

pub(super) fn mean(found: &Verified) -> f64 {
    found.printed.mean_de00().expect("skin")
}

#[test]
fn a_badge_comes_out_with_a_block_and_not_without() {
    let painted = badge();
    let file = sliced(painted.surface().mesh(), 0.2, &recipe());
    let (_, text) = woven(&painted, &purge(Purge::Stay), &file);
    let stayed = verified(&painted, &text, &file);
    assert!(stayed.same.as_ref().is_some_and(|s| s.holds()));
    let (inside, text) = woven(&painted, &purge(Purge::Inside), &file);
    let inside_found = verified(&painted, &text, &file);
    assert_eq!(inside_found.fault(), None);
    assert!(
        inside
            .arranged
            .is_some_and(|a| a.blocks.is_empty() && a.hidden_mm3 > 0.0)
    );
    let (blocked, text) = woven(&painted, &purge(Purge::Block), &file);
    let found = verified(&painted, &text, &file);
    assert_eq!(found.fault(), None);
    let laws = found.laws.as_ref().expect("runs changed places");
    assert!(laws.cut > 0 && laws.purged_mm > 10.0, "{laws:?}");
    let arranged = blocked.arranged.expect("runs changed places");
    assert!(
        !arranged.blocks.is_empty() && arranged.reordered >= 6,
        "{arranged:?}"
    );
    let means = [mean(&stayed), mean(&inside_found), mean(&found)];
    println!("ΔE00 in order, inside, with a block: {means:?}");
    assert!(
        means[1] <= means[0] + 0.05 && means[2] < 0.5 * means[0],
        "{means:?}"
    );
}

#[test]
fn every_habit_of_a_file_survives() {
    let painted = badge();
    let habits = [
        Recipe {
            extruder: Distance::Absolute,
            ..recipe()
        },
        Recipe {
            retraction: Retraction::Firmware,
            ..recipe()
        },
        Recipe {
            retraction: Retraction::None,
            ..recipe()
        },
        Recipe {
            checked: true,
            end: "\r\n",
            ..recipe()
        },
        Recipe {
            checked: true,
            extruder: Distance::Absolute,
            ..recipe()
        },
        Recipe {
            arcs_within_mm: Some(0.06),
            walls: 3,
            ..recipe()
        },
    ];
    for habit in habits {
        let file = sliced(painted.surface().mesh(), 0.2, &habit);
        let (woven, text) = woven(&painted, &Arrange::default(), &file);
        assert!(woven.arranged.is_some(), "{habit:?}");
        let found = verified(&painted, &text, &file);
        assert_eq!(found.fault(), None, "{habit:?}");
        assert!(
            found.laws.is_some() && found.cautions.is_empty(),
            "{habit:?}: {:?}",
            found.cautions
        );
        // No farther off than is allowed where a blend begins.
        assert!(mean(&found) < ALLOW_DE00, "{habit:?}: {}", mean(&found));
    }
}

#[test]
fn what_is_not_understood_stays_in_order() {
    let painted = badge();
    let file = sliced(painted.surface().mesh(), 0.2, &recipe());
    let text = String::from_utf8(file).expect("text");
    // Every move by relative positions: nothing may change places.
    let relative = text.replace("G0 Z", "G91\nG90\nG0 Z");
    let (kept, _) = woven(&painted, &Arrange::default(), relative.as_bytes());
    assert!(kept.arranged.is_none());
    assert!(
        kept.cautions
            .iter()
            .any(|c| c.contains("relative positions"))
    );
    // A heater in the midst of each layer is a wall, and the laws still hold.
    let mut count = 0;
    let heated: String = text
        .split_inclusive('\n')
        .map(|line| {
            count += 1;
            match count % 37 == 0 && line.starts_with("G1 X") {
                true => format!("{line}M104 S{}\n", 200 + count % 7),
                false => line.to_owned(),
            }
        })
        .collect();
    let (_, text) = woven(&painted, &Arrange::default(), heated.as_bytes());
    let found = verified(&painted, &text, heated.as_bytes());
    assert_eq!(found.fault(), None);
}

#[test]
fn settings_go_with_their_plastic() {
    let painted = badge();
    let file = sliced(painted.surface().mesh(), 0.2, &recipe());
    let text = String::from_utf8(file).expect("text");
    let mut count = 0;
    let set: String = text
        .split_inclusive('\n')
        .map(|line| {
            count += 1;
            match line.starts_with("G0 X") {
                true => format!(
                    "{line}M204 S{}\nM106 S{}\n;TYPE:{count}\n",
                    500 + count % 5,
                    count % 3
                ),
                false => line.to_owned(),
            }
        })
        .collect();
    let (woven, text) = woven(&painted, &Arrange::default(), set.as_bytes());
    assert!(woven.arranged.is_some());
    let found = verified(&painted, &text, set.as_bytes());
    assert_eq!(found.fault(), None);
}

/// A post with bands of 10 mm, and whether its jumps are to be purged.
fn banded(purge_jumps: bool) -> Painted {
    let post = solids::cuboid(DVec3::new(11.0, 11.0, 30.0)).expect("a post");
    let band = Mask::Band {
        from_mm: 10.0,
        to_mm: 20.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Band", band, 0.0)];
    let painted = painted_on(&post, regions, USUAL);
    let mut plan = painted.plan().clone();
    plan.machine.value.changes_per_minute = 60.0;
    plan.laying.purge_jumps = purge_jumps;
    let model = plan.model();
    painted
        .revised(plan, model, &Progress::new())
        .expect("the same plan")
}

/// A plan that depends on height alone is laid anew only where it asks to purge at its jumps.
#[test]
fn jumps_are_purged_where_the_plan_says_so() {
    let smeared = banded(false);
    let file = sliced(smeared.surface().mesh(), 0.2, &recipe());
    let (kept, text) = woven(&smeared, &Arrange::default(), &file);
    assert!(kept.arranged.is_none());
    let before = mean(&verified(&smeared, &text, &file));
    let purged = banded(true);
    let (laid, text) = woven(&purged, &Arrange::default(), &file);
    let arranged = laid.arranged.expect("a block");
    let found = verified(&purged, &text, &file);
    assert_eq!(found.fault(), None);
    let after = mean(&found);
    println!(
        "ΔE00 smeared {before}, purged {after}, block {} g",
        arranged.block_g
    );
    assert!(
        !arranged.blocks.is_empty() && after < 0.4 * before,
        "{before} {after}"
    );
    let (_, text) = woven(&purged, &purge(Purge::Stay), &file);
    assert!((mean(&verified(&purged, &text, &file)) - before).abs() < 0.05);
}

/// Beside regions that share layers, a jump is purged only where the plan says so.
#[test]
fn jumps_beside_shared_layers_follow_the_plan_as_well() {
    let made = |purge_jumps: bool| {
        let part = solids::cuboid(DVec3::new(16.0, 14.0, 8.0)).expect("a block");
        let side = Mask::Box {
            min_mm: DVec3::new(-4.0, -8.0, 0.8),
            max_mm: DVec3::new(4.0, -5.5, 1.8),
        };
        let band = Mask::Band {
            from_mm: 5.0,
            to_mm: 8.0,
        };
        let regions = vec![
            region("All", Mask::Whole, 1.0),
            region("Badge", side, 0.0),
            region("Band", band, 0.0),
        ];
        let painted = painted_on(&part, regions, USUAL);
        let mut plan = painted.plan().clone();
        plan.machine.value.changes_per_minute = 60.0;
        plan.laying.purge_jumps = purge_jumps;
        let model = plan.model();
        let painted = painted
            .revised(plan, model, &Progress::new())
            .expect("the same plan");
        let file = sliced(painted.surface().mesh(), 0.2, &recipe());
        let (laid, _) = woven(&painted, &Arrange::default(), &file);
        laid.arranged.expect("a block").blocks[0].block.top_mm
    };
    // The block ends with the badge, or with the jump.
    let (plain, purged) = (made(false), made(true));
    assert!(plain < 2.5 && purged > 5.0, "{plain} {purged}");
}
