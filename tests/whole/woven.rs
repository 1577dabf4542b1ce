//! The plan of each demonstration part goes into a toolpath of it, and comes back out of that.

use std::io::{Cursor, Read};
use std::sync::Arc;

use ::toolpath::Settings;
use demo_models::{Demo, recipe, toolpath};
use geometry::{LayerPlan, Progress, Surface};
use plan::schedule::Laid;
use plan::{AsPrinted, Painted, Plan, Schedule};
use project::signoff::Standing;
use weave::compare::Comparison;
use weave::dialect::Dialect;
use weave::figures::{Figures, any_dialect};
use weave::verify::{Verified, Verify, find_stands};
use weave::{Source, Weave, WeaveError, Woven, plastic_by_layer};

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
        let dialect = match dialect {
            "ratio-word" => Dialect::ratio_word("MIX RATIO={shares}").unwrap(),
            name => Dialect::built_in(name).unwrap(),
        };
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

/// The door and the windows of the lighthouse, the letters of nameplate and tag: at their own
/// layers.
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
        // The block is what its layers are, and little of it is there to stand alone.
        let levels: f64 = arranged
            .blocks
            .iter()
            .flat_map(|placed| &placed.levels)
            .map(|level| level.volume_mm3)
            .sum();
        assert!((levels - arranged.block_mm3).abs() < 1e-6, "{name}");
        // The tag's changes are all in its top three layers, and the block has to reach them.
        let most_standing = if name == "key-tag" { 0.45 } else { 0.25 };
        assert!(
            arranged.standing_mm3 < most_standing * arranged.block_mm3,
            "{name}: {arranged:?}"
        );
        let most_g = if name == "lighthouse" { 18.5 } else { 2.0 };
        assert!(arranged.block_g <= most_g, "{name}: {} g", arranged.block_g);
        assert!(found.laws.unwrap().purged_mm > 0.0, "{name}");
        for region in &found.regions {
            assert!(region.mean_de00 < 6.0, "{name}: {region:?}");
        }
    }
}

/// What `prepare --toolpath` says of a part is what `verify` finds in the woven file, and its
/// layers are that file's.
#[test]
fn the_sheet_says_what_is_found() {
    for demo in &demo_models::all().unwrap() {
        let name = demo.name;
        let painted = painted(demo);
        let plan = painted.plan();
        let dialect = any_dialect().unwrap();
        let file = sliced(demo, &painted);
        let (woven, text) = weave(&painted, &dialect, &file).unwrap();
        let found = verify(&painted, &dialect, &text, &file);
        let progress = Progress::new();
        let spans = plan.layers.spans(demo.mesh.bounds().1.z).unwrap();
        let job = Weave {
            painted: &painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: Vec::new(),
            arrange: weave::arrange::Arrange::default(),
            review: Standing::not_reviewed(),
        };
        let figures = with(&file, |source| {
            Figures::of(&job, &painted, source, &progress)
        })
        .unwrap();
        let counted = with(&file, |source| {
            let diameter_mm = plan.spools[0].diameter_mm;
            plastic_by_layer(source, Settings::default(), &spans, diameter_mm, &progress)
        })
        .unwrap();
        let laid = Laid {
            layers_mm3: figures.with_block(counted, &spans),
            route: String::new(),
        };
        let schedule = Schedule::along(&painted, Some(&laid), &progress).unwrap();
        let printed = AsPrinted::new(plan, painted.model(), &schedule, &progress)
            .unwrap()
            .read_back(plan, &figures.read_back());
        let mean = found.printed.mean_de00().unwrap();
        assert!(
            (printed.delivery.mean_de00 - mean).abs() < 0.2,
            "{name}: {} {mean}",
            printed.delivery.mean_de00
        );
        let whole: f64 = printed
            .extrusion
            .stretches
            .iter()
            .map(|s| s.volume_mm3)
            .sum();
        assert!(
            (whole / woven.volume_mm3 - 1.0).abs() < 0.01,
            "{name}: {whole} {}",
            woven.volume_mm3
        );
    }
}

/// Ways to weave are compared by what they come out as; doing nothing loses the letters, and a
/// fixed purge takes four times as much and more.
#[test]
fn ways_are_compared() {
    let demo = &demo_models::all().unwrap()[2];
    let plan = Plan::from_ron(demo.plan_ron).unwrap();
    let surface = Surface::new(Arc::new(demo.mesh.clone()));
    let model = plan.model();
    let painted = Painted::new(plan, surface, model, &Progress::new()).unwrap();
    let dialect = any_dialect().unwrap();
    let file = sliced(demo, &painted);
    let job = Weave {
        painted: &painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: Vec::new(),
        arrange: weave::arrange::Arrange::default(),
        review: Standing::not_reviewed(),
    };
    let found = with(&file, |source| {
        Comparison::of(&job, source, &Progress::new())
    })
    .unwrap();
    let way = |name: &str| found.ways.iter().find(|way| way.name == name).unwrap();
    let stayed = way("as sliced");
    assert!(
        stayed.purged_g == 0.0 && stayed.lost[0].name == "Letters",
        "{found:?}"
    );
    let block = way("order and block");
    assert!(block.mean_de00 < 0.2 * stayed.mean_de00 && block.lost.is_empty());
    let first = &found.ways[0];
    assert!(first.mean_de00 <= 0.8 && first.purged_g <= block.purged_g);
    assert!(found.least_g <= block.purged_g && 4.0 * block.purged_g <= found.custom_g);
    // Near-white needs less purge, and is told with how far off it is.
    let lighter = found.lighter.as_ref().unwrap();
    assert!(lighter.de00 > 0.0 && lighter.saves_g < block.purged_g);
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
