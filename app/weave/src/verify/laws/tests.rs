use super::*;

const BEFORE: &str = "\
G21\nG90\nM83\nM106 S80\nG1 Z0.2 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nG1 X10 Y10 E0.5\n\
G1 E-1 F1800\nG0 X30 Y0 F9000\nG1 E1 F1800\nM106 S255\nG1 F1200\nG1 X40 Y0 E0.5\nM73 P50\n\
G1 Z0.4 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nM107\n";

/// The second run first, and the first one cut.
const AFTER: &str = "\
; Purge block: x 50.000 60.000 y 0.000 10.000 up to 0.400 mm\n\
G21\nG90\nM83\nM106 S80\nG1 Z0.2 F9000\nG1 X30 Y0\nM106 S255\nG1 F1200\nG1 X40 Y0 E0.5\n\
G1 E-1 F1800\nG0 X4 Y0 F9000\nG1 E1 F1800\nM106 S80\nG1 F1200\nG1 X10 Y0 E0.3\nG1 X10 Y10 E0.5\n\
G1 E-1 F1800\nG0 X50 Y5 F9000\nG1 E1 F1800\nG1 X60 Y5 E0.4 F1200\n\
G1 E-1 F1800\nG0 X0 Y0 F9000\nG1 E1 F1800\nG1 F1200\nG1 X4 Y0 E0.2\nM106 S255\nM73 P50\n\
G1 Z0.4 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nM107\n";

fn fault(after: &str) -> Option<String> {
    let settings = Settings::default();
    let progress = Progress::new();
    let laws = check(
        BEFORE.as_bytes(),
        after.as_bytes(),
        settings,
        None,
        0,
        &progress,
    )
    .expect("text");
    laws.fault
}

#[test]
fn runs_may_change_places_and_be_cut() {
    assert_eq!(fault(BEFORE), None);
    assert_eq!(fault(AFTER), None);
}

#[test]
fn every_law_can_be_broken() {
    for (old, new, says) in [
        ("G1 X4 Y0 E0.2\n", "", "has no such plastic"),
        ("G1 X10 Y0 E0.3\n", "", "has no such plastic"),
        ("G1 X10 Y10 E0.5\n", "", "is printed 0.000 times"),
        (
            "G1 X10 Y0 E0.3\n",
            "G1 X10 Y0.1 E0.3\n",
            "has no such plastic",
        ),
        (
            "G1 X10 Y0 E0.3\n",
            "G1 X10 Y0 E0.31\n",
            "has no such plastic",
        ),
        (
            "G1 F1200\nG1 X40",
            "G1 F1500\nG1 X40",
            "has no such plastic",
        ),
        (
            "M106 S80\nG1 F1200\nG1 X10",
            "G1 F1200\nG1 X10",
            "has no such plastic",
        ),
        ("G1 X60 Y5 E0.4", "G1 X61 Y5 E0.4", "has no such plastic"),
        ("M73 P50\n", "", "M73 P50"),
        ("M73 P50\n", "M73 P50\nM104 S10\n", "not from the sliced"),
        ("G1 Z0.4 F9000\n", "G1 Z0.4 F9000\nG1 Z0.3\nG1 Z0.4\n", ""),
        (
            "G0 X4 Y0 F9000\n",
            "G0 X4 Y0 Z0.1 F9000\nG0 Z0.2\n",
            "below printed plastic",
        ),
        (
            "G1 E-1 F1800\nG0 X4 Y0 F9000\nG1 E1 F1800\n",
            "G0 X4 Y0 F9000\n",
            "without retraction",
        ),
        ("G1 X10 Y0 E0.5\nM107\n", "", "is missing"),
        ("M107\n", "", "set otherwise at the end"),
        (
            "M106 S255\nG1 F1200\nG1 X40",
            "G1 E-1\nG1 E1\nM106 S255\nG1 F1200\nG1 X40",
            "drawn back and given again at one spot",
        ),
        (
            "G1 E-1 F1800\nG0 X4",
            "G1 E-1 F1800\nG1 E-1\nG1 E1\nG0 X4",
            "drawn back and given again at one spot",
        ),
    ] {
        let broken = AFTER.replacen(old, new, 1);
        assert_ne!(broken, AFTER, "{old}");
        let told = fault(&broken).unwrap_or_default();
        match says {
            "" => assert_eq!(told, ""),
            _ => assert!(told.contains(says), "{old}: {told}"),
        }
    }
}

fn told(before: &str, after: &str) -> Option<String> {
    let progress = Progress::new();
    let settings = Settings::default();
    let (before, after) = (before.as_bytes(), after.as_bytes());
    let laws = check(before, after, settings, None, 0, &progress);
    laws.expect("text").fault
}

/// Two layers, and a block of so many layers in them.
fn with_block(layers: &[&str]) -> String {
    let mut text =
        String::from("; Purge block: x 50 60 y 0 10 up to 0.600 mm\nG21\nG90\nM83\nG1 F1200\n");
    for (index, block) in layers.iter().enumerate() {
        let z = 0.2 * (index + 1) as f64;
        text.push_str(&format!("G0 Z{z:.1}\nG0 X0 Y0\nG1 X9 Y0 E0.4\n{block}"));
    }
    text
}

#[test]
fn a_block_stands_on_the_bed_and_each_of_its_layers_on_the_one_below() {
    let before = with_block(&["", "", ""]);
    const WIDE: &str = "G0 X50 Y0\nG1 X60 Y0 E0.4\nG1 X60 Y8 E0.3\n";
    const SLIM: &str = "G0 X52 Y1\nG1 X58 Y1 E0.4\nG1 X58 Y6 E0.3\n";
    for (layers, says) in [
        ([WIDE, WIDE, SLIM], ""),
        ([WIDE, SLIM, ""], ""),
        (["", WIDE, ""], "begins at 0.400 mm"),
        ([WIDE, "", SLIM], "continues at 0.600 mm"),
        (
            [SLIM, WIDE, ""],
            "reaches beyond its layer below at 0.400 mm",
        ),
    ] {
        let told = told(&before, &with_block(&layers)).unwrap_or_default();
        match says {
            "" => assert_eq!(told, ""),
            _ => assert!(told.contains(says), "{layers:?}: {told}"),
        }
    }
}

#[test]
fn no_layer_is_hurried() {
    let layer = |z: f64, way: &str| {
        format!("G0 Z{z:.1}\nG0 X0 Y0\nG1 X9 Y0 E0.4\n{way}G0 X9 Y3\nG1 X0 Y3 E0.4\n")
    };
    let far = "G0 X90 Y0\n";
    let head = "G21\nG90\nM83\nG1 F600\n";
    let before = format!("{head}{}{}", layer(0.2, far), layer(0.4, far));
    let after = format!("{head}{}{}", layer(0.2, far), layer(0.4, ""));
    let told = told(&before, &after).expect("a fault");
    assert!(told.contains("the layer at 0.400 mm takes"), "{told}");
}

/// A cut's place is kept to a millionth of a millimetre, and so is its plastic.
#[test]
fn a_cut_beside_its_line_is_found() {
    let head = "G21\nG90\nM83\nG1 F600\nG0 X0 Y0 Z0.2\n";
    let before = format!("{head}G1 X10 Y3 E0.5\n");
    let cut = |x: f64, y: f64, e: f64| {
        format!(
            "{head}G1 X{x:.6} Y{y:.6} E{e:.6}\nG1 X10 Y3 E{:.6}\n",
            0.5 - e
        )
    };
    assert_eq!(told(&before, &cut(4.0, 1.2, 0.2)), None);
    assert!(told(&before, &cut(4.0, 1.200_003, 0.2)).is_some());
    assert!(told(&before, &cut(4.0, 1.2, 0.200_004)).is_some());
}

/// A move that climbs may be cut for a change like every other.
#[test]
fn a_cut_in_a_move_that_climbs_is_found() {
    let head = "G21\nG90\nM83\nG1 F600\nG0 X0 Y0 Z0.4\n";
    let climb = "G1 X10 Y0 Z2 E0.5\n";
    let fall = "G1 X0 Y0 Z1.6 E0.5\nG1 X0 Y10 Z2 E0.5\n";
    let before = format!("{head}{climb}{fall}");
    for cut in [
        "G1 X5 Y0 Z1.2 E0.25\nG1 X10 Y0 Z2 E0.25\n",
        "G1 X2.5 Y0 Z0.8 E0.125\nG1 X5 Y0 Z1.2 E0.125\nG1 X10 Y0 Z2 E0.25\n",
    ] {
        assert_eq!(told(&before, &format!("{head}{cut}{fall}")), None);
    }
    let cut_fall = "G1 X5 Y0 Z1.8 E0.25\nG1 X0 Y0 Z1.6 E0.25\nG1 X0 Y10 Z2 E0.5\n";
    assert_eq!(told(&before, &format!("{head}{climb}{cut_fall}")), None);
    for broken in [
        "G1 X5 Y0 Z1.2 E0.25\n",
        "G1 X5 Y0 Z1.2 E0.25\nG1 X10 Y0 Z2 E0.2\n",
        "G1 X5 Y0 Z1.3 E0.25\nG1 X10 Y0 Z2 E0.25\n",
        "G1 X5 Y0 Z1.2 E0.25\nG1 X10 Y0 Z2 E0.25\nG1 X10 Y0.1 Z2.1 E0.1\n",
    ] {
        assert!(told(&before, &format!("{head}{broken}{fall}")).is_some());
    }
}

/// A cut's place is rounded: on a short move with much plastic, as lost lines leave it, that is
/// more plastic than the rounding of its number.
#[test]
fn a_cut_where_much_is_fed_on_a_short_way_is_found() {
    let head = "G21\nG90\nM83\nG1 F600\nG0 X0 Y0 Z0.2\n";
    let before = format!("{head}G1 X0.2 Y0.11 E9\n");
    let cut = |e: f64| {
        format!(
            "{head}G1 X0.066667 Y0.036667 E{e:.6}\nG1 X0.2 Y0.11 E{:.6}\n",
            9.0 - e
        )
    };
    assert_eq!(told(&before, &cut(3.0)), None);
    assert!(told(&before, &cut(3.001)).is_some());
}

/// Two copies one after the other, 90 mm apart, with a way between them, and a block in each.
fn copies(way: &str, blocks: [&str; 2]) -> String {
    let mut text = String::from(
        "; Purge block: x 50 60 y 0 10 up to 1.500 mm\n; Purge block: x 150 160 y 0 10 up to 1.500 mm\n\
         ; Room about the nozzle: 40.000 mm\nG21\nG90\nM83\nG1 F1200\n",
    );
    for (x, block) in [0.0, 100.0].into_iter().zip(blocks) {
        if x > 0.0 {
            text.push_str(way);
        }
        for z in [0.5, 1.0, 1.5] {
            text.push_str(&format!(
                "G0 Z{z:.1}\nG0 X{x} Y0\nG1 X{} Y0 E0.4\n{block}",
                x + 9.0
            ));
        }
    }
    text
}

#[test]
fn the_nozzle_keeps_clear_of_a_copy_that_stands() {
    const OVER: &str = "G0 Z9\nG0 X100 Y0\n";
    let before = copies(OVER, ["", ""]);
    for (way, says) in [
        (OVER, ""),
        ("G0 Z9\nG0 X60 Y0\nG0 Z0.5\n", ""),
        (
            "G0 Z0.5\nG0 X5 Y0\nG0 X100 Y0\n",
            "goes through plastic that stands",
        ),
        ("G0 Z9\nG0 X100 Y0\nG0 Z0.5\nG0 X30 Y0\n", "comes within 2"),
    ] {
        let told = told(&before, &copies(way, ["", ""])).unwrap_or_default();
        match says {
            "" => assert_eq!(told, ""),
            _ => assert!(told.contains(says), "{way}: {told}"),
        }
    }
    // What the sliced file does as well is its own affair.
    let through = copies("G0 Z0.5\nG0 X100 Y0\n", ["", ""]);
    assert_eq!(told(&through, &through), None);
}

#[test]
fn a_block_grows_only_while_its_copy_is_printed() {
    const OVER: &str = "G0 Z9\nG0 X100 Y0\n";
    const FIRST: &str = "G0 X50 Y0\nG1 X60 Y0 E0.4\n";
    const SECOND: &str = "G0 X150 Y0\nG1 X160 Y0 E0.4\n";
    let before = copies(OVER, ["", ""]);
    assert_eq!(told(&before, &copies(OVER, [FIRST, SECOND])), None);
    assert_eq!(told(&before, &copies(OVER, ["", SECOND])), None);
    let again = told(&before, &copies(OVER, [FIRST, FIRST])).expect("a fault");
    assert!(
        again.contains("the purge block continues at 0.500 mm"),
        "{again}"
    );
}
