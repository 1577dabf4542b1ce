//! Damaged toolpaths: lines lost, said twice, out of order, layers that go back and forth. Each is
//! refused, or woven into a file in which verify finds the same print.

use std::io::{self, Read};
use std::sync::Arc;

use demo_models::slicer::{Recipe, Stand as Place};
use geometry::{DVec3, Mask, Progress, solids};
use plan::Painted;
use plan::machine::Chamber;
use project::signoff::Standing;
use toolpath::{Distance, Settings};

use super::*;
use crate::arrange::Arrange;
use crate::dialect::Dialect;
use crate::register::Placement;
use crate::register::tests::sliced;
use crate::tests::{painted_on, region, run};
use crate::verify::Verify;

/// A small block with a side in another blend, and a chamber that is cleared soon.
fn sided() -> Painted {
    let part = solids::cuboid(DVec3::new(8.0, 5.0, 2.0)).expect("a block");
    let side = Mask::Slab {
        direction: DVec3::X,
        from_mm: 1.0,
        to_mm: 9.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Side", side, 0.25)];
    let chamber = Chamber {
        dead_mm3: 1.0,
        mixed_mm3: 2.0,
        tanks: 1,
    };
    painted_on(&part, regions, chamber)
}

/// Its toolpath, with E counted from the start of each layer or of each move.
fn toolpath(painted: &Painted, layer_mm: f64, extruder: Distance) -> String {
    let recipe = Recipe {
        walls: 2,
        extruder,
        stands: vec![Place {
            turn_deg: 0.0,
            shift_mm: [60.0; 2],
        }],
        ..Recipe::default()
    };
    let file = sliced(painted.surface().mesh(), layer_mm, &recipe);
    String::from_utf8(file).expect("text")
}

/// Numbers that look drawn, the same in each run (xorshift).
struct Drawn(u64);

impl Drawn {
    fn below(&mut self, count: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % count.max(1) as u64) as usize
    }
}

/// The lines with some damage.
fn damaged(text: &str, drawn: &mut Drawn) -> String {
    let mut lines: Vec<String> = text.split_inclusive('\n').map(str::to_owned).collect();
    for _ in 0..=drawn.below(4) {
        let at = drawn.below(lines.len());
        let most = if drawn.below(2) == 0 { 3 } else { 60 };
        let count = 1 + drawn.below(most);
        let end = (at + count).min(lines.len());
        match drawn.below(6) {
            // Lost.
            0 | 1 => drop(lines.drain(at..end)),
            // Said twice.
            2 => {
                let again = lines[at..end].to_vec();
                lines.splice(at..at, again);
            }
            // Out of order.
            3 => {
                let moved: Vec<String> = lines.drain(at..end).collect();
                let to = drawn.below(lines.len());
                lines.splice(to..to, moved);
            }
            // Another height.
            4 => lines.insert(
                at,
                format!("G1 Z{:.1} F600\n", 0.4 * (1 + drawn.below(5)) as f64),
            ),
            // A move that climbs.
            _ => {
                let z = 0.4 * (1 + drawn.below(5)) as f64;
                let line = lines[at]
                    .trim_end()
                    .replacen(" Y", &format!(" Z{z:.1} Y"), 1);
                lines[at] = format!("{line}\n");
            }
        }
        if lines.is_empty() {
            break;
        }
    }
    lines.concat()
}

/// Weaves, and reads back what was written; whether it was, and in another order.
fn held(painted: &Painted, before: &str) -> Option<bool> {
    let dialect = Dialect::built_in("slots").expect("built in");
    let stands = vec![Placement {
        shift_mm: [60.0; 2],
        ..Placement::default()
    }];
    let job = Weave {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: stands.clone(),
        arrange: Arrange::default(),
        review: Standing::not_reviewed(),
    };
    let (_, after) = run(&job, before.as_bytes()).ok()?;
    let verify = Verify {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands,
        chamber: painted.plan().machine.chamber,
    };
    let [open_before, open_after] = [before, after.as_str()].map(|text| {
        let bytes: Arc<[u8]> = text.as_bytes().into();
        move || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(Arc::clone(&bytes)))) }
    });
    let (was, now) = (Source::new(&open_before, 0), Source::new(&open_after, 0));
    let found = verify
        .run(&now, Some(&was), &Progress::new())
        .expect("what was woven can be read");
    if let Some(same) = &found.same {
        assert!(same.holds(), "{same:?}\n{before}");
    }
    let fault = found.laws.as_ref().and_then(|laws| laws.fault.as_ref());
    assert_eq!(fault, None, "{before}");
    Some(found.laws.is_some())
}

/// How many damaged toolpaths are tried of each kind; more with the variable `DAMAGED`.
fn rounds() -> u64 {
    let asked = std::env::var("DAMAGED").ok();
    asked.and_then(|text| text.parse().ok()).unwrap_or(25)
}

#[test]
fn a_damaged_toolpath_is_refused_or_woven_into_the_same_print() {
    let painted = sided();
    let (mut woven, mut moved, mut refused) = (0, 0, 0);
    for (layer_mm, extruder) in [
        (0.4, Distance::Absolute),
        (0.2, Distance::Absolute),
        (0.2, Distance::Relative),
    ] {
        let whole = toolpath(&painted, layer_mm, extruder);
        assert!(held(&painted, &whole).is_some());
        for seed in 1..=rounds() {
            let mut drawn = Drawn(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
            match held(&painted, &damaged(&whole, &mut drawn)) {
                Some(true) => moved += 1,
                Some(false) => woven += 1,
                None => refused += 1,
            }
        }
    }
    println!("{moved} woven in another order, {woven} in order, {refused} refused");
    assert!(moved > 0 && woven + refused > 0);
}
