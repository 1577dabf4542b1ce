use blend::Shares;
use demo_models::slicer::Recipe;
use geometry::layers::MOST_LAYERS;
use geometry::{DVec3, Mask, Progress};
use plan::Painted;
use plan::machine::Chamber;
use toolpath::Settings;

use super::verifying::{Heights, MOST_UNCLEAR};
use super::*;
use crate::Source;
use crate::dialect::Dialect;
use crate::register::tests::{figures, sliced};
use crate::tests as weaving;

mod spoilt;

fn source(file: &[u8]) -> std::sync::Arc<[u8]> {
    file.into()
}

/// How a woven file is replayed at all heights.
fn replayed<'a>(painted: &'a Painted, dialect: &'a Dialect) -> deposition::Replayed<'a> {
    deposition::Replayed {
        painted,
        dialect,
        settings: Settings::default(),
        heights_mm: f64::MIN..=f64::MAX,
    }
}

fn verify(
    painted: &Painted,
    dialect: &str,
    chamber: Chamber,
    woven: &[u8],
    original: Option<&[u8]>,
) -> Verified {
    let dialect = weaving::named(dialect);
    let woven = source(woven);
    let open = || -> std::io::Result<Box<dyn std::io::Read>> {
        Ok(Box::new(std::io::Cursor::new(std::sync::Arc::clone(
            &woven,
        ))))
    };
    let woven_source = Source::new(&open, woven.len() as u64);
    let original = original.map(source);
    let open_original = || -> std::io::Result<Box<dyn std::io::Read>> {
        let bytes = original.clone().unwrap_or_else(|| source(b""));
        Ok(Box::new(std::io::Cursor::new(bytes)))
    };
    let original_source = Source::new(&open_original, 0);
    let progress = Progress::new();
    let job = Verify {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: find_stands(painted, &woven_source, Settings::default(), &progress)
            .expect("the part"),
        chamber,
    };
    let original = original.as_ref().map(|_| &original_source);
    job.run(&woven_source, original, &progress).expect("read")
}

const NONE: Chamber = Chamber {
    dead_mm3: 0.0,
    mixed_mm3: 0.0,
    tanks: 1,
};

#[test]
fn a_woven_file_is_the_same_print_in_the_plans_colours() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    for dialect in ["slots", "move-words"] {
        let (woven, text) = weaving::weave(&painted, dialect, &file).expect("woven");
        let found = verify(&painted, dialect, NONE, text.as_bytes(), Some(&file));
        let same = found.same.clone().expect("compared");
        assert!(same.holds(), "{same:?}");
        assert_eq!(
            same.moves,
            weaving::moves(&String::from_utf8_lossy(&file)).len() as u64
        );
        assert_eq!(found.plan_matches, Some(true));
        assert_eq!(found.changes, woven.emitted.changes);
        assert_eq!(found.unset_mm3, 0.0);
        assert!(
            found.unclear.is_empty() && found.cautions.is_empty(),
            "{:?} {:?}",
            found.unclear,
            found.cautions
        );
        assert!((found.volume_mm3 - woven.volume_mm3).abs() < 1e-6);
        // Rounding of shares, and the band's edge, which falls between layers.
        let mean = found.printed.mean_de00().expect("skin");
        assert!(mean < 0.3, "{mean}");
        assert!(found.printed.within_de00(0.9) < 0.5);
    }
}

#[test]
fn a_chamber_makes_changes_late_and_the_worst_places_lie_above_them() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (_, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let chamber = Chamber {
        dead_mm3: 60.0,
        mixed_mm3: 20.0,
        tanks: 1,
    };
    let found = verify(&painted, "slots", chamber, text.as_bytes(), None);
    let clean = verify(&painted, "slots", NONE, text.as_bytes(), None);
    assert!(found.printed.mean_de00() > clean.printed.mean_de00());
    let worst = found.printed.worst(3);
    // A layer is about 40 mm³, so the first two above each change are wrong.
    let z = worst[0].point_mm.z;
    assert!(
        (2.0..2.8).contains(&z) || (4.0..4.8).contains(&z),
        "{worst:?}"
    );
    assert!(worst[0].de00 > 10.0 && worst[0].line > 0);
    assert!(found.printed.de00_at(worst[0].point_mm) == Some(worst[0].de00));
}

#[test]
fn tampering_is_found() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (_, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let said = |changed: &str| {
        let found = verify(&painted, "slots", NONE, changed.as_bytes(), Some(&file));
        found.same.expect("compared").first_difference
    };
    assert_eq!(said(&text), None);
    let line = text
        .lines()
        .filter(|l| l.contains('X') && l.contains(" E"))
        .nth(500)
        .expect("a move");
    for changed in [
        text.replacen(line, "M104 S250", 1),
        text.replacen(line, &format!("{line}\nM104 S250"), 1),
        text.replacen(line, &format!("{line}\n{line}"), 1),
        text.replacen(line, "", 1),
        text.replacen(line, &line.replace('X', "X1"), 1),
        text.replacen(line, &line.replace(" E", " E1"), 1),
    ] {
        assert!(said(&changed).is_some());
    }
    // Another plan is told by its hash, and what a dialect can't mean by its line.
    let other = weaving::painted(&mesh, vec![weaving::region("All", Mask::Whole, 0.5)]);
    let found = verify(&other, "slots", NONE, text.as_bytes(), None);
    assert_eq!(found.plan_matches, Some(false));
    let strange = text.replacen("M164 S1", "M164 S9", 1);
    let found = verify(&painted, "slots", NONE, strange.as_bytes(), None);
    assert!(
        found.unclear[0].1.contains("nothing was stored"),
        "{:?}",
        found.unclear
    );
}

#[test]
fn the_laid_pieces_are_the_print_in_its_colours() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let recipe = Recipe {
        arcs_within_mm: Some(0.02),
        ..Recipe::default()
    };
    let file = sliced(&mesh, 0.2, &recipe);
    let (woven, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let bytes = source(text.as_bytes());
    let open = || -> std::io::Result<Box<dyn std::io::Read>> {
        Ok(Box::new(std::io::Cursor::new(std::sync::Arc::clone(
            &bytes,
        ))))
    };
    let source = Source::new(&open, bytes.len() as u64);
    let dialect = Dialect::built_in("slots").expect("built in");
    let mut replayed = replayed(&painted, &dialect);
    let layers = replayed.layers(&source, &Progress::new()).expect("read");
    assert_eq!(layers.len(), 30);
    let volume = layers.iter().flat_map(|l| &l.pieces);
    let volume: f64 = volume.map(|p| f64::from(p.volume_mm3)).sum();
    assert!((volume - woven.volume_mm3).abs() < 1e-3 * volume);
    let shown = |height: f64| {
        let layer = layers.iter().find(|l| (l.top_mm - height).abs() < 1e-6);
        layer.expect("a layer").pieces[0].colour.expect("a colour")
    };
    let colour = |first: f64| {
        let shares = Shares::new(&[first, 1.0 - first]).expect("shares");
        painted.model().mix(&shares).to_srgb()
    };
    assert_eq!(shown(1.0), colour(1.0));
    assert_eq!(shown(3.0), colour(0.25));
    replayed.heights_mm = 2.9..=3.5;
    let some = replayed.layers(&source, &Progress::new()).expect("read");
    assert_eq!(some.len(), 3);
    assert_eq!(some[0], layers[14]);
}

/// A cursor on the bytes from one of them on.
fn from(bytes: &std::sync::Arc<[u8]>, at: u64) -> std::io::Result<Box<dyn std::io::Read>> {
    let mut cursor = std::io::Cursor::new(std::sync::Arc::clone(bytes));
    cursor.set_position(at);
    Ok(Box::new(cursor))
}

#[test]
fn each_layer_is_read_from_a_mark_as_in_the_whole_file() {
    use demo_models::slicer::Stand;
    let mesh = weaving::part();
    let chamber = Chamber {
        dead_mm3: 20.0,
        mixed_mm3: 15.0,
        tanks: 2,
    };
    let painted = weaving::painted_on(&mesh, weaving::bands(), chamber);
    let stands = [[40.0, 50.0], [90.0, 50.0]].map(|shift_mm| Stand {
        turn_deg: 0.0,
        shift_mm,
    });
    let recipe = Recipe {
        arcs_within_mm: Some(0.02),
        sparse_mm: Some(1.0),
        stands: stands.to_vec(),
        ..Recipe::default()
    };
    let file = sliced(&mesh, 0.2, &recipe);
    let (_, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    assert!(text.len() > 150_000, "several marks: {}", text.len());
    let bytes = source(text.as_bytes());
    let open = || from(&bytes, 0);
    let source = Source::new(&open, bytes.len() as u64);
    let dialect = Dialect::built_in("slots").expect("built in");
    let replayed = replayed(&painted, &dialect);
    let progress = Progress::new();
    let whole = replayed.layers(&source, &progress).expect("read");
    let index = follow::Index::of(&replayed, &source, &progress).expect("read");
    assert_eq!(index.layers.len(), whole.len());
    assert_eq!(index.size_bytes, text.len() as u64);
    let lines: Vec<&str> = text.lines().collect();
    for (i, layer) in whole.iter().enumerate().rev() {
        let open_at = |at: u64| from(&bytes, at);
        let moves = index
            .layer(i, &replayed, &open_at, &progress)
            .expect("read");
        assert_eq!(moves.top_mm, layer.top_mm);
        assert_eq!(moves.pieces, layer.pieces, "layer {i}");
        assert_eq!(moves.moves.len() as u64, index.layers[i].moves);
        let last = moves.moves.last().expect("moves");
        assert!((last.filament_mm - index.layers[i].filament_mm).abs() < 1e-9);
        assert_eq!(last.pieces.end, moves.pieces.len());
        for laid in &moves.moves {
            assert_eq!(moves.text(laid), lines[laid.line as usize - 1]);
            assert_eq!(u64::from(moves.pieces[laid.pieces.start].line), laid.line);
            assert!(moves.fed(laid).is_some());
        }
        assert_eq!(index.layer_at(layer.top_mm - 0.1), Some(i));
    }
    assert_eq!(index.layer_at(1e3), Some(whole.len() - 1));
    progress.cancel();
    assert!(follow::Index::of(&replayed, &source, &progress).is_err());
}

/// Lines that no firmware we know of has, and some that trip readers up.
const STRANGE: [&str; 6] = [
    "M9999 S1 \"text in quotes\"",
    ";\u{e9}t\u{e9} (not closed",
    "EXCLUDE_PART NAME=shade",
    "(a comment) (and another)",
    "\t  ",
    "/G1 X999 E99",
];

/// Puts lines in at parts of the file, at line ends.
fn with_lines(file: &[u8], end: &str, lines: &[(f64, usize)]) -> Vec<u8> {
    let text = String::from_utf8_lossy(file);
    let mut all: Vec<&str> = text.split_inclusive('\n').collect();
    let strange: Vec<String> = STRANGE.iter().map(|l| format!("{l}{end}")).collect();
    for (part, which) in lines {
        all.insert((part * all.len() as f64) as usize, &strange[*which]);
    }
    all.concat().into_bytes()
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig {
        cases: 10, max_shrink_iters: 16, ..proptest::prelude::ProptestConfig::default()
    })]
    #[test]
    fn any_weaving_is_the_same_print(
        turn_deg in -180.0..180.0_f64, x in 0.0..200.0_f64, absolute: bool, firmware: bool,
        checked: bool, crlf: bool, arcs: bool, lead: bool, which in 0_usize..3,
        height in 0.0..6.0_f64, radius in 3.0..9.0_f64,
        lines in proptest::collection::vec((0.0..1.0_f64, 0_usize..STRANGE.len()), 0..6),
    ) {
        use toolpath::Distance;
        use demo_models::slicer::{Retraction, Stand};
        let mesh = geometry::solids::cylinder(9.0, 6.0, 40).expect("a cylinder");
        let ball = Mask::Sphere {
            centre_mm: DVec3::new(-9.0, 0.0, height),
            radius_mm: radius,
        };
        let regions = vec![
            weaving::region("All", Mask::Whole, 1.0),
            weaving::region("Spot", ball, 0.2),
        ];
        let dead_mm3 = if lead { 3.0 } else { 0.0 };
        let chamber = Chamber { dead_mm3, ..NONE };
        let painted = weaving::painted_on(&mesh, regions, chamber);
        let end = if crlf { "\r\n" } else { "\n" };
        let recipe = Recipe {
            extruder: if absolute { Distance::Absolute } else { Distance::Relative },
            retraction: if firmware { Retraction::Firmware } else { Retraction::Length(0.8) },
            arcs_within_mm: arcs.then_some(0.02),
            stands: vec![Stand { turn_deg, shift_mm: [x, 100.0] }],
            walls: 2,
            end,
            checked,
            ..Recipe::default()
        };
        let mut file = sliced(&mesh, 0.2, &recipe);
        if !checked {
            file = with_lines(&file, end, &lines);
        }
        let dialect = ["slots", "ratio-word", "move-words"][which];
        let (woven, text) = weaving::weave(&painted, dialect, &file).expect("woven");
        proptest::prop_assert!(woven.emitted.changes > 1, "{:?}", woven);
        proptest::prop_assert!(!text.contains('\n') || crlf == text.contains("\r\n"));
        let found = verify(&painted, dialect, chamber, text.as_bytes(), Some(&file));
        let same = found.same.expect("compared");
        proptest::prop_assert!(same.holds(), "{dialect} {same:?}");
        proptest::prop_assert!(same.filament_mm.abs() < 1e-6 && same.place_mm < 1e-6, "{:?}", same);
        proptest::prop_assert_eq!(same.cut, woven.emitted.cuts);
        proptest::prop_assert!(found.unclear.is_empty(), "{:?}", found.unclear);
    }
}

#[test]
fn no_more_heights_are_held_than_a_print_has_layers() {
    let mut heights = Heights::default();
    let at = |i: usize| 0.01 * (i + 1) as f64;
    for i in 0..=MOST_LAYERS {
        assert_eq!(heights.below(at(i)), i.checked_sub(1).map(at));
    }
    assert_eq!(heights.0.len(), MOST_LAYERS);
    assert_eq!(heights.below(at(7)), Some(at(6)));
}

#[test]
fn the_first_ten_unclear_lines_are_told() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (_, mut text) = weaving::weave(&painted, "slots", &file).expect("woven");
    text.push_str(&"M163 S0 Px\n".repeat(MOST_UNCLEAR));
    let lines = text.lines().count() as u64;
    let found = verify(&painted, "slots", NONE, text.as_bytes(), None);
    assert_eq!(found.unclear.len(), MOST_UNCLEAR);
    text.push_str("M163 S0 Px\n");
    let found = verify(&painted, "slots", NONE, text.as_bytes(), None);
    assert_eq!(found.unclear.len(), MOST_UNCLEAR);
    assert_eq!(found.unclear.last().map(|u| u.0), Some(lines));
    let fault = found.fault().expect("a fault");
    assert!(fault.contains("makes no sense"), "{fault}");
}

#[test]
fn a_toolpath_of_more_heights_than_layers_is_not_stepped_through() {
    let painted = weaving::painted(&weaving::part(), weaving::bands());
    let dialect = Dialect::built_in("slots").expect("built in");
    let replayed = replayed(&painted, &dialect);
    let index = |heights: usize| {
        let mut text = String::from("M83\n");
        for i in 1..=heights {
            let (z, x) = (0.01 * i as f64, i % 2);
            text.push_str(&format!("G0 Z{z:.2}\nG1 X{x} E.1\n"));
        }
        let bytes = source(text.as_bytes());
        let open = || from(&bytes, 0);
        let woven = Source::new(&open, bytes.len() as u64);
        follow::Index::of(&replayed, &woven, &Progress::new())
    };
    assert_eq!(index(100_000).expect("layers").layers.len(), 100_000);
    let error = index(100_001).expect_err("one too many").to_string();
    assert!(
        error.contains("at more heights than any print has layers"),
        "{error}"
    );
}

#[test]
fn a_head_that_names_another_place_is_told() {
    let [(_, mesh), ..] = figures();
    let spot = Mask::Sphere {
        centre_mm: DVec3::new(0.0, -4.0, 5.0),
        radius_mm: 4.0,
    };
    let regions = vec![
        weaving::region("All", Mask::Whole, 1.0),
        weaving::region("Spot", spot, 0.0),
    ];
    let painted = weaving::painted(&mesh, regions);
    let place = demo_models::slicer::Stand {
        turn_deg: -23.0,
        shift_mm: [60.0, 70.0],
    };
    let recipe = Recipe {
        stands: vec![place],
        ..Recipe::default()
    };
    let file = sliced(&mesh, 0.2, &recipe);
    let (_, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let (_, rest) = text.split_once(": turned ").expect("a copy");
    let (turned, _) = rest.split_once(" degrees").expect("its turn");
    assert!(
        (turned.parse::<f64>().expect("a number") + 23.0).abs() < 0.05,
        "{turned}"
    );
    let found = verify(&painted, "slots", NONE, text.as_bytes(), Some(&file));
    assert_eq!(found.fault(), None);
    let off = found.placed_off_mm.expect("the head tells");
    assert!(off < 0.05, "{off}");

    let wrong = text.replace(
        &format!("turned {turned} degrees"),
        "turned 179.600 degrees",
    );
    let found = verify(&painted, "slots", NONE, wrong.as_bytes(), Some(&file));
    let fault = found.fault().expect("the wrong place");
    assert!(
        fault.contains("not at the place in the file's header"),
        "{fault}"
    );
}

#[test]
fn of_turns_that_look_the_same_the_head_says_which_was_meant() {
    let mesh = weaving::part();
    let painted = weaving::painted(&mesh, weaving::bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (woven, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let [turn_deg] = woven.registered.alike_turns_deg[..] else {
        panic!("{:?}", woven.registered);
    };
    assert!((turn_deg - 180.0).abs() < 0.01, "{turn_deg}");
    let copy = text
        .lines()
        .find(|l| l.starts_with("; Copy 1"))
        .expect("a head");
    // Half a turn about its own middle.
    let (low, high) = mesh.bounds();
    let [x, y] = woven.registered.stands[0].placement.shift_mm;
    let turned = format!(
        "; Copy 1: turned 180.00 degrees, shifted x {:.3} y {:.3} mm, by hand",
        x + low.x + high.x,
        y + low.y + high.y
    );
    let other = text.replace(copy, &turned);
    let found = verify(&painted, "slots", NONE, other.as_bytes(), None);
    assert!(
        found.placed_off_mm.is_some_and(|off| off < 0.05),
        "{:?}",
        found.placed_off_mm
    );
    assert_eq!(found.fault(), None);
}
