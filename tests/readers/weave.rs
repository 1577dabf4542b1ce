//! Weaving into whatever claims to be a toolpath of a small block.

use std::io::{self, Cursor, Read};
use std::sync::Arc;

use ::toolpath::Settings;
use blend::Shares;
use geometry::{DVec3, LayerPlan, Mask, Mesh, Progress, Surface, solids};
use plan::{AsPrinted, FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};
use project::signoff::Standing;
use weave::dialect::Dialect;
use weave::register::Placement;
use weave::verify::Verify;
use weave::{Source, Weave};

use super::Answer;

/// A block in two blends, as it is to be printed.
pub(super) struct Small {
    pub(super) painted: Painted,
    pub(super) schedule: Schedule,
    pub(super) printed: AsPrinted,
    pub(super) top_mm: f64,
}

/// The block: small, so that a weave takes milliseconds.
fn block() -> Mesh {
    solids::cuboid(DVec3::new(8.0, 5.0, 2.0)).expect("a block")
}

/// Its layers.
fn layers() -> LayerPlan {
    LayerPlan::plain(0.4, 0.4)
}

fn small() -> Small {
    let mesh = block();
    let top_mm = mesh.bounds().1.z;
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Block".into(),
        height_mm: top_mm,
    });
    plan.layers = layers();
    let blend = |first: f64| Paint::Fixed(Shares::new(&[first, 1.0 - first]).expect("shares"));
    let band = Mask::Band {
        from_mm: 0.8,
        to_mm: 1.6,
    };
    plan.regions = vec![
        Region::new("All", Mask::Whole, blend(1.0)),
        Region::new("Band", band, blend(0.25)),
    ];
    plan.machine.value.chamber.dead_mm3 = 1.0;
    plan.machine.value.chamber.mixed_mm3 = 2.0;
    let model = plan.model();
    let surface = Surface::new(Arc::new(mesh));
    let progress = Progress::new();
    let painted = Painted::new(plan, surface, model, &progress).expect("a plan");
    let schedule = Schedule::new(&painted, &progress).expect("a schedule");
    let printed =
        AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress).expect("as printed");
    Small {
        painted,
        schedule,
        printed,
        top_mm,
    }
}

/// Lends the block, which is made once.
pub(super) fn with_job<T>(run: impl FnOnce(&Small) -> T) -> T {
    thread_local! {
        static SMALL: Small = small();
    }
    SMALL.with(run)
}

/// The block with a side in another blend, so that runs change places.
fn sided() -> Painted {
    let mesh = block();
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("block.stl"),
        title: "Block".into(),
        height_mm: mesh.bounds().1.z,
    });
    plan.layers = layers();
    let blend = |first: f64| Paint::Fixed(Shares::new(&[first, 1.0 - first]).expect("shares"));
    let side = Mask::Slab {
        direction: DVec3::X,
        from_mm: 1.0,
        to_mm: 9.0,
    };
    plan.regions = vec![
        Region::new("All", Mask::Whole, blend(1.0)),
        Region::new("Side", side, blend(0.25)),
    ];
    plan.machine.value.chamber.dead_mm3 = 1.0;
    plan.machine.value.chamber.mixed_mm3 = 2.0;
    let model = plan.model();
    let surface = Surface::new(Arc::new(mesh));
    Painted::new(plan, surface, model, &Progress::new()).expect("a plan")
}

/// A toolpath woven in another order keeps every law of that, or is refused.
pub fn reorder_toolpath(bytes: &[u8]) -> Answer {
    thread_local! {
        static SIDED: Painted = sided();
    }
    let dialect = Dialect::built_in("slots").expect("built in");
    let before: Arc<[u8]> = bytes.into();
    SIDED.with(|painted| {
        let stands = vec![Placement {
            shift_mm: [110.0; 2],
            ..Placement::default()
        }];
        let weave = Weave {
            painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: stands.clone(),
            arrange: weave::arrange::Arrange::default(),
            review: Standing::not_reviewed(),
        };
        let progress = Progress::new();
        let mut out = Vec::new();
        if from(&before, |source| weave.run(source, &mut out, &progress)).is_err() {
            return Answer::Refused;
        }
        let after: Arc<[u8]> = out.into();
        let verify = Verify {
            painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands,
            chamber: painted.plan().machine.chamber,
        };
        let found = from(&after, |after| {
            from(&before, |before| verify.run(after, Some(before), &progress))
        });
        let found = found.expect("what was woven can be read");
        if let Some(same) = &found.same {
            assert!(same.holds(), "{same:?}");
        }
        let fault = found.laws.and_then(|laws| laws.fault);
        assert_eq!(fault, None);
        Answer::Read
    })
}

/// A toolpath woven without complaint holds the same moves and the same plastic as before.
pub fn weave_toolpath(bytes: &[u8]) -> Answer {
    let names = ["slots", "ratio-word", "move-words"];
    let name = names.get(bytes.len() % names.len()).copied();
    let dialect = match name {
        Some("ratio-word") => Dialect::ratio_word("MIX RATIO={shares}").ok(),
        name => name.and_then(Dialect::built_in),
    };
    let dialect = dialect.expect("a dialect");
    let before: Arc<[u8]> = bytes.into();
    with_job(|job| {
        let painted = &job.painted;
        let weave = Weave {
            painted,
            dialect: &dialect,
            settings: Settings::default(),
            // Finding the block costs most of the time: one in eight is enough.
            stands: match bytes.len() % 8 {
                0 => Vec::new(),
                _ => vec![Placement {
                    shift_mm: [110.0; 2],
                    ..Placement::default()
                }],
            },
            arrange: weave::arrange::Arrange::default(),
            review: Standing::not_reviewed(),
        };
        let progress = Progress::new();
        let mut out = Vec::new();
        let Ok(woven) = from(&before, |source| weave.run(source, &mut out, &progress)) else {
            return Answer::Refused;
        };
        assert_eq!(woven.bytes, bytes.len() as u64);
        let after: Arc<[u8]> = out.into();
        let verify = Verify {
            painted,
            dialect: &dialect,
            settings: Settings::default(),
            stands: woven
                .registered
                .stands
                .iter()
                .map(|s| s.placement)
                .collect(),
            chamber: painted.plan().machine.chamber,
        };
        let found = from(&after, |after| {
            from(&before, |before| verify.run(after, Some(before), &progress))
        });
        let found = found.expect("what was woven can be read");
        let same = found.same.expect("it was compared");
        assert!(same.holds(), "{same:?}");
        Answer::Read
    })
}

fn from<T>(file: &Arc<[u8]>, run: impl FnOnce(&Source<'_>) -> T) -> T {
    let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(Arc::clone(file)))) };
    run(&Source::new(&open, file.len() as u64))
}
