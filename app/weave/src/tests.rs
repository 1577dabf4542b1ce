use std::io::{self, Read};
use std::sync::Arc;

use blend::{LinearLight, Shares};
use demo_models::slicer::{Recipe, Retraction, Stand as Place};
use geometry::{DVec3, Mask, Mesh, Progress, Surface, solids};
use plan::machine::Chamber;
use plan::{FirstPlan, MeshSource, Paint, Painted, Plan, Region};
use toolpath::{Distance, Move, Replay, Settings, Step};

use super::arrange::{Arrange, Purge};
use super::dialect::Dialect;
use super::register::tests::sliced;
use super::*;
use project::signoff::{Decision, Signed, Standing, State};

fn blend(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).expect("shares")
}

/// No lag at all.
const NONE: Chamber = Chamber {
    dead_mm3: 0.0,
    mixed_mm3: 0.0,
    tanks: 1,
};

pub(crate) fn painted(mesh: &Mesh, regions: Vec<Region>) -> Painted {
    painted_on(mesh, regions, NONE)
}

pub(crate) fn painted_on(mesh: &Mesh, regions: Vec<Region>, chamber: Chamber) -> Painted {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("part.stl"),
        title: "Part".into(),
        height_mm: mesh.bounds().1.z,
    });
    plan.layers = geometry::LayerPlan::plain(0.2, 0.2);
    plan.regions = regions;
    plan.machine.value.chamber = chamber;
    plan.machine.value.least_share = 0.0;
    // As often as anyone asks.
    plan.machine.value.changes_per_minute = 1e6;
    let model = Arc::new(LinearLight::new(&plan.spools));
    let surface = Surface::new(Arc::new(mesh.clone()));
    Painted::new(plan, surface, model, &Progress::new()).expect("a plan")
}

pub(crate) fn region(name: &str, mask: Mask, first: f64) -> Region {
    Region::new(name, mask, Paint::Fixed(blend(first)))
}

pub(crate) fn bands() -> Vec<Region> {
    let band = Mask::Band {
        from_mm: 2.0,
        to_mm: 4.0,
    };
    vec![region("All", Mask::Whole, 1.0), region("Band", band, 0.25)]
}

pub(crate) fn part() -> Mesh {
    solids::cuboid(DVec3::new(30.0, 20.0, 6.0)).expect("a block")
}

/// Nothing changes places.
fn stay() -> Arrange {
    Arrange {
        purge: Purge::Stay,
        ..Arrange::default()
    }
}

/// A dialect of each form.
pub(crate) fn named(name: &str) -> Dialect {
    match name {
        "ratio-word" => Dialect::ratio_word("MIX RATIO={shares}").expect("a line"),
        name => Dialect::built_in(name).expect("built in"),
    }
}

pub(crate) fn weave(
    painted: &Painted,
    dialect: &str,
    file: &[u8],
) -> Result<(Woven, String), WeaveError> {
    let dialect = named(dialect);
    let job = Weave {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        arrange: stay(),
        review: Standing::not_reviewed(),
    };
    run(&job, file)
}

pub(crate) fn run(job: &Weave<'_>, file: &[u8]) -> Result<(Woven, String), WeaveError> {
    let file: Arc<[u8]> = file.into();
    let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(Arc::clone(&file)))) };
    let source = Source::new(&open, file.len() as u64);
    let mut out = Vec::new();
    let woven = job.run(&source, &mut out, &Progress::new())?;
    Ok((woven, String::from_utf8(out).expect("text")))
}

pub(crate) fn moves(file: &str) -> Vec<Move> {
    let mut replay = Replay::new(file.as_bytes(), Settings::default());
    let mut moves = Vec::new();
    while let Some(seen) = replay.advance().expect("text") {
        if let Step::Move(step) = seen.step {
            moves.push(step);
        }
    }
    moves
}

fn without_header(text: &str) -> Vec<&str> {
    text.split_inclusive('\n')
        .skip_while(|l| !l.contains("A toolpath for tests"))
        .collect()
}

#[test]
fn a_plan_of_one_blend_adds_the_header_and_one_command() {
    let mesh = part();
    let painted = painted(&mesh, vec![region("All", Mask::Whole, 0.4)]);
    for end in ["\n", "\r\n"] {
        let recipe = Recipe {
            end,
            ..Recipe::default()
        };
        let file = sliced(&mesh, 0.2, &recipe);
        let (woven, text) = weave(&painted, "ratio-word", &file).expect("woven");
        assert_eq!((woven.emitted.changes, woven.emitted.cuts), (1, 0));
        let command = format!("MIX RATIO=0.400:0.600{end}");
        let rest: String = without_header(&text)
            .into_iter()
            .filter(|l| *l != command)
            .collect();
        // The last line counts the changes.
        let (rest, count) = rest.split_once("; Blend changes: ").expect("a count");
        assert!(
            count.starts_with("1, check ") && count.ends_with(end),
            "{count}"
        );
        assert!(rest.as_bytes() == file, "other lines changed");
        assert!(text.contains("Plan: SHA-256 ") && text.contains("Not reviewed"));
    }
}

#[test]
fn bands_change_at_their_layers_and_nothing_else_changes() {
    let mesh = part();
    let painted = painted(&mesh, bands());
    let base = Recipe::default();
    for recipe in [
        base.clone(),
        Recipe {
            extruder: Distance::Absolute,
            retraction: Retraction::Firmware,
            ..base.clone()
        },
        Recipe {
            checked: true,
            ..base.clone()
        },
        Recipe {
            stands: vec![Place {
                turn_deg: 30.0,
                shift_mm: [90.0, 40.0],
            }],
            ..base.clone()
        },
    ] {
        let file = sliced(&mesh, 0.2, &recipe);
        let dialects = match recipe == base {
            true => vec!["slots", "ratio-word", "move-words"],
            false => vec!["slots"],
        };
        for dialect in dialects {
            let (woven, text) = weave(&painted, dialect, &file).expect("woven");
            assert_eq!(woven.emitted.changes, 3, "{dialect} {recipe:?}");
            let (before, after) = (moves(&String::from_utf8_lossy(&file)), moves(&text));
            let fed = |moves: &[Move]| moves.iter().map(|m| m.extruded_mm).sum::<f64>();
            assert!((fed(&before) - fed(&after)).abs() < 1e-6);
            assert_eq!(before.len() + woven.emitted.cuts as usize, after.len());
            let places = |moves: &[Move]| moves.iter().map(|m| m.to).collect::<Vec<_>>();
            if woven.emitted.cuts == 0 {
                assert_eq!(places(&before), places(&after));
            }
        }
    }
}

#[test]
fn a_painted_side_changes_within_layers_where_its_edge_runs() {
    let mesh = part();
    let ball = Mask::Sphere {
        centre_mm: DVec3::new(-15.0, 0.0, 3.0),
        radius_mm: 5.0,
    };
    let painted = painted(
        &mesh,
        vec![region("All", Mask::Whole, 1.0), region("Spot", ball, 0.0)],
    );
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (woven, text) = weave(&painted, "ratio-word", &file).expect("woven");
    assert!(woven.emitted.cuts > 20, "{woven:?}");
    // Along the side x = -15, which the outer wall follows, the blend changes at the sphere's edge
    // within a look at it, twice a layer, and nowhere else.
    let mut on_edge = 0;
    for [y, z] in changes_along(&text, -15.0 + 0.225) {
        let from_middle = y.hypot(z - 0.1 - 3.0);
        assert!((from_middle - 5.0).abs() < 0.1, "{from_middle} at {y} {z}");
        on_edge += 1;
    }
    assert_eq!(on_edge, 2 * 30);
}

/// Where the blend changes in the midst of a wall at this x: y and z, mm.
fn changes_along(text: &str, wall_x_mm: f64) -> Vec<[f64; 2]> {
    let mut replay = Replay::new(text.as_bytes(), Settings::default());
    let (mut found, mut blend, mut changed) = (Vec::new(), Vec::new(), false);
    let mut last: Option<Move> = None;
    while let Some(seen) = replay.advance().expect("text") {
        if seen.line.body().starts_with(b"MIX ") {
            changed |= blend != seen.line.body();
            blend = seen.line.body().to_vec();
        } else if let Step::Move(step) = seen.step
            && step.prints()
        {
            let [_, y, z] = step.from;
            let along = |m: &Move| {
                (m.from[0] - wall_x_mm)
                    .abs()
                    .max((m.to[0] - wall_x_mm).abs())
                    < 1e-3
            };
            let goes_on = last.is_some_and(|l| l.to == step.from && along(&l) && along(&step));
            if changed && goes_on {
                found.push([y, z]);
            }
            (last, changed) = (Some(step), false);
        }
    }
    found
}

#[test]
fn the_lead_puts_commands_ahead_by_volume() {
    let mesh = part();
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let dialect = named("ratio-word");
    let woven = |dead_mm3| {
        let chamber = Chamber { dead_mm3, ..NONE };
        let painted = painted_on(&mesh, bands(), chamber);
        let job = Weave {
            painted: &painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: Vec::new(),
            arrange: stay(),
            review: Standing {
                state: State::Approved,
                signed: Some(Signed {
                    name: "A. Keeper".into(),
                    at: "2026-05-02T09:00:00Z".into(),
                    decision: Decision::Approved,
                    note: String::new(),
                }),
                changed: Vec::new(),
            },
        };
        run(&job, &file).expect("woven").1
    };
    // Plastic laid before each command.
    let volumes = |text: &str| -> Vec<f64> {
        let mut replay = Replay::new(text.as_bytes(), Settings::default());
        let mut found = Vec::new();
        while let Some(seen) = replay.advance().expect("text") {
            if seen.line.body().starts_with(b"MIX ") {
                let area = toolpath::filament_area_mm2(1.75);
                found.push(seen.before.most_fed_mm() * area);
            }
        }
        found
    };
    let (at_once, ahead) = (woven(0.0), woven(40.0));
    assert!(ahead.contains("Reviewed and approved by A. Keeper on 2026-05-02"));
    let (at_once, ahead) = (volumes(&at_once), volumes(&ahead));
    assert_eq!(at_once.len(), 3);
    assert_eq!((at_once[0], ahead[0]), (0.0, 0.0));
    for (a, b) in at_once.iter().zip(&ahead).skip(1) {
        // Ahead by the dead volume, and into the plastic inside that is laid before.
        assert!((40.0 - 0.02..140.0).contains(&(a - b)), "{a} {b}");
    }
}

#[test]
fn what_does_not_fit_is_refused_and_no_file_is_left() {
    let mesh = part();
    let painted = painted(&mesh, bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let other = solids::cylinder(12.0, 6.0, 90).expect("a cylinder");
    let error = weave(&painted, "slots", &sliced(&other, 0.2, &Recipe::default()));
    assert!(
        error
            .expect_err("another part")
            .to_string()
            .contains("not of this part")
    );
    let high = solids::cuboid(DVec3::new(30.0, 20.0, 9.0)).expect("a block");
    let error = weave(&painted, "slots", &sliced(&high, 0.2, &Recipe::default()));
    assert!(
        error
            .expect_err("too high")
            .to_string()
            .contains("up to 9.00 mm")
    );
    let mut tools = file.clone();
    tools.extend_from_slice(b"T1\n");
    let error = weave(&painted, "slots", &tools).expect_err("tools");
    assert!(error.to_string().contains("single extruder"));

    let folder = tempfile::tempdir().expect("a folder");
    let (from, to) = (
        folder.path().join("in.gcode"),
        folder.path().join("out.gcode"),
    );
    std::fs::write(&from, &tools).expect("written");
    let dialect = Dialect::built_in("slots").expect("built in");
    let job = Weave {
        painted: &painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        arrange: stay(),
        review: Standing::not_reviewed(),
    };
    let error = job.file(&from, &to, &Progress::new()).expect_err("tools");
    assert!(matches!(error, WeaveError::Tools { .. }), "{error}");
    assert!(!to.exists());
    std::fs::write(&from, &file).expect("written");
    job.file(&from, &to, &Progress::new()).expect("woven");
    assert!(std::fs::metadata(&to).expect("a file").len() > file.len() as u64);
    let cancelled = Progress::new();
    cancelled.cancel();
    let error = job.file(&from, &to, &cancelled).expect_err("cancelled");
    assert_eq!(error.to_string(), "cancelled");
}

#[test]
fn where_regions_yield_each_layer_has_one_blend() {
    let mesh = part();
    let ball = Mask::Sphere {
        centre_mm: DVec3::new(-15.0, 0.0, 3.0),
        radius_mm: 2.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Spot", ball, 0.0)];
    let spotted = painted(&mesh, regions);
    let mut plan = spotted.plan().clone();
    plan.laying.shared_layers = plan::SharedLayers::OneBlend;
    let (surface, model) = (spotted.surface().clone(), plan.model());
    let yielding = Painted::new(plan, surface, model, &Progress::new()).expect("a plan");
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (woven, _) = weave(&spotted, "ratio-word", &file).expect("woven");
    assert!(woven.emitted.changes > 10, "{woven:?}");
    let (woven, _) = weave(&yielding, "ratio-word", &file).expect("woven");
    assert_eq!(woven.emitted.changes, 1, "{woven:?}");
}

#[test]
fn a_spot_too_small_for_the_chamber_is_left_out_and_that_is_told() {
    let mesh = part();
    let ball = Mask::Sphere {
        centre_mm: DVec3::new(-15.0, 0.0, 3.0),
        radius_mm: 2.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Spot", ball, 0.0)];
    let chamber = Chamber {
        dead_mm3: 0.0,
        mixed_mm3: 10.0,
        tanks: 1,
    };
    let painted = painted_on(&mesh, regions, chamber);
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let (woven, text) = weave(&painted, "ratio-word", &file).expect("woven");
    assert_eq!(woven.emitted.changes, 1, "{woven:?}");
    let told = |word: &str| woven.cautions.iter().any(|c| c.contains(word));
    assert!(told("end before the melt chamber"), "{woven:?}");
    let header = text.lines().take_while(|l| !l.contains("for tests"));
    let header: Vec<&str> = header.collect();
    assert!(header.concat().contains("end before"), "{header:#?}");
    assert!(header.iter().all(|l| l.len() < 90), "{header:#?}");
}

/// What can go wrong with a file is told in words, or it is woven; never a panic.
#[test]
fn hostile_toolpaths_are_woven_or_refused_in_words() {
    let mesh = part();
    let painted = painted(&mesh, bands());
    let good = sliced(&mesh, 0.2, &Recipe::default());
    let told = |file: &[u8]| match weave(&painted, "slots", file) {
        Ok((woven, text)) => format!("woven {} {}", woven.cautions.join("; "), text.len()),
        Err(error) => error.to_string(),
    };
    let with = |line: &str, after: usize| {
        let text = String::from_utf8(good.clone()).expect("text");
        let mut lines: Vec<&str> = text.lines().collect();
        lines.insert(after, line);
        (lines.join("\n") + "\n").into_bytes()
    };
    // Cut off: the part's top is missing.
    assert!(told(&good[..good.len() / 2]).contains("cut off at"));
    // Cut off within the last line: woven, as it would be printed.
    assert!(told(&good[..good.len() - 3]).starts_with("woven"));
    assert!(told(b"").contains("prints anything"));
    assert!(told(b"G1 X5 Y5\nM104 S0\n").contains("prints anything"));
    let binary: Vec<u8> = (0..200_000_u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    assert!(!told(&binary).starts_with("woven"));
    // Three megabytes of comments, in lines and in one.
    let mut comments = "; nothing here\n".repeat(200_000).into_bytes();
    comments.extend_from_slice(&good);
    assert!(told(&comments).starts_with("woven"));
    let one = format!(";{}", " x".repeat(1_000_000));
    assert!(told(&with(&one, 40)).starts_with("woven"));
    // Numbers that are none, or too large.
    for line in [
        "G1 X1e999 E1",
        "G1 X99999999999999999999 E1",
        "G1 XNaN E1",
        "G1 X1 E1e999",
    ] {
        // Woven with the line as it came, or refused with the line's number.
        match weave(&painted, "slots", &with(line, 60)) {
            Ok((_, text)) => assert!(text.lines().any(|l| l == line), "{line}"),
            Err(error) => assert!(error.to_string().contains("line 61"), "{line}: {error}"),
        }
    }
    // E that runs backwards lays nothing new until it has caught up.
    let (woven, text) = weave(&painted, "slots", &with("G1 E-500", 60)).expect("woven");
    let (whole, _) = weave(&painted, "slots", &good).expect("woven");
    assert!(text.lines().any(|l| l == "G1 E-500"));
    assert!(woven.volume_mm3 < whole.volume_mm3, "{woven:?}");
}

/// A brim lies beside the part, so it takes no command, whatever the part has there.
#[test]
fn a_brim_asks_for_nothing() {
    let mesh = part();
    let half = Mask::Slab {
        direction: DVec3::X,
        from_mm: 0.0,
        to_mm: 99.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Half", half, 0.0)];
    let painted = painted(&mesh, regions);
    let text = String::from_utf8(sliced(&mesh, 0.2, &Recipe::default())).expect("text");
    let (head, rest) = text.split_once("G0 Z0.200").expect("a layer");
    let (first, rest) = rest.split_once('\n').expect("its end");
    let mut brim = String::new();
    for ring in 0..5 {
        let (x, y) = (
            15.22 + 0.45 * f64::from(ring),
            10.22 + 0.45 * f64::from(ring),
        );
        brim.push_str(&format!(
            "G0 X-{x:.3} Y-{y:.3}\nG1 X{x:.3} Y-{y:.3} E1\nG1 X{x:.3} Y{y:.3} E0.7\n\
             G1 X-{x:.3} Y{y:.3} E1\nG1 X-{x:.3} Y-{y:.3} E0.7\n"
        ));
    }
    let with = format!("{head}G0 Z0.200{first}\n{brim}{rest}");
    let (plain, _) = weave(&painted, "slots", text.as_bytes()).expect("woven");
    let (brimmed, _) = weave(&painted, "slots", with.as_bytes()).expect("woven");
    assert!(plain.stretches > 10, "{plain:?}");
    // One stretch more, which asks for nothing.
    assert_eq!(brimmed.stretches, plain.stretches + 1);
    assert_eq!(brimmed.emitted.changes, plain.emitted.changes);
}

/// A support under a painted overhang, and a wall of it beside the stem: neither is the part.
#[test]
fn a_support_asks_for_nothing() {
    let mesh = mushroom();
    let under = Mask::Slab {
        direction: DVec3::X,
        from_mm: 0.0,
        to_mm: 99.0,
    };
    let regions = vec![region("All", Mask::Whole, 1.0), region("Half", under, 0.0)];
    let painted = painted(&mesh, regions);
    let text = String::from_utf8(sliced(&mesh, 0.2, &Recipe::default())).expect("text");
    let mut with = String::new();
    for line in text.lines() {
        with.push_str(line);
        with.push('\n');
        let height = line.strip_prefix("G0 Z").and_then(|z| z.split(' ').next());
        let Some(height_mm) = height.and_then(|z| z.parse::<f64>().ok()) else {
            continue;
        };
        // Up to a layer beneath the cap, and some 0.4 mm from the stem.
        if height_mm < 9.75 {
            for side in ["-", "", "-"] {
                with.push_str(&format!("G0 X{side}5.6 Y-2\nG1 X{side}5.6 Y2 E0.2\n"));
            }
        }
    }
    let (plain, _) = weave(&painted, "slots", text.as_bytes()).expect("woven");
    let (supported, _) = weave(&painted, "slots", with.as_bytes()).expect("woven");
    assert!(plain.volume_mm3 + 50.0 < supported.volume_mm3);
    assert!(plain.emitted.changes > 10, "{plain:?}");
    // One stretch more in each of its 48 layers, which asks for nothing.
    assert!(
        supported.stretches <= plain.stretches + 48,
        "{} {}",
        supported.stretches,
        plain.stretches
    );
    assert_eq!(supported.emitted.changes, plain.emitted.changes);
}

/// A stem of 10 by 10 by 10 mm under a cap of 24 by 24 by 4 mm.
fn mushroom() -> Mesh {
    let ring = |half: f64, z: f64| {
        [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
            .map(|(x, y)| DVec3::new(half * x, half * y, z))
    };
    let rings = [
        ring(5.0, 0.0),
        ring(5.0, 10.0),
        ring(12.0, 10.0),
        ring(12.0, 14.0),
    ];
    let vertices: Vec<DVec3> = rings.into_iter().flatten().collect();
    let mut triangles = vec![[0, 2, 1], [0, 3, 2], [12, 13, 14], [12, 14, 15]];
    for low in [0, 4, 8] {
        for side in 0..4 {
            let next = (side + 1) % 4;
            triangles.push([low + side, low + next, low + 4 + next]);
            triangles.push([low + side, low + 4 + next, low + 4 + side]);
        }
    }
    Mesh::new(vertices, triangles).expect("a mesh")
}
