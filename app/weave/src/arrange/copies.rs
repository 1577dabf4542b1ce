//! Copies that are printed one after another: a block for each, clear of the tool head's way, or none
//! and why.

use demo_models::slicer::{Recipe, Stand as Place};
use plan::machine::Clearance;
use project::signoff::Standing;
use toolpath::Settings;

use super::tests::{USUAL, badge, recipe};
use super::*;
use crate::dialect::Dialect;
use crate::register::Placement;
use crate::register::tests::sliced;
use crate::tests::run;
use crate::verify::{Verified, Verify};
use crate::{Source, Weave, Woven};

/// Where the copies stand, mm.
const AT_MM: [f64; 2] = [60.0, 140.0];

/// The badge on a machine with a clearance, if one is given.
fn on_a_machine(clearance: Option<[f64; 2]>) -> Painted {
    let painted = badge();
    let mut plan = painted.plan().clone();
    plan.machine.value.clearance = clearance.map(|[around_mm, under_mm]| Clearance {
        around_mm,
        under_mm,
    });
    let model = plan.model();
    let revised = painted.revised(plan, model, &Progress::new());
    revised.expect("the same plan")
}

/// The part twice, one copy after the other. From one to the next the nozzle goes high above what
/// stands, and comes down over the free plate.
fn one_after_another(painted: &Painted) -> Vec<u8> {
    let of = |x: f64| {
        let recipe = Recipe {
            stands: vec![Place {
                turn_deg: 0.0,
                shift_mm: [x, 60.0],
            }],
            ..recipe()
        };
        sliced(painted.surface().mesh(), 0.2, &recipe)
    };
    let [first, second] = AT_MM;
    let mut file = of(first);
    file.extend_from_slice(b"G1 E-0.8 F1800\nG0 Z20 F9000\n");
    file.extend_from_slice(format!("G0 X{second} Y60\nG0 Z0.2\nG1 E0.8 F1800\n").as_bytes());
    file.extend(of(second));
    file
}

fn stands() -> Vec<Placement> {
    let stand = |x: f64| Placement {
        shift_mm: [x, 60.0],
        ..Placement::default()
    };
    AT_MM.map(stand).to_vec()
}

fn woven(painted: &Painted, file: &[u8]) -> (Woven, String) {
    let dialect = Dialect::built_in("slots").expect("built in");
    let job = Weave {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: stands(),
        arrange: Arrange::default(),
        review: Standing::not_reviewed(),
    };
    run(&job, file).expect("it is woven")
}

fn verified(painted: &Painted, woven: &str, before: &[u8]) -> Verified {
    let dialect = Dialect::built_in("slots").expect("built in");
    let verify = Verify {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: stands(),
        chamber: USUAL,
    };
    let [open_woven, open_before] = [woven.as_bytes().to_vec(), before.to_vec()].map(|bytes| {
        move || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(bytes.clone()))) }
    });
    let (now, was) = (Source::new(&open_woven, 0), Source::new(&open_before, 0));
    let found = verify.run(&now, Some(&was), &Progress::new());
    found.expect("it is read back")
}

#[test]
fn each_copy_has_a_block_of_its_own_that_is_clear_of_the_head() {
    let around_mm = 40.0;
    let painted = on_a_machine(Some([around_mm, 25.0]));
    let file = one_after_another(&painted);
    let (laid, text) = woven(&painted, &file);
    let arranged = laid.arranged.as_ref().expect("runs changed places");
    assert_eq!(arranged.blocks.len(), 2, "{:?}", laid.cautions);
    let declared = text
        .lines()
        .filter(|line| line.starts_with("; Purge block: x"));
    assert_eq!(declared.count(), 2);
    assert!(text.contains("; Room about the nozzle: 40.000 mm"));
    // Each stands by its own copy, and far from the other: the part is 24 mm wide.
    for (number, placed) in arranged.blocks.iter().enumerate() {
        let (low, high) = placed.block.bounds_mm();
        let other = AT_MM[1 - number];
        let gap = (low[0] - (other + 12.0)).max(other - 12.0 - high[0]);
        assert!(gap >= around_mm, "{number}: {gap} {:?}", placed.block);
        assert!(
            (0.5 * (low[0] + high[0]) - AT_MM[number]).abs() < 15.0,
            "{low:?}"
        );
        let laid_mm3: f64 = placed.levels.iter().map(|level| level.volume_mm3).sum();
        assert!(laid_mm3 > 10.0, "{laid_mm3}");
    }
    let found = verified(&painted, &text, &file);
    assert_eq!(found.fault(), None);
    let laws = found.laws.as_ref().expect("runs changed places");
    assert!(laws.purged_mm > 10.0, "{laws:?}");
    let mean = found.printed.mean_de00().expect("skin");
    println!("two copies with a block each: mean ΔE00 {mean:.2}");
    assert!(mean < ALLOW_DE00, "{mean}");
    // The same plastic comes out for each, as near as the order of its lines lets it.
    let volumes = arranged.blocks.iter().map(|placed| {
        let levels = placed.levels.iter();
        levels.map(|level| level.volume_mm3).sum::<f64>()
    });
    let volumes: Vec<f64> = volumes.collect();
    assert!(
        (volumes[0] - volumes[1]).abs() < 0.3 * volumes[0],
        "{volumes:?}"
    );
}

#[test]
fn without_room_there_is_no_block_and_the_person_is_told_what_to_do() {
    for (clearance, says) in [
        (
            None,
            ["after 3.00 mm", "Write `clearance` in the machine file"],
        ),
        (
            Some([40.0, 2.0]),
            [
                "stand 3.00 mm high",
                "no more than 2.00 mm pass under its carriage",
            ],
        ),
        // The copies are 56 mm apart.
        (
            Some([70.0, 25.0]),
            [
                "no place for a purge block beside copy 2",
                "70.0 mm from the others",
            ],
        ),
    ] {
        let painted = on_a_machine(clearance);
        let file = one_after_another(&painted);
        let (laid, text) = woven(&painted, &file);
        let arranged = laid.arranged.as_ref().expect("runs changed places");
        assert!(
            arranged.blocks.len() < 2 && arranged.reordered > 0,
            "{clearance:?}"
        );
        let told = laid.cautions.join("\n");
        for says in says {
            assert!(told.contains(says), "{clearance:?}: {told}");
        }
        // The head of the file says it as well, in lines of its own width.
        let head: String = text
            .lines()
            .take(80)
            .map(|line| line.trim_start_matches(';'))
            .collect();
        let words = head.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("one after another"), "{words}");
        let laws = verified(&painted, &text, &file).laws.expect("moved");
        assert_eq!(laws.fault, None);
    }
}
