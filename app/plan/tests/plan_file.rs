//! The plan file: what is read, what is written, what is refused and how it is said.

use blend::{Shares, Spacing};
use geometry::{DVec3, Field, Mask};
use plan::{FirstPlan, MeshSource, Paint, Plan, TextError};

const DOCUMENTATION: &str = include_str!("../../../docs/plan-format.md");

/// The example of the documentation.
fn example() -> &'static str {
    let from = DOCUMENTATION.find("```ron\n").expect("an example") + "```ron\n".len();
    let text = &DOCUMENTATION[from..];
    &text[..text.find("```").expect("its end")]
}

/// The faults of the example with one piece of its text exchanged.
fn faults(good: &str, bad: &str) -> TextError {
    assert!(example().contains(good), "the example has no {good:?}");
    let text = example().replacen(good, bad, 1);
    Plan::from_ron(&text).expect_err(bad)
}

/// Line and column, from 1, of a piece of the example.
fn place(piece: &str) -> (usize, usize) {
    let at = example().find(piece).expect("in the example");
    let line_start = example()[..at].rfind('\n').map_or(0, |i| i + 1);
    (
        example()[..at].matches('\n').count() + 1,
        example()[line_start..at].chars().count() + 1,
    )
}

#[test]
fn the_documented_example_is_read_and_round_trips() {
    let plan = Plan::from_ron(example()).expect("the documentation's example");
    assert_eq!(plan.regions.len(), 5);
    assert_eq!(plan.spools[0].density_g_cm3, 1.24);
    assert!(plan.regions[4].locked);
    let text = plan.to_ron().expect("writes");
    assert_eq!(Plan::from_ron(&text).expect("reads its own text"), plan);
}

#[test]
fn every_field_is_in_the_documented_example_or_optional() {
    // A new mask or measure must be told of in the documentation.
    for word in [
        "Whole",
        "Band",
        "Slab",
        "Sphere",
        "Box",
        "Cylinder",
        "Shell",
        "Object",
        "Crease",
        "Stroke",
        "All",
        "Any",
        "Not",
        "Height",
        "Direction",
        "FromPoint",
        "FromStroke",
        "Linear",
        "EqualSteps",
        "EqualArea",
    ] {
        assert!(DOCUMENTATION.contains(&format!("`{word}")), "{word}");
    }
}

#[test]
fn points_stand_in_brackets_or_without() {
    let along = |measure: &str| {
        let text = example().replacen("along: Height", &format!("along: {measure}"), 1);
        let plan = Plan::from_ron(&text).map_err(|e| e.to_string())?;
        match &plan.regions[1].paint {
            Paint::Fade { along, .. } => Ok::<_, String>(along.clone()),
            Paint::Fixed(_) | Paint::Blend(_) => Err("no fade".to_owned()),
        }
    };
    let point = DVec3::new(1.0, -0.3, 2e-3);
    for text in [
        "(1, -0.3, 2e-3)",
        "((1, -0.3, 2e-3))",
        "( ( 1.0 , -0.3 , 0.002, ), )",
    ] {
        assert_eq!(
            along(&format!("Direction{text}")),
            Ok(Field::Direction(point))
        );
        assert_eq!(
            along(&format!("FromPoint{text}")),
            Ok(Field::FromPoint(point))
        );
    }
    for text in [
        "(1, 2)",
        "((1, 2))",
        "(1, 2, 3, 4)",
        "(\"up\")",
        "()",
        "((1, 2, 3), 4)",
    ] {
        assert!(along(&format!("Direction{text}")).is_err(), "{text}");
    }
}

#[test]
fn all_faults_of_a_mask_are_told() {
    let error = faults(
        "Band(from_mm: 0.0, to_mm: 18.0)",
        "All([Sphere(centre_mm: (0, 0, 0), radius_mm: -1), Whole, \
         Any([Slab(direction: (0, 0, 0), from_mm: 0, to_mm: 1), Band(from_mm: 2, to_mm: 1)])])",
    );
    let told = error.to_string();
    for words in [
        "radius_mm is -1",
        "has no length",
        "from_mm is 2 and to_mm is 1",
    ] {
        assert!(told.contains(words), "{told}");
    }
}

#[test]
fn names_that_nobody_reads_are_refused() {
    let long = "n".repeat(100_000);
    for (good, what) in [
        ("Lighthouse for the museum shop", "the title is 100000"),
        ("Signal red", "a spool's name is 100000"),
        ("Tower", "a region's name is 100000"),
    ] {
        let told = faults(good, &long).to_string();
        assert!(told.contains(what) && told.len() < 1000, "{good}");
    }
}

#[test]
fn a_mesh_may_be_mended_and_stay_as_drawn() {
    let with = "(file: \"lighthouse.stl\", mend: true, place: (stand: AsDrawn))";
    let text = example().replacen("(file: \"lighthouse.stl\")", with, 1);
    let plan = Plan::from_ron(&text).expect("reads");
    assert!(plan.mesh.mend);
    let back = plan.to_ron().expect("writes");
    assert_eq!(Plan::from_ron(&back).expect("reads its own text"), plan);
}

#[test]
fn written_plans_carry_comments_and_stay_short() {
    let plan = Plan::from_ron(example()).expect("reads");
    let text = plan.to_ron().expect("writes");
    assert!(text.contains("/// The part: a mesh file beside this plan"));
    assert!(text.contains("(name: \"Tower\", mask: Whole, paint: Fixed([0.0, 1.0])),"));
    assert!(text.lines().all(|line| line.chars().count() < 110));
}

#[test]
fn faults_of_grammar_name_line_and_column() {
    let cases = [
        ("skin_mm: 1.2", "skin: 1.2", "there is no field `skin` here"),
        ("Whole", "Hole", "`Hole` is unknown here"),
        ("\"#c22a24\"", "\"#c22a2\"", "is not a colour"),
        ("[0.6, 0.4]", "[0.6, 0.6]", "add up to 1.2, not 1"),
        (
            "skin_mm: 1.2",
            "skin_mm: \"deep\"",
            "a number is needed here",
        ),
        ("radius_mm: 1.5", "", "`radius_mm` is missing"),
    ];
    for (good, bad, says) in cases {
        let error = faults(good, bad);
        let fault = &error.faults[0];
        assert!(fault.what.contains(says), "{bad}: {fault}");
        let (line, _) = place(good);
        assert_eq!(fault.spot.line, line, "{bad}: {fault}");
        assert!(fault.spot.column > 1, "{bad}: {fault}");
    }
}

#[test]
fn faults_of_meaning_name_line_and_column() {
    let cases = [
        ("first_layer_mm: 0.3", "-0.3", "layer height of -0.3 mm"),
        ("above_mm: 80.0", "-80.0", "heights must be 0 or more"),
        ("at_mm: 18.0", "0.0", "higher than the one before"),
        ("at_mm: 0.0", "-5.0", "no values below 0"),
        ("skin_mm: 1.2", "0.0", "must be a number above 0"),
        ("thickness_mm: 0.9", "0.0", "a wall 0 mm thick"),
        ("behind: 0.0", "1.5", "must be from 0 to 1"),
        (
            "shares: [0.1, 0.9]",
            "[0.1, 0.8, 0.1]",
            "stop 2 has 3 shares",
        ),
        (
            "mask: Whole",
            "Band(from_mm: 0.0, to_mm: 5.0)",
            "does not cover everything",
        ),
        (
            "share_step: 0.01",
            "7.0",
            "this is 7; it must be from 0.0001",
        ),
        ("name: \"Bands\"", "\" \"", "has no name"),
        ("file: \"lighthouse.stl\"", "\"\"", "has no name"),
        (
            "version: 1",
            "2",
            "version 2, and this program reads version 1",
        ),
    ];
    for (good, bad, says) in cases {
        let (field, _) = good.split_once(": ").expect("field: value");
        let error = faults(good, &format!("{field}: {bad}"));
        let fault = &error.faults[0];
        assert!(fault.what.contains(says), "{bad}: {fault}");
        let (line, column) = place(good);
        let wanted = (line, column + field.len() + 2);
        assert_eq!((fault.spot.line, fault.spot.column), wanted, "{fault}");
    }
}

#[test]
fn a_plan_without_regions_or_spools_is_refused() {
    let from = example().find("regions: [").expect("regions") + "regions: [".len();
    let empty = format!("{}])", &example()[..from]);
    let error = Plan::from_ron(&empty).expect_err("no regions");
    assert!(error.to_string().contains("there is no region"), "{error}");

    let from = example().find("spools: [\n").expect("spools");
    let to = from + example()[from..].find("],").expect("their end");
    let none = format!("{}spools: [{}", &example()[..from], &example()[to..]);
    let error = Plan::from_ron(&none).expect_err("no spools");
    assert!(
        error.to_string().contains("2 to 8 spools, and there are 0"),
        "{error}"
    );
}

#[test]
fn all_faults_are_told_at_once_in_the_order_of_the_text() {
    let text = example()
        .replace("first_layer_mm: 0.3", "first_layer_mm: -1.0")
        .replace("at_mm: 18.0", "at_mm: 0.0");
    let error = Plan::from_ron(&text).expect_err("two faults");
    assert_eq!(error.faults.len(), 2);
    assert!(error.faults[0].spot.line < error.faults[1].spot.line);
}

/// The grammar stops at shares that do not add up; what stands behind them is told all the same.
#[test]
fn faults_behind_shares_that_do_not_add_up_are_told_as_well() {
    let text = example()
        .replace("[0.0, 1.0]", "[0.7, 0.1]")
        .replace("first_layer_mm: 0.3", "first_layer_mm: -1.0")
        .replace("[0.5, 0.5]", "[0.5, 0.9]")
        .replace("at_mm: 18.0", "at_mm: 0.0");
    let error = Plan::from_ron(&text).expect_err("four faults");
    let told: Vec<String> = error.faults.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 4, "{told:?}");
    for (fault, word) in told.iter().zip([
        "a layer height of -1 mm",
        "add up to 0.8,",
        "each stop must be higher",
        "add up to 1.4,",
    ]) {
        assert!(fault.contains(word), "{fault}");
    }
    assert!(error.faults.is_sorted_by_key(|f| f.spot.line));
}

#[test]
fn broken_texts_are_refused_and_never_panic() {
    for end in (0..example().trim_end().len())
        .filter(|&i| example().is_char_boundary(i))
        .step_by(7)
    {
        let error = Plan::from_ron(&example()[..end]).expect_err("cut off");
        assert!(error.faults[0].spot.line > 0);
    }
    let deep = format!("(version: 1, regions: {}", "Not(".repeat(100_000));
    Plan::from_ron(&deep).expect_err("too deep");
}

#[test]
fn spools_and_machine_may_stand_in_files() {
    let text = r#"(version: 1, mesh: (file: "cup.stl"), spools: "two.ron", machine: "m.ron",
        layers: (first_layer_mm: 0.2, layer_mm: 0.2),
        regions: [(name: "all", mask: Whole, paint: Fixed([0.5, 0.5]))])"#;
    let two = r##"(version: 1, spools: [(name: "a", colour: Hex("#000000")),
        (name: "b", colour: Lab(l: 90.0, a: 0.0, b: 2.0), density_g_cm3: 1.27)])"##;
    let read = |spools: &str| {
        let spools = spools.to_owned();
        move |file: &str| match file {
            "two.ron" => Ok(spools.clone()),
            "m.ron" => Ok("(version: 1, nozzle_mm: 0.6)".to_owned()),
            _ => Err("no such file".to_owned()),
        }
    };
    let plan = Plan::load(text, read(two)).expect("loads");
    assert_eq!(plan.spools[1].density_g_cm3, 1.27);
    assert_eq!(plan.machine.nozzle_mm, 0.6);
    assert!(
        plan.to_ron()
            .expect("writes")
            .contains("spools: \"two.ron\"")
    );

    let mut inline = plan.clone();
    inline.spools.file = None;
    assert_eq!(plan.sha256().expect("hash"), inline.sha256().expect("hash"));
    inline.spools[0].name.push('x');
    assert_ne!(plan.sha256().expect("hash"), inline.sha256().expect("hash"));

    let dense = two.replace("1.27", "0.0");
    let error = Plan::load(text, read(&dense))
        .expect_err("no density")
        .to_string();
    assert!(error.starts_with("two.ron: line 2, column "), "{error}");

    let three = two.replace("])", r##", (name: "c", colour: Hex("#ffffff"))])"##);
    let error = Plan::load(text, read(&three))
        .expect_err("three spools")
        .to_string();
    assert!(error.starts_with("line 3, column 53: "), "{error}");

    let error = Plan::load(text, |_| Err("no such file".to_owned())).expect_err("no file");
    assert_eq!(error.to_string(), "two.ron: no such file");
}

#[test]
fn the_first_plan_of_a_part_is_sound_and_fades_from_bed_to_top() {
    for height_mm in [120.0, 0.004, f64::NAN, 1e9] {
        let plan = Plan::first(FirstPlan {
            mesh: MeshSource::named("part.stl"),
            title: "Part".into(),
            height_mm,
        });
        assert_eq!(plan.problems(), []);
        let again = Plan::from_ron(&plan.to_ron().expect("writes")).expect("reads");
        assert_eq!(again, plan);
        let Paint::Fade { along, fade } = &plan.regions[0].paint else {
            panic!("a fade");
        };
        assert_eq!((along, fade.spacing), (&Field::Height, Spacing::Linear));
    }
}

#[test]
fn nested_masks_round_trip() {
    let mut plan = Plan::from_ron(example()).expect("reads");
    let stroke = geometry::mask::Stroke {
        dabs_mm: vec![DVec3::new(1.0, -2.5, 3.0)],
        radius_mm: 2.0,
        reach_mm: Some(3.0),
    };
    plan.regions[1].mask = Mask::Not(Box::new(Mask::Any(vec![
        Mask::Not(Box::new(Mask::Stroke(stroke.clone()))),
        Mask::All(vec![Mask::Whole, Mask::Shell { near_mm: DVec3::X }]),
    ])));
    plan.regions[1].paint = Paint::Fade {
        along: Field::FromStroke(stroke),
        fade: blend::Fade {
            stops: [0.0, 1.0 / 3.0]
                .map(|at_mm| blend::Stop {
                    at_mm,
                    shares: Shares::new(&[at_mm, 1.0 - at_mm]).expect("shares"),
                })
                .to_vec(),
            spacing: Spacing::EqualArea,
        },
    };
    let text = plan.to_ron().expect("writes");
    assert_eq!(Plan::from_ron(&text).expect("reads its own text"), plan);
}

#[test]
fn a_part_can_be_placed_in_the_plan() {
    use geometry::place::{Axis, Unit};
    let plain = "    mesh: (file: \"lighthouse.stl\"),\n";
    let placed =
        r#"mesh: (file: "lighthouse.stl", place: (unit: Inch, up: MinusY, turn_deg: 90)),"#;
    let text = example().replacen(plain, placed, 1);
    let plan = Plan::from_ron(&text).expect("a placed part");
    let place = &plan.mesh.place;
    assert_eq!((place.unit, place.up), (Some(Unit::Inch), Axis::MinusY));
    assert_eq!(
        Plan::from_ron(&plan.to_ron().expect("writes")).expect("reads"),
        plan
    );
    let wrong = text.replace("turn_deg: 90", "scale: -1");
    let error = Plan::from_ron(&wrong)
        .expect_err("a scale below 0")
        .to_string();
    assert!(
        error.contains("line ") && error.contains("scale"),
        "{error}"
    );
}

#[test]
fn a_plan_wrong_in_very_many_places_is_answered_soon() {
    let region = "(name: \"\", mask: Whole, paint: Fixed([1.0])),\n";
    let text = format!(
        "(version: 1, mesh: (file: \"cup.stl\"), spools: \"two.ron\",\n\
         layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [\n{}])",
        region.repeat(20_000)
    );
    let error = Plan::from_ron(&text).expect_err("nameless regions");
    assert_eq!(error.faults.len(), plan::ron_text::MOST_FAULTS);
    let last = error.faults.last().expect("faults").to_string();
    assert!(last.contains("19901 more errors"), "{last}");
}

#[test]
fn brackets_without_end_are_told() {
    for open in ["(", "[", "(a: (", "#![enable(", "/*", "\"", "r#\""] {
        let error = Plan::from_ron(&open.repeat(100_000)).expect_err("no plan");
        assert!(!error.faults.is_empty());
    }
}

/// A plan with a region over all and others above it.
fn with_regions(others: &str) -> String {
    format!(
        "(version: 1, mesh: (file: \"cup.stl\"), spools: \"two.ron\",\n\
         layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [\n\
         (name: \"a\", mask: Whole, paint: Fixed([1.0])),\n{others}])"
    )
}

#[test]
fn a_plan_has_4096_regions_at_most() {
    let region = "(name: \"b\", mask: Whole, paint: Fixed([1.0])),\n";
    let plan = Plan::from_ron(&with_regions(&region.repeat(4095))).expect("as many as may be");
    assert_eq!(plan.regions.len(), 4096);
    let error = Plan::from_ron(&with_regions(&region.repeat(4096))).expect_err("one too many");
    let told = error.faults[0].to_string();
    assert!(
        told.contains("there are 4097 regions; a plan holds 4096 at most"),
        "{told}"
    );
}

#[test]
fn masks_stand_within_sixty_others_at_most() {
    let nested = |deep: usize| {
        let mask = format!("{}Whole{}", "Not(".repeat(deep), ")".repeat(deep));
        let region = format!("(name: \"b\", mask: {mask}, paint: Fixed([1.0])),\n");
        Plan::from_ron(&with_regions(&region))
    };
    let deepest = (1..200).take_while(|deep| nested(*deep).is_ok()).last();
    // Of the 128 levels of the text's grammar a mask takes two, and what is about it the rest.
    assert_eq!(deepest, Some(60));
    let told = nested(61).expect_err("one too deep").faults[0].to_string();
    assert!(
        told.contains("line 4") && told.contains("nested too deeply"),
        "{told}"
    );
}
