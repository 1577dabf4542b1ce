//! Files that are spoilt, odd, or hold more than the part.

use super::*;

/// A block with a badge on one side, woven in the file's order.
fn badge() -> (geometry::Mesh, Painted) {
    let mesh = weaving::part();
    let side = Mask::Box {
        min_mm: DVec3::new(-5.0, -11.0, 2.0),
        max_mm: DVec3::new(5.0, -9.0, 4.0),
    };
    let regions = vec![
        weaving::region("All", Mask::Whole, 1.0),
        weaving::region("Badge", side, 0.2),
    ];
    let painted = weaving::painted(&mesh, regions);
    (mesh, painted)
}

#[test]
fn commands_that_are_gone_new_or_wrong_are_told() {
    let (mesh, painted) = badge();
    let file = sliced(&mesh, 0.2, &Recipe::default());
    for dialect in ["slots", "ratio-word", "move-words"] {
        let (_, text) = weaving::weave(&painted, dialect, &file).expect("woven");
        let said = |text: &str| {
            let found = verify(&painted, dialect, NONE, text.as_bytes(), Some(&file));
            found.fault().unwrap_or_default()
        };
        assert_eq!(said(&text), "", "{dialect}");
        let lines: Vec<&str> = text.lines().collect();
        let command = |line: &&str| match dialect {
            "slots" => line.starts_with('T'),
            "ratio-word" => line.starts_with("MIX "),
            _ => line.contains(" A") && line.contains(" B"),
        };
        let commands: Vec<usize> = (0..lines.len()).filter(|i| command(&lines[*i])).collect();
        assert!(commands.len() > 4, "{dialect}");
        let middle = commands[commands.len() / 2];
        if dialect != "move-words" {
            // One choice is gone.
            let mut fewer = lines.clone();
            fewer.remove(middle);
            let told = said(&(fewer.join("\n") + "\n"));
            assert!(
                told.contains("changes of blend were woven in"),
                "{dialect}: {told}"
            );
        }
        // The end is gone, with the line that counts them.
        let short = lines[..lines.len() - 1].join("\n") + "\n";
        let told = said(&short);
        assert!(
            told.contains("its last line is missing"),
            "{dialect}: {told}"
        );
        // Shares that add up to more than all.
        let wrong = match dialect {
            "slots" => text.replacen("P1.000", "P1.500", 1),
            "ratio-word" => text.replacen("=1.000:0.000", "=1.000:1.500", 1),
            _ => text.replacen("A1.000 B0.000", "A1.000 B0.330", 1),
        };
        assert_ne!(wrong, text);
        assert_ne!(said(&wrong), "", "{dialect}");
    }
}

#[test]
fn a_tool_chosen_in_the_file_does_not_change_the_blend() {
    let (mesh, painted) = badge();
    let plain = sliced(&mesh, 0.2, &Recipe::default());
    let text = String::from_utf8(plain).expect("text");
    // At the start, after a prime line, and again in every layer.
    let prime = "G92 E0\nT0\nG0 Z0.3 F9000\nG0 X5 Y5\nG1 X5 Y60 E4 F1200\nT0\nG92 E0\n";
    let first = text.replacen("G92 E0\n", prime, 1);
    let often = first.replace("G0 Z", "T0\nG0 Z");
    assert!(often.matches("T0\n").count() > 20);
    for file in [&first, &often] {
        for dialect in ["slots", "ratio-word", "move-words"] {
            let (_, text) = weaving::weave(&painted, dialect, file.as_bytes()).expect(dialect);
            let bytes = file.as_bytes();
            let found = verify(&painted, dialect, NONE, text.as_bytes(), Some(bytes));
            assert_eq!(found.fault(), None, "{dialect}");
            let mean = found.printed.mean_de00().expect("skin");
            assert!(mean < 0.3, "{dialect}: {mean}");
        }
    }
    // Another tool in the midst of the part is refused.
    let other = first.replacen("G0 Z2.", "T1\nG0 Z2.", 1);
    let error = weaving::weave(&painted, "slots", other.as_bytes()).expect_err("two tools");
    assert!(error.to_string().contains("changes the tool"), "{error}");
}

#[test]
fn a_flow_factor_counts_and_one_that_is_not_known_is_refused() {
    let (mesh, painted) = badge();
    let text = String::from_utf8(sliced(&mesh, 0.2, &Recipe::default())).expect("text");
    let with = |line: &str| text.replacen("G92 E0\n", &format!("{line}\nG92 E0\n"), 1);
    let volume = |file: &str| {
        let (woven, text) = weaving::weave(&painted, "slots", file.as_bytes()).expect("woven");
        let found = verify(
            &painted,
            "slots",
            NONE,
            text.as_bytes(),
            Some(file.as_bytes()),
        );
        assert_eq!(found.fault(), None);
        assert!((found.volume_mm3 / woven.volume_mm3 - 1.0).abs() < 1e-9);
        woven.volume_mm3
    };
    let plain = volume(&text);
    assert!((volume(&with("M221 S95")) / plain - 0.95).abs() < 1e-9);
    let area = toolpath::filament_area_mm2(1.75);
    assert!((volume(&with("M200 D1.75")) / plain - 1.0 / area).abs() < 1e-9);
    for line in ["M221 S0", "M200"] {
        let file = with(line);
        let error = weaving::weave(&painted, "slots", file.as_bytes()).expect_err(line);
        assert!(error.to_string().contains("line 6"), "{error}");
    }
}

#[test]
fn plastic_that_is_part_of_no_copy_is_counted_and_judged_by_nobody() {
    let (mesh, painted) = badge();
    let text = String::from_utf8(sliced(&mesh, 0.2, &Recipe::default())).expect("text");
    // A brim of two lines about the block of 30 by 20 mm, and a wall beside it.
    let brim = "G0 X-15.2 Y-10.2\nG1 X15.2 Y-10.2 E1\nG1 X15.2 Y10.2 E0.7\nG1 X-15.2 Y10.2 E1\n\
                G1 X-15.2 Y-10.2 E0.7\nG0 X20 Y0\nG1 X20 Y10 E0.6\n";
    let (head, rest) = text.split_once("G0 Z0.200").expect("a layer");
    let (first, rest) = rest.split_once('\n').expect("its end");
    let file = format!("{head}G0 Z0.200{first}\n{brim}{rest}");
    let (_, woven) = weaving::weave(&painted, "slots", file.as_bytes()).expect("woven");
    let found = verify(
        &painted,
        "slots",
        NONE,
        woven.as_bytes(),
        Some(file.as_bytes()),
    );
    assert_eq!(found.fault(), None);
    let beside = 4.0 * toolpath::filament_area_mm2(1.75);
    assert!(
        (found.beside_mm3 / beside - 1.0).abs() < 0.02,
        "{}",
        found.beside_mm3
    );
    // The same skin as without.
    let (_, without) = weaving::weave(&painted, "slots", text.as_bytes()).expect("woven");
    let clean = verify(&painted, "slots", NONE, without.as_bytes(), None);
    assert_eq!(clean.beside_mm3, 0.0);
    let (a, b) = (found.printed.volume_mm3(), clean.printed.volume_mm3());
    assert!((a / b - 1.0).abs() < 1e-6, "{a} {b}");
}

#[test]
fn the_first_layer_is_drawn_with_its_lines_and_nothing_above() {
    let (mesh, painted) = badge();
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (_, text) = weaving::weave(&painted, "slots", &file).expect("woven");
    let text = text.replacen(
        "; Cautions",
        "; Purge block: x 20.000 30.000 y 0.000 10.000 up to 1.000 mm\n; Cautions",
        1,
    );
    let bytes = source(text.as_bytes());
    let open = || from(&bytes, 0);
    let woven = Source::new(&open, bytes.len() as u64);
    let dialect = Dialect::built_in("slots").expect("built in");
    let replayed = replayed(&painted, &dialect);
    let progress = Progress::new();
    let svg = first_layer::svg(&replayed, &woven, &progress).expect("read");
    let svg = svg.expect("a layer");
    let layers = replayed.layers(&woven, &progress).expect("read");
    let lines = svg.matches("stroke-linecap").count();
    assert_eq!(lines, layers[0].pieces.len());
    assert!(
        svg.contains("up to 0.20 mm") && svg.contains("stroke-dasharray"),
        "{svg}"
    );
    let open = || from(&bytes, bytes.len() as u64);
    let nothing = Source::new(&open, 0);
    assert_eq!(
        first_layer::svg(&replayed, &nothing, &progress).expect("read"),
        None
    );
}
