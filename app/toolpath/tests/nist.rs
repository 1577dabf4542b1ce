//! Rules and examples of the RS274/NGC interpreter (NISTIR 6556, 2000), by section. The
//! document's examples are quoted from memory.

use toolpath::{
    CautionKind, Cautions, Distance, ExtruderMode, MachineState, Move, Path, Replay, Settings,
    Step, Units,
};

struct Run {
    moves: Vec<Move>,
    steps: Vec<Step>,
    state: MachineState,
    cautions: Cautions,
}

fn run_with(text: &str, settings: Settings) -> Run {
    let mut replay = Replay::new(text.as_bytes(), settings);
    let (mut moves, mut steps) = (Vec::new(), Vec::new());
    while let Some(seen) = replay.advance().expect("text") {
        match seen.step {
            Step::Nothing => {}
            Step::Move(m) => moves.push(m),
            other => steps.push(other),
        }
    }
    Run {
        moves,
        steps,
        state: *replay.state(),
        cautions: replay.cautions().clone(),
    }
}

fn run(text: &str) -> Run {
    run_with(text, Settings::default())
}

fn ends(text: &str) -> Vec<[f64; 3]> {
    run(text).moves.iter().map(|m| m.to).collect()
}

#[test]
fn section_3_3_blanks_case_and_order_of_words_mean_nothing() {
    let expected = ends("G1 X0.1234 Y7 F100");
    for text in [
        "g0x +0. 12 34y 7",
        "Y7 x.1234 G1 f100",
        "\tG 1 Y 7 X 0.1234",
        "f100y7g1x.1234",
    ] {
        assert_eq!(ends(text), expected, "{text}");
    }
}

#[test]
fn section_3_4_modes_stay_in_force() {
    // Motion: a line of axis words alone goes on with the last motion.
    assert_eq!(
        ends("G1 X1\nY2\nX3 Z4"),
        [[1., 0., 0.], [1., 2., 0.], [3., 2., 4.]]
    );
    // G80 ends it (3.5.13).
    assert_eq!(ends("G1 X1\nG80\nX5").len(), 1);
    // Nothing is in force at the start.
    assert!(ends("X5").is_empty());
    // Feed and units stay too.
    let seen = run("G1 F300 X1\nG20 X1");
    assert_eq!(seen.moves[1].feed_mm_min, 300.0);
    assert_eq!(seen.moves[1].to[0], 25.4);
}

#[test]
fn section_3_5_1_and_3_5_2_rapid_and_straight() {
    let seen = run("G0 X1 Y2\nG1 X3 Z1 F60");
    assert!(seen.moves[0].rapid && !seen.moves[1].rapid);
    assert_eq!(seen.moves[1].from, [1., 2., 0.]);
    assert_eq!(seen.moves[1].to, [3., 2., 1.]);
    assert_eq!(seen.moves[1].length_mm(), 5_f64.sqrt());
}

#[test]
fn section_3_5_3_arcs_in_all_planes() {
    for (text, turn) in [
        ("G0 X10\nG17 G3 X0 Y10 I-10", 1.0),
        ("G0 X10\nG17 G2 X0 Y10 I-10", -3.0),
        ("G0 Z10\nG18 G3 X10 Z0 K-10", 1.0),
        ("G0 Y10\nG19 G3 Y0 Z10 J-10", 1.0),
        ("G0 X10\nG3 X0 Y10 R10", 1.0),
        ("G0 X10\nG2 X0 Y10 R-10", -3.0),
        ("G20 G91 G0 X1\nG3 X-1 Y1 I-1", 1.0),
    ] {
        let seen = run(text);
        match seen.moves[1].path {
            Path::Arc(arc) => {
                let quarters = arc.sweep / std::f64::consts::FRAC_PI_2;
                assert!((quarters - turn).abs() < 1e-9, "{text}: {quarters}");
            }
            Path::Straight => panic!("{text}"),
        }
        assert!(seen.cautions.as_slice().is_empty(), "{text}");
    }
    // A helix rises evenly.
    let helix = run("G0 X10\nG3 X-10 Y0 Z4 I-10").moves[1];
    let middle = helix.at(0.5);
    assert!((middle[1] - 10.0).abs() < 1e-9 && (middle[2] - 2.0).abs() < 1e-9);
}

#[test]
fn section_3_5_3_errors_are_told_and_do_no_harm() {
    for (text, kind) in [
        ("G2 X5", CautionKind::BadArc),
        ("G2 X1 I31323", CautionKind::BadArc),
        ("G2 X5 Y5 R1", CautionKind::BadArc),
        ("G2 X0 Y0 R1", CautionKind::BadArc),
        ("G2 X5 Y5 I1", CautionKind::UnevenArc),
        ("G1 X1 X2", CautionKind::RepeatedWord),
        ("G1 X#3", CautionKind::UnreadMove),
        ("G93 G1 X1 F2", CautionKind::InverseTime),
        ("G55", CautionKind::OtherCoordinates),
        ("G10 L2 P1 X5", CautionKind::OtherCoordinates),
        ("G81 X5 Z-1 R2", CautionKind::UnknownMotion),
        ("T1", CautionKind::OtherTool),
        ("N1 G1 X1*3", CautionKind::WrongChecksum),
        ("G1 X99999", CautionKind::OutOfReach),
        ("M200", CautionKind::UnknownFlow),
        ("M200 S1", CautionKind::UnknownFlow),
        ("M221 S0", CautionKind::UnknownFlow),
    ] {
        let seen = run(text);
        assert!(seen.cautions.has(kind), "{text}");
        assert_eq!(seen.cautions.as_slice()[0].first_line, 1, "{text}");
    }
}

#[test]
fn section_3_5_6_inches_and_millimetres() {
    let seen = run("G20\nG1 X1 Y-.5 F10 E1\nG21\nG1 X1 E1");
    assert_eq!(seen.moves[0].to, [25.4, -12.7, 0.]);
    assert_eq!(seen.moves[0].feed_mm_min, 254.0);
    assert_eq!(seen.moves[1].to, [1., -12.7, 0.]);
    assert!((seen.moves[0].extruded_mm - 25.4).abs() < 1e-12);
    assert!((seen.moves[1].extruded_mm + 24.4).abs() < 1e-12);
    assert_eq!(seen.state.units(), Units::Millimetres);
}

#[test]
fn section_3_5_17_absolute_and_relative() {
    assert_eq!(
        ends("G91\nG1 X1\nX1 Y1\nG90\nX1"),
        [[1., 0., 0.], [2., 1., 0.], [1., 1., 0.]]
    );
    // I and J are relative in both.
    let seen = run("G0 X10 Y5\nG90 G3 X0 Y15 I-10 J0");
    assert!(matches!(seen.moves[1].path, Path::Arc(a) if a.centre == [0., 5.]));
}

#[test]
fn section_3_5_18_offsets() {
    // The document's example: at X=4 with no offset, G92 x 7 makes it 7 and the offset -3.
    let seen = run("G0 X4\nG92 X7\nG1 X7\nG1 X8");
    assert_eq!(seen.moves[1].to[0], 4.0);
    assert_eq!(seen.moves[2].to[0], 5.0);
    assert_eq!(seen.state.file_place()[0], 8.0);
    // It does not depend on the distance mode, and G92.1 takes it back.
    let seen = run("G0 X4\nG91 G92 X7\nG90 G92.1\nG1 X8");
    assert_eq!(seen.moves[1].to[0], 8.0);
    // G53 goes by the machine's own coordinates (3.5.12).
    let seen = run("G92 X100\nG53 G1 X5\nG1 X110");
    assert_eq!(seen.moves[0].to[0], 5.0);
    assert_eq!(seen.moves[1].to[0], 10.0);
}

#[test]
fn section_3_8_order_of_execution_is_not_the_order_of_words() {
    assert_eq!(ends("G1 X1 G20")[0][0], 25.4);
    assert_eq!(ends("G0 X5\nG1 X1 G91")[1][0], 6.0);
    let seen = run("G0 Z10\nX10 K-10 G3 Z0 G18");
    assert!(matches!(seen.moves[1].path, Path::Arc(_)));
}

#[test]
fn filament_absolute_relative_and_set() {
    let fed = |text: &str| -> Vec<f64> {
        let seen = run(text);
        seen.moves.iter().map(|m| m.extruded_mm).collect()
    };
    assert_eq!(fed("G1 X1 E1\nG1 X2 E3\nG92 E0\nG1 X3 E0.5"), [1., 2., 0.5]);
    assert_eq!(fed("M83\nG1 X1 E1\nG1 X2 E3\nM82\nG1 X3 E5"), [1., 3., 1.]);
    assert_eq!(fed("G91\nG1 X1 E1\nG1 E1\nG90\nG1 E3"), [1., 1., 1.]);
    // A volume of 2.405 mm³ is a millimetre of 1.75 mm filament.
    let volume = run("M200 D1.75\nM83\nG1 X1 E2.405281875").moves[0].extruded_mm;
    assert!((volume - 1.0).abs() < 1e-6);
    // What was drawn back and given again is not fresh.
    let seen = run("M83\nG1 X1 E1\nG1 E-2\nG1 X5\nG1 E2.5\nG1 X6 E1");
    let fresh: Vec<f64> = seen.moves.iter().map(|m| m.fresh_mm).collect();
    assert_eq!(fresh, [1., 0., 0., 0.5, 1.]);
    assert_eq!(seen.state.most_fed_mm(), 2.5);
}

#[test]
fn g90_after_m83_is_read_both_ways_and_told() {
    let text = "M83\nG90\nG1 X1 E1\nG1 X2 E1";
    let own = run(text);
    assert_eq!(own.moves[1].extruded_mm, 1.0);
    assert!(own.cautions.has(CautionKind::ExtruderModeUnclear));
    let follows = Settings {
        extruder_mode: ExtruderMode::FollowsDistance,
    };
    let seen = run_with(text, follows);
    assert_eq!(seen.moves[1].extruded_mm, 0.0);
    assert_eq!(seen.state.e_distance(), Distance::Absolute);
    assert!(seen.cautions.as_slice().is_empty());
    assert!(
        run("M83\nG90\nM83\nG1 X1 E1")
            .cautions
            .as_slice()
            .is_empty()
    );
}

#[test]
fn printers_commands_that_share_letters_do_not_move() {
    let text = "G1 X1 F100\nM92 X80 Y80 E400\nM201 X500\nM117 G1 X50\nM204 P800 S2\n\
                G4 P100\nG29\n; G1 X9\nSTART X5 E2\n(G1 X9)\nM84 X Y E\n";
    let seen = run(text);
    assert_eq!(seen.moves.len(), 1);
    assert!(seen.cautions.as_slice().is_empty());
    assert_eq!(seen.state.feed_mm_min(), 100.0);
    let seen = run("G1 X5 Y5 Z5\nG28 X Y\nG10\nG11\nT0\nG1 X1 E1 M106 S5");
    assert_eq!(seen.steps, [Step::Retract, Step::Unretract, Step::Tool(0)]);
    assert_eq!(seen.moves[1].from, [0., 0., 5.]);
    assert_eq!(ends("G1 X5\nG28\nG1 Y1")[1], [0., 1., 0.]);
    assert_eq!(ends("G1 X5\nG28 X0 Z0\nG1 Y1")[1], [0., 1., 0.]);
}

/// Filament printers' own words for how much is fed: common practice, no source.
#[test]
fn a_flow_factor_and_a_volume_scale_what_is_fed() {
    let area = std::f64::consts::PI * 1.75 * 1.75 / 4.0;
    let fed = |text: &str| -> Vec<f64> {
        let seen = run(text);
        assert!(seen.cautions.as_slice().is_empty(), "{text}");
        seen.moves.iter().map(|m| m.extruded_mm).collect()
    };
    let near = |found: Vec<f64>, wanted: &[f64]| {
        assert_eq!(found.len(), wanted.len());
        for (a, b) in found.iter().zip(wanted) {
            assert!((a - b).abs() < 1e-12, "{found:?} {wanted:?}");
        }
    };
    near(
        fed("M83\nM221 S95\nG1 X1 E2\nG1 E-1\nM221 S100\nG1 X2 E2"),
        &[1.9, -0.95, 2.0],
    );
    // An absolute count goes on as it is.
    near(
        fed("M82\nG1 X1 E2\nM221 S50\nG1 X2 E4\nG92 E0\nG1 X3 E1"),
        &[2.0, 1.0, 0.5],
    );
    near(fed("M221\nM83\nG1 X1 E1"), &[1.0]);
    near(
        fed("M83\nM200 D1.75\nG1 X1 E2\nM200 D0\nG1 X2 E2"),
        &[2.0 / area, 2.0],
    );
    near(
        fed("M83\nM200 S1 D1.75\nG1 X1 E2\nM200 S0\nG1 X2 E2"),
        &[2.0 / area, 2.0],
    );
    // And back into the file's numbers.
    for text in ["M221 S80", "M200 D1.75", "G20", "M200 D1.75\nM221 S90\nG20"] {
        let state = run(text).state;
        let again = run(&format!("{text}\nM83\nG1 X1 E{:.12}", state.to_file_e(3.0)));
        assert!((again.moves[0].extruded_mm - 3.0).abs() < 1e-9, "{text}");
    }
}
