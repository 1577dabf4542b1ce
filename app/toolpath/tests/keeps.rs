//! What must hold for every toolpath: bytes, places and filament survive.

use demo_models::slicer::{Recipe, Retraction, Slice, Stand, generate};
use proptest::prelude::*;
use toolpath::{Distance, Move, Pieces, Replay, Settings, Step, Writer, split};

/// Every move of a file.
fn moves(file: &[u8]) -> Vec<Move> {
    let mut replay = Replay::new(file, Settings::default());
    let mut moves = Vec::new();
    while let Some(seen) = replay.advance().expect("text") {
        if let Step::Move(step) = seen.step {
            moves.push(step);
        }
    }
    moves
}

/// Writes a file with each printing move cut at `cuts`, and a line put in before each piece.
fn cut(file: &[u8], cuts: &[f64], insert: &str) -> Vec<u8> {
    let mut replay = Replay::new(file, Settings::default());
    let mut writer = Writer::new(Vec::new());
    let mut pieces = Pieces::new();
    while let Some(seen) = replay.advance().expect("text") {
        let done = match seen.step {
            Step::Move(m) if m.prints() => {
                split(&seen.line, seen.before, seen.after, &m, cuts, &mut pieces).is_ok()
            }
            _ => false,
        };
        if done {
            for i in 0..pieces.len() {
                writer.insert(insert).expect("memory");
                writer
                    .pass_piece(&seen.line, &pieces, i, "")
                    .expect("memory");
            }
        } else {
            writer.pass(&seen.line).expect("memory");
        }
    }
    writer.finish().expect("memory")
}

fn number(range: std::ops::Range<i32>, decimals: usize) -> impl Strategy<Value = String> {
    let scale = 10_f64.powi(decimals as i32);
    range.prop_map(move |n| format!("{:.decimals$}", f64::from(n) / scale))
}

/// Lines that stay within reach whatever the modes.
fn line() -> impl Strategy<Value = String> {
    let xy = || number(-90_000..90_000, 3);
    prop_oneof![
        6 => (xy(), xy(), number(1..90_000, 5)).prop_map(|(x, y, e)| format!("G1 X{x} Y{y} E{e}")),
        2 => (xy(), number(1..9_000, 4)).prop_map(|(y, e)| format!("g1y {y}e{e} ; wall")),
        2 => (number(-9_000..9_000, 3), number(-9_000..9_000, 3), number(1..9_000, 4), any::<bool>())
            .prop_filter("a radius", |(i, j, _, _)| i != "0.000" || j != "0.000")
            .prop_map(|(i, j, e, cw)| format!("G{} I{i} J{j} E{e}", if cw { 2 } else { 3 })),
        1 => (number(1_000..9_000, 3), number(100..9_000, 3), number(1..9_000, 4))
            .prop_map(|(x, r, e)| format!("G91\nG2 X{x} Y0 R{r} E{e}\nG90")),
        1 => Just("G91".to_owned()),
        1 => Just("G90".to_owned()),
        1 => Just("M82\nG92 E0".to_owned()),
        1 => Just("M83".to_owned()),
        1 => Just("G20".to_owned()),
        2 => Just("G21".to_owned()),
        1 => (xy(), xy()).prop_map(|(x, y)| format!("G92 X{x} Y{y}")),
        1 => Just("G92 E0".to_owned()),
        1 => number(-9_000..0, 4).prop_map(|e| format!("M83\nG1 E{e}")),
        1 => Just("G10\nG11".to_owned()),
        1 => Just("SOME_COMMAND X5 ; \u{e9}".to_owned()),
        1 => Just("  M117  text (a".to_owned()),
        1 => Just("(comment) %".to_owned()),
        1 => Just("".to_owned()),
    ]
}

fn file() -> impl Strategy<Value = String> {
    (
        proptest::collection::vec(line(), 1..40),
        prop_oneof![Just("\n"), Just("\r\n")],
        any::<bool>(),
    )
        .prop_map(|(lines, end, checked)| {
            let text = lines.join("\n");
            let mut file = String::new();
            for (i, line) in text.split('\n').enumerate() {
                if checked && !line.contains(';') {
                    let body = format!("N{} {line}", i + 1);
                    let sum = body.bytes().fold(0, |s, b| s ^ b);
                    file.push_str(&format!("{body}*{sum}"));
                } else {
                    file.push_str(line);
                }
                file.push_str(end);
            }
            file
        })
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 200,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn passing_every_line_changes_no_byte(file in file()) {
        let mut replay = Replay::new(file.as_bytes(), Settings::default());
        let mut writer = Writer::new(Vec::new());
        while let Some(seen) = replay.advance().expect("text") {
            writer.pass(&seen.line).expect("memory");
        }
        prop_assert_eq!(writer.finish().expect("memory"), file.into_bytes());
    }

    #[test]
    fn cutting_keeps_places_ways_and_filament(
        file in file(),
        cuts in proptest::collection::btree_set(1_u32..1000, 0..4),
    ) {
        let cuts: Vec<f64> = cuts.iter().map(|c| f64::from(*c) / 1000.0).collect();
        let before = moves(file.as_bytes());
        let changed = cut(file.as_bytes(), &cuts, "M999 P1");
        let after = moves(&changed);
        let mut rest = after.iter();
        for whole in &before {
            // Gather this move's pieces: as many as there were cuts, or one if left whole.
            let mut fed = 0.0;
            let mut length = 0.0;
            let mut last = None;
            for piece in rest.by_ref() {
                // Each piece begins on the way of the move.
                if whole.prints() && whole.path == toolpath::Path::Straight {
                    let t = if whole.length_mm() > 0.0 { length / whole.length_mm() } else { 0.0 };
                    let expected = whole.at(t);
                    for (from, expected) in piece.from.iter().zip(expected) {
                        prop_assert!((from - expected).abs() < 1e-5);
                    }
                }
                fed += piece.extruded_mm;
                length += piece.length_mm();
                last = Some(piece.to);
                let ended = (0..3).all(|i| (piece.to[i] - whole.to[i]).abs() < 1e-6);
                if ended && (fed - whole.extruded_mm).abs() < 1e-6 {
                    break;
                }
            }
            let last = last.expect("a piece for each move");
            for (end, expected) in last.iter().zip(whole.to) {
                prop_assert!((end - expected).abs() < 1e-6);
            }
            prop_assert!((fed - whole.extruded_mm).abs() < 1e-6);
            // A millionth of a short radius shows in an arc's length.
            prop_assert!((length - whole.length_mm()).abs() < 1e-3, "{length} {whole:?}");
        }
        prop_assert!(rest.next().is_none());
    }

    #[test]
    fn lines_that_do_not_print_are_untouched(file in file()) {
        prop_assume!(!file.contains('*'));
        let changed = String::from_utf8(cut(file.as_bytes(), &[0.5], "M999")).expect("text");
        let quiet = |text: &str| -> Vec<String> {
            text.split_inclusive('\n')
                .filter(|l| !l.to_lowercase().contains("g1") && !l.contains("G2")
                    && !l.contains("G3") && !l.contains("M999"))
                .map(str::to_owned)
                .collect()
        };
        prop_assert_eq!(quiet(&changed), quiet(&file));
    }
}

fn disc(points: u32) -> Vec<Vec<[f64; 2]>> {
    let ring = |radius: f64| {
        (0..points)
            .map(|i| f64::from(i) / f64::from(points) * std::f64::consts::TAU)
            .map(|a| [radius * a.cos(), radius * a.sin()])
            .collect()
    };
    vec![ring(12.0), ring(5.0)]
}

fn made(recipe: &Recipe) -> (Vec<u8>, f64) {
    let contours = disc(90);
    let slices: Vec<Slice<'_>> = (1..=12)
        .map(|i| Slice {
            top_mm: 0.2 * f64::from(i),
            height_mm: 0.2,
            contours: &contours,
        })
        .collect();
    let mut file = Vec::new();
    let made = generate(&slices, recipe, &mut file).expect("memory");
    (file, made.filament_mm)
}

#[test]
fn made_toolpaths_lay_down_what_they_say_in_every_manner() {
    let base = Recipe::default();
    for recipe in [
        base.clone(),
        Recipe {
            extruder: Distance::Absolute,
            ..base.clone()
        },
        Recipe {
            retraction: Retraction::Firmware,
            end: "\r\n",
            ..base.clone()
        },
        Recipe {
            retraction: Retraction::None,
            checked: true,
            ..base.clone()
        },
        Recipe {
            arcs_within_mm: Some(0.02),
            ..base.clone()
        },
        Recipe {
            stands: vec![
                Stand::default(),
                Stand {
                    turn_deg: 90.0,
                    shift_mm: [40.0, 0.0],
                },
            ],
            ..base.clone()
        },
    ] {
        let (file, filament_mm) = made(&recipe);
        let moves = moves(&file);
        let laid: f64 = moves.iter().map(|m| m.fresh_mm).sum();
        assert!((laid - filament_mm).abs() < 1e-6, "{laid} {filament_mm}");
        let arcs = moves.iter().filter(|m| m.is_level_arc()).count();
        assert_eq!(arcs > 0, recipe.arcs_within_mm.is_some());
        let mut replay = Replay::new(&file[..], Settings::default());
        while replay.advance().expect("text").is_some() {}
        assert!(
            replay.cautions().as_slice().is_empty(),
            "{:?}",
            replay.cautions()
        );
    }
}

#[test]
fn a_made_solid_fills_its_volume() {
    let recipe = Recipe {
        solid_layers: 100,
        ..Recipe::default()
    };
    let (_, filament_mm) = made(&recipe);
    let laid = filament_mm * toolpath::filament_area_mm2(1.75);
    // A ring of 90-sided polygons, 2.4 mm high.
    let side = 2.0 * std::f64::consts::PI / 90.0;
    let volume = 45.0 * side.sin() * (144.0 - 25.0) * 2.4;
    assert!(
        (laid / volume - 1.0).abs() < 0.05,
        "{laid} against {volume}"
    );
}

/// What each line does, its number and its end, by words.
fn by_words(file: &[u8]) -> Vec<String> {
    let mut replay = Replay::new(file, Settings::default());
    let mut seen_all = Vec::new();
    while let Some(seen) = replay.advance().expect("text") {
        let checked = seen.line.checksum().is_some();
        let (number, end) = (seen.line.number(), seen.line.end());
        seen_all.push(format!("{number} {:?} {end:?} {checked}", seen.step));
    }
    seen_all.push(format!("{:?} {:?}", replay.state(), replay.cautions()));
    seen_all
}

/// The same, skimmed.
fn skimmed(file: &[u8]) -> Vec<String> {
    let mut replay = Replay::new(file, Settings::default());
    let mut seen_all = Vec::new();
    let mut bytes = Vec::new();
    while let Some(seen) = replay.skim().expect("text") {
        bytes.extend_from_slice(seen.bytes);
        let (number, end, checked) = (seen.number, seen.end(), seen.checked);
        seen_all.push(format!("{number} {:?} {end:?} {checked}", seen.step));
    }
    assert!(bytes == file);
    seen_all.push(format!("{:?} {:?}", replay.state(), replay.cautions()));
    seen_all
}

/// Moves written in every way, plain and not.
fn odd_move() -> impl Strategy<Value = String> {
    let blank = || prop_oneof![5 => Just(" "), 1 => Just(""), 1 => Just("  "), 1 => Just("\t")];
    let digits = "-?[0-9]{1,6}(\\.[0-9]{0,9})?|-?\\.[0-9]{1,3}|\\+[0-9]|[0-9] [0-9]|";
    let word = (blank(), "[XYZEFxIS]", digits).prop_map(|(b, l, d)| format!("{b}{l}{d}"));
    let code = prop_oneof![4 => Just("G1"), 2 => Just("G0"), 1 => Just("g1"), 1 => Just("G01"),
        1 => Just("G1.0"), 1 => Just(""), 1 => Just("N7 G1"), 1 => Just("M3"), 1 => Just("G92")];
    let tail = prop_oneof![4 => Just(""), 1 => Just(" "), 1 => Just(";wall"), 1 => Just(" ; a (b"),
        1 => Just(" (c)"), 1 => Just("*57"), 1 => Just(" #1")];
    let end = prop_oneof![5 => Just("\n"), 2 => Just("\r\n"), 1 => Just("\r"), 1 => Just("\n\n")];
    (code, proptest::collection::vec(word, 0..5), tail, end)
        .prop_map(|(code, words, tail, end)| format!("{code}{}{tail}{end}", words.concat()))
}

proptest! {
    #[test]
    fn skimmed_is_the_same_as_read_by_words(
        file in file(),
        moves in proptest::collection::vec(odd_move(), 0..30),
    ) {
        let file = file + "\n" + &moves.concat();
        prop_assert_eq!(skimmed(file.as_bytes()), by_words(file.as_bytes()));
    }
}

#[test]
fn skimmed_across_the_buffer_is_the_same() {
    let mut file = b"M83\n".to_vec();
    for i in 0..40_000 {
        let line = format!(
            "G1 X{}.{:03} Y-{}.5 E0.{:05}\r\n",
            i % 90,
            i % 1000,
            i % 7,
            i % 99_999
        );
        file.extend_from_slice(line.as_bytes());
    }
    file.extend_from_slice(b"G1 X5 E1");
    assert!(file.len() > 1 << 20);
    assert!(skimmed(&file) == by_words(&file));
}
