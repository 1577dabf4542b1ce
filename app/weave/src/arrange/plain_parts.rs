//! Plain parts with two regions side by side in their layers: a disk and a ring, by sector and one
//! within the other. The edge between the regions is sharp, and the new order keeps every law.

use geometry::{DVec3, Mask, Mesh, solids};
use toolpath::{Replay, Settings, Step};

use super::tests::{USUAL, mean, recipe, verified, woven};
use super::*;
use crate::Source;
use crate::dialect::Dialect;
use crate::register::Placement;
use crate::register::tests::sliced;
use crate::tests::{painted_on, region};
use crate::verify::deposition::Replayed;

const RADIUS_MM: f64 = 10.0;
const HOLE_MM: f64 = 5.0;
const HIGH_MM: f64 = 1.6;
const SIDES: u32 = 72;

/// Where the part stands, as [`recipe`] has it.
const AT_MM: f64 = 60.0;

fn disk() -> Mesh {
    solids::cylinder(RADIUS_MM, HIGH_MM, SIDES).expect("a disk")
}

fn ring() -> Mesh {
    solids::tube(RADIUS_MM, HOLE_MM, HIGH_MM, SIDES).expect("a ring")
}

/// The half with x above 0.
fn half() -> Mask {
    slab(DVec3::X)
}

fn slab(direction: DVec3) -> Mask {
    Mask::Slab {
        direction,
        from_mm: 0.0,
        to_mm: 99.0,
    }
}

/// The quarter with x and y above 0.
fn quarter() -> Mask {
    Mask::All(vec![slab(DVec3::X), slab(DVec3::Y)])
}

/// What lies within a radius.
fn within(radius_mm: f64) -> Mask {
    Mask::Cylinder {
        from_mm: DVec3::new(0.0, 0.0, -1.0),
        to_mm: DVec3::new(0.0, 0.0, HIGH_MM + 1.0),
        radius_mm,
    }
}

fn painted(part: &Mesh, mask: Mask) -> Painted {
    let regions = vec![region("All", Mask::Whole, 1.0), region("Other", mask, 0.0)];
    let painted = painted_on(part, regions, USUAL);
    let mut plan = painted.plan().clone();
    plan.machine.value.changes_per_minute = 60.0;
    let model = plan.model();
    let revised = painted.revised(plan, model, &Progress::new());
    revised.expect("the same plan")
}

/// The longest way that a line in the skin goes past the edge between two regions, mm: the lesser
/// of how far it reaches on either side. `side` is the signed distance from the edge on the part.
fn past_the_edge_mm(
    text: &str,
    in_skin: impl Fn(DVec3) -> bool,
    side: impl Fn(DVec3) -> f64,
) -> f64 {
    let place = Placement {
        shift_mm: [AT_MM; 2],
        ..Placement::default()
    };
    let mut replay = Replay::new(text.as_bytes(), Settings::default());
    let mut most = 0.0_f64;
    while let Some(seen) = replay.advance().expect("text") {
        let Step::Move(step) = seen.step else {
            continue;
        };
        // The first layer keeps its order.
        if !step.prints() || step.from[2] < 0.3 {
            continue;
        }
        let [from, to] = [step.from, step.to].map(|at| place.to_part(DVec3::from(at)));
        if in_skin(from) && in_skin(to) && side(from) * side(to) < 0.0 {
            most = most.max(side(from).abs().min(side(to).abs()));
        }
    }
    most
}

/// The greatest share of the skin's plastic between `near_mm` and `far_mm` of the edge that has a
/// colour nearer to the other side's blend than to its own.
fn wrong_beside_the_edge(
    painted: &Painted,
    text: &str,
    in_skin: impl Fn(DVec3) -> bool,
    side: impl Fn(DVec3) -> f64,
) -> f64 {
    let dialect = Dialect::built_in("slots").expect("built in");
    let replayed = Replayed {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        heights_mm: 0.3..=HIGH_MM + 0.1,
    };
    let bytes = text.as_bytes().to_vec();
    let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(bytes.clone()))) };
    let source = Source::new(&open, bytes.len() as u64);
    let layers = replayed.layers(&source, &Progress::new()).expect("read");
    let place = Placement {
        shift_mm: [AT_MM; 2],
        ..Placement::default()
    };
    let blend = |first: f64| {
        let shares = blend::Shares::new(&[first, 1.0 - first]).expect("shares");
        painted.model().mix(&shares).to_lab()
    };
    let (own, other) = (blend(0.0), blend(1.0));
    let (mut wrong_mm3, mut all_mm3) = (0.0, 0.0);
    for piece in layers.iter().flat_map(|layer| &layer.pieces) {
        let middle: Vec<f64> = piece
            .from_mm
            .iter()
            .zip(piece.to_mm)
            .map(|(a, b)| 0.5 * f64::from(a + b))
            .collect();
        let at = place.to_part(DVec3::from_slice(&middle));
        let far = side(at);
        if !in_skin(at) || !(0.5..2.5).contains(&far.abs()) {
            continue;
        }
        let laid = blend::Xyz::from_srgb(piece.colour.expect("a blend")).to_lab();
        let to = |lab| blend::ciede2000(laid, lab);
        let is_own = to(own) < to(other);
        all_mm3 += f64::from(piece.volume_mm3);
        if is_own != (far > 0.0) {
            wrong_mm3 += f64::from(piece.volume_mm3);
        }
    }
    assert!(all_mm3 > 1.0, "{all_mm3}");
    wrong_mm3 / all_mm3
}

/// The outermost line of the wall; the purge block stands farther out.
fn outer_wall(at: DVec3) -> bool {
    (RADIUS_MM - 0.4..RADIUS_MM + 0.1).contains(&at.truncate().length())
}

type Skin<'a> = &'a dyn Fn(DVec3) -> bool;
type Side<'a> = &'a dyn Fn(DVec3) -> f64;

/// What was woven is the same print, and the skin of either side has its own blend up to the edge.
fn keeps_to_its_side(
    name: &str,
    painted: &Painted,
    (file, text): (&[u8], &str),
    (in_skin, side): (Skin<'_>, Side<'_>),
) {
    let found = verified(painted, text, file);
    assert_eq!(found.fault(), None, "{name}");
    let past_mm = past_the_edge_mm(text, in_skin, side);
    let wrong = wrong_beside_the_edge(painted, text, in_skin, side);
    println!(
        "{name}: mean ΔE00 {:.2}, past the edge {past_mm:.3} mm, wrong {wrong:.4}",
        mean(&found)
    );
    assert!(past_mm < 0.35, "{name}: {past_mm}");
    assert!(wrong < 0.01, "{name}: {wrong}");
    assert!(mean(&found) < ALLOW_DE00, "{name}: {}", mean(&found));
}

#[test]
fn sectors_meet_at_a_sharp_edge() {
    // Where two edges meet in the quarter, the nearer one counts.
    let to_half = |at: DVec3| at.x;
    let to_quarter = |at: DVec3| at.x.min(at.y);
    let cases: [(&str, Mesh, Mask, Side<'_>); 4] = [
        ("disk, halves", disk(), half(), &to_half),
        ("disk, a quarter", disk(), quarter(), &to_quarter),
        ("ring, halves", ring(), half(), &to_half),
        ("ring, a quarter", ring(), quarter(), &to_quarter),
    ];
    for (name, part, mask, side) in cases {
        let painted = painted(&part, mask);
        let file = sliced(&part, 0.2, &recipe());
        let (woven, text) = woven(&painted, &Arrange::default(), &file);
        let arranged = woven.arranged.expect("runs change places");
        assert!(!arranged.blocks.is_empty() && arranged.cuts > 0, "{name}");
        assert_eq!(arranged.uncut, 0, "{name}");
        keeps_to_its_side(name, &painted, (&file, &text), (&outer_wall, side));
    }
}

#[test]
fn regions_one_within_the_other_keep_to_their_side() {
    // On the disk the inner one shows on its top; the ring has a wall of each.
    let top = |at: DVec3| at.z > HIGH_MM - 0.1 && at.truncate().length() < RADIUS_MM - 1.0;
    let walls = |at: DVec3| {
        let r = at.truncate().length();
        outer_wall(at) || r < HOLE_MM + 0.4
    };
    let middle_mm = 0.5 * (RADIUS_MM + HOLE_MM);
    let cases: [(&str, Mesh, f64, Skin<'_>); 2] = [
        ("disk", disk(), 6.0, &top),
        ("ring", ring(), middle_mm, &walls),
    ];
    for (name, part, radius_mm, in_skin) in cases {
        let painted = painted(&part, within(radius_mm));
        let file = sliced(&part, 0.2, &recipe());
        let (woven, text) = woven(&painted, &Arrange::default(), &file);
        let arranged = woven.arranged.expect("runs change places");
        assert!(!arranged.blocks.is_empty(), "{name}");
        let side = |at: DVec3| radius_mm - at.truncate().length();
        keeps_to_its_side(name, &painted, (&file, &text), (in_skin, &side));
    }
}

/// A run with a move that can't be cut is printed whole in the blend that has most of it, nothing of
/// it is lost, and the person is told.
#[test]
fn a_run_that_cannot_be_cut_stays_whole_and_is_told() {
    let part = disk();
    let painted = painted(&part, quarter());
    let file = sliced(&part, 0.2, &recipe());
    let text = String::from_utf8(file).expect("text");
    // More decimals than can be kept exactly, in every move.
    let long: String = text
        .split_inclusive('\n')
        .map(|line| match line.starts_with("G1 X") {
            true => format!("{}00000000000\n", line.trim_end()),
            false => line.to_owned(),
        })
        .collect();
    let (laid, after) = woven(&painted, &Arrange::default(), long.as_bytes());
    let arranged = laid.arranged.as_ref().expect("runs change places");
    assert!(arranged.uncut > 0 && arranged.cuts == 0, "{arranged:?}");
    let told = format!("{} runs cross a region's edge", arranged.uncut);
    assert!(laid.cautions.iter().any(|c| c.contains(&told)), "{told}");
    let found = verified(&painted, &after, long.as_bytes());
    assert_eq!(found.fault(), None);
    assert_eq!(found.laws.expect("runs changed places").cut, 0);
    // With moves that can be cut, the same part has none.
    let (cut, _) = woven(&painted, &Arrange::default(), text.as_bytes());
    let arranged = cut.arranged.expect("runs change places");
    assert!(arranged.uncut == 0 && arranged.cuts > 0, "{arranged:?}");
    assert!(!cut.cautions.iter().any(|c| c.contains("can't be cut")));
}
