//! The plan of each demonstration part goes into a toolpath of it, and comes back out of that.

use std::io::{Cursor, Read};
use std::sync::Arc;

use ::toolpath::Settings;
use demo_models::{Demo, recipe, toolpath};
use geometry::{LayerPlan, Progress, Surface};
use plan::{Painted, Plan};
use weave::dialect::Dialect;
use weave::verify::{Verified, Verify, find_stands};
use weave::{Source, Weave, WeaveError, Woven};

fn painted(demo: &Demo) -> Painted {
    let mut plan = Plan::from_ron(demo.plan_ron).unwrap();
    // Thick layers, to be quick.
    plan.layers = LayerPlan::plain(0.6, 0.6);
    let model = plan.model();
    let surface = Surface::new(Arc::new(demo.mesh.clone()));
    Painted::new(plan, surface, model, &Progress::new()).unwrap()
}

fn sliced(demo: &Demo, painted: &Painted) -> Vec<u8> {
    let mut file = Vec::new();
    toolpath(
        &demo.mesh,
        &painted.plan().layers,
        &recipe(demo.walls),
        &mut file,
    )
    .unwrap();
    file
}

/// Runs with a source that reads from memory.
fn with<T>(file: &[u8], run: impl FnOnce(&Source<'_>) -> T) -> T {
    let bytes: Arc<[u8]> = file.into();
    let open =
        || -> std::io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(Arc::clone(&bytes)))) };
    run(&Source::new(&open, file.len() as u64))
}

fn weave(
    painted: &Painted,
    dialect: &Dialect,
    file: &[u8],
) -> Result<(Woven, Vec<u8>), WeaveError> {
    let job = Weave {
        painted,
        dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        arrange: weave::arrange::Arrange::default(),
        review: project::signoff::Standing::not_reviewed(),
    };
    let mut out = Vec::new();
    let woven = with(file, |source| job.run(source, &mut out, &Progress::new()))?;
    Ok((woven, out))
}

fn verify(painted: &Painted, dialect: &Dialect, woven: &[u8], before: &[u8]) -> Verified {
    let progress = Progress::new();
    with(woven, |source| {
        let stands = find_stands(painted, source, Settings::default(), &progress).unwrap();
        let job = Verify {
            painted,
            dialect,
            settings: Settings::default(),
            stands,
            chamber: painted.plan().machine.chamber,
        };
        with(before, |before| job.run(source, Some(before), &progress)).unwrap()
    })
}

#[test]
fn every_demonstration_part_weaves_and_verifies() {
    for (demo, dialect) in
        demo_models::all()
            .unwrap()
            .iter()
            .zip(["slots", "ratio-word", "move-words"])
    {
        let name = demo.name;
        let painted = painted(demo);
        let dialect = Dialect::built_in(dialect).unwrap();
        let file = sliced(demo, &painted);
        assert!(file.len() < 6_000_000, "{name}: {} bytes", file.len());
        let (woven, text) = weave(&painted, &dialect, &file).unwrap();
        assert_eq!(woven.registered.stands.len(), 1, "{name}");
        assert!(
            woven.registered.stands[0].residual_mm < 0.03,
            "{name}: {woven:?}"
        );
        let found = verify(&painted, &dialect, &text, &file);
        assert_eq!(found.fault(), None, "{name}");
        // In order where no layer is shared, by the laws of another order where one is.
        match &woven.arranged {
            None => assert!(found.same.as_ref().unwrap().holds(), "{name}"),
            Some(_) => assert!(found.laws.is_some(), "{name}"),
        }
        assert_eq!(found.plan_matches, Some(true), "{name}");
        assert!(found.unclear.is_empty() && found.unset_mm3 == 0.0, "{name}");
        assert_eq!(found.changes, woven.emitted.changes, "{name}");
        let mean = found.printed.mean_de00().unwrap();
        println!(
            "{name}: {} bytes, {} changes, ΔE00 mean {mean:.2}, 95 % {:.1}; {woven:?}",
            file.len(),
            found.changes,
            found.printed.within_de00(0.95)
        );
        assert!(mean < 10.0, "{name}: {mean}");
    }
}

/// The door and the windows of the lighthouse, the letters of the nameplate: at their own layers.
#[test]
fn regions_that_share_layers_come_out() {
    for demo in &demo_models::all().unwrap()[1..] {
        let name = demo.name;
        let plan = Plan::from_ron(demo.plan_ron).unwrap();
        let surface = Surface::new(Arc::new(demo.mesh.clone()));
        let model = plan.model();
        let painted = Painted::new(plan, surface, model, &Progress::new()).unwrap();
        let dialect = Dialect::built_in("slots").unwrap();
        let file = sliced(demo, &painted);
        let (woven, text) = weave(&painted, &dialect, &file).unwrap();
        let found = verify(&painted, &dialect, &text, &file);
        assert_eq!(found.fault(), None, "{name}");
        let arranged = woven.arranged.unwrap();
        let (mean, most) = (
            found.printed.mean_de00().unwrap(),
            found.printed.within_de00(0.95),
        );
        println!("{name}: mean {mean:.2}, 95 % {most:.1}, {arranged:?}");
        assert!(mean <= 0.8 && most <= 3.0, "{name}: {mean} {most}");
        assert!(found.laws.unwrap().purged_mm > 0.0, "{name}");
        for region in &found.regions {
            assert!(region.mean_de00 < 6.0, "{name}: {region:?}");
        }
    }
}

#[test]
fn one_parts_toolpath_is_refused_for_another() {
    let demos = demo_models::all().unwrap();
    let (lighthouse, nameplate) = (&demos[1], &demos[2]);
    let (painted_one, painted_other) = (painted(lighthouse), painted(nameplate));
    let file = sliced(nameplate, &painted_other);
    let dialect = Dialect::built_in("slots").unwrap();
    let error = weave(&painted_one, &dialect, &file)
        .unwrap_err()
        .to_string();
    assert!(error.to_lowercase().contains("slice the same"), "{error}");
}
