use std::sync::Arc;

use blend::{LinearLight, Shares};
use geometry::{DVec3, Mask, Mesh, Surface, solids};
use plan::{FirstPlan, MeshSource, Paint, Plan, Region};
use toolpath::generate::{Recipe, Retraction, Stand as Place};
use toolpath::{Distance, Move, Replay, Step};

use super::register::tests::sliced;
use super::*;

fn blend(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).expect("shares")
}

fn painted(mesh: &Mesh, regions: Vec<Region>) -> Painted {
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("part.stl"),
        title: "Part".into(),
        height_mm: mesh.bounds().1.z,
    });
    plan.layers = geometry::LayerPlan::plain(0.2, 0.2);
    plan.regions = regions;
    let model = Arc::new(LinearLight::new(&plan.spools));
    let surface = Surface::new(Arc::new(mesh.clone()));
    Painted::new(plan, surface, model, &Progress::new()).expect("a plan")
}

fn region(name: &str, mask: Mask, first: f64) -> Region {
    Region::new(name, mask, Paint::Fixed(blend(first)))
}

fn bands() -> Vec<Region> {
    let band = Mask::Band {
        from_mm: 2.0,
        to_mm: 4.0,
    };
    vec![region("All", Mask::Whole, 1.0), region("Band", band, 0.25)]
}

fn part() -> Mesh {
    solids::cuboid(DVec3::new(30.0, 20.0, 6.0)).expect("a block")
}

fn weave(painted: &Painted, dialect: &str, file: &[u8]) -> Result<(Woven, String), WeaveError> {
    let dialect = Dialect::built_in(dialect).expect("built in");
    let job = Weave {
        painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        review: None,
        lead_mm3: 0.0,
        settle_mm3: 0.0,
    };
    run(&job, file)
}

fn run(job: &Weave<'_>, file: &[u8]) -> Result<(Woven, String), WeaveError> {
    let file: Arc<[u8]> = file.into();
    let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(io::Cursor::new(Arc::clone(&file)))) };
    let source = Source {
        open: &open,
        size_bytes: file.len() as u64,
    };
    let mut out = Vec::new();
    let woven = job.run(&source, &mut out, &Progress::new())?;
    Ok((woven, String::from_utf8(out).expect("text")))
}

fn moves(file: &str) -> Vec<Move> {
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
        let command = format!("M567 P0 E0.400:0.600{end}");
        let rest: String = without_header(&text)
            .into_iter()
            .filter(|l| *l != command)
            .collect();
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
    // The commands' places lie on the sphere's edge, within a look at it.
    let mut on_edge = 0;
    let mut blend_now = "";
    let mut replay = Replay::new(text.as_bytes(), Settings::default());
    let mut changed_at = Vec::new();
    let mut changed = false;
    while let Some(seen) = replay.advance().expect("text") {
        let body = std::str::from_utf8(seen.line.body())
            .expect("text")
            .to_owned();
        if body.starts_with("M567") {
            changed = body != blend_now;
            blend_now = if body.contains("E1") { "a" } else { "b" };
        } else if let Step::Move(m) = seen.step
            && m.prints()
            && changed
        {
            changed_at.push(m.from);
            changed = false;
        }
    }
    for [x, y, z] in &changed_at {
        // From the middle of the sphere, on the side x = -15 that the outer wall follows.
        if (x + 15.0 - 0.225).abs() < 1e-3 {
            let from_middle = y.hypot(z - 0.1 - 3.0);
            on_edge += usize::from((from_middle - 5.0).abs() < 0.1);
        }
    }
    assert!(on_edge > 20, "{on_edge} of {}", changed_at.len());
}

#[test]
fn the_lead_puts_commands_ahead_by_volume() {
    let mesh = part();
    let painted = painted(&mesh, bands());
    let file = sliced(&mesh, 0.2, &Recipe::default());
    let dialect = Dialect::built_in("ratio-word").expect("built in");
    let job = |lead_mm3| Weave {
        painted: &painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        review: Some(Review {
            name: "A. Keeper".into(),
            day: "2 May".into(),
        }),
        lead_mm3,
        settle_mm3: 0.0,
    };
    // Plastic laid before each command.
    let volumes = |text: &str| -> Vec<f64> {
        let mut replay = Replay::new(text.as_bytes(), Settings::default());
        let mut found = Vec::new();
        while let Some(seen) = replay.advance().expect("text") {
            if seen.line.body().starts_with(b"M567") {
                let area = toolpath::filament_area_mm2(1.75);
                found.push(seen.before.most_fed_mm() * area);
            }
        }
        found
    };
    let (_, at_once) = run(&job(0.0), &file).expect("woven");
    let (_, ahead) = run(&job(40.0), &file).expect("woven");
    assert!(ahead.contains("Reviewed by A. Keeper on 2 May"));
    let (at_once, ahead) = (volumes(&at_once), volumes(&ahead));
    assert_eq!(at_once.len(), 3);
    assert_eq!((at_once[0], ahead[0]), (0.0, 0.0));
    for (a, b) in at_once.iter().zip(&ahead).skip(1) {
        // To the shortest piece of way, and E's last decimal.
        assert!((a - b - 40.0).abs() < 0.02, "{a} {b}");
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
        review: None,
        lead_mm3: 0.0,
        settle_mm3: 0.0,
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
