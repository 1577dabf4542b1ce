//! The sheet holds all it should, and nothing lies on anything else.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::sync::Arc;

use blend::Srgb;
use geometry::{DVec3, Mesh, Progress, Surface};
use render::Stage;
use report::sheet::{
    ColourShare, Column, Fact, Facts, Finished, Heights, Mark, RegionFact, Sheet, SheetError,
    Slice, SpoolFact,
};

const LONG: &str =
    "An uncommonly long name that somebody gave to this in a hurry, with much detail";

fn block(size: DVec3) -> Stage {
    let corner = |i: usize| {
        let side = |bit: usize, length: f64| if i & bit == 0 { 0.0 } else { length };
        DVec3::new(side(1, size.x), side(2, size.y), side(4, size.z))
    };
    let quads = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    let triangles = quads
        .iter()
        .flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]])
        .collect();
    let mesh = Mesh::new((0..8).map(corner).collect(), triangles).unwrap();
    Stage::new(&Surface::new(Arc::new(mesh)), &Progress::new()).unwrap()
}

fn facts(spools: usize, regions: usize, marks: usize, columns: usize) -> Facts {
    let height_mm = 40.0;
    let slices: Vec<Slice> = (0..200)
        .map(|i| Slice {
            bottom_mm: height_mm * f64::from(i) / 200.0,
            top_mm: height_mm * f64::from(i + 1) / 200.0,
            area_mm2: f64::from(20 + i % 7),
            blends: 1 + usize::from(i % 50 < 10),
        })
        .collect();
    let shade = |i: usize| Srgb([(i * 37 % 256) as u8, (i * 91 % 256) as u8, 120]);
    let column = |_| Column {
        title: "asked for".into(),
        slices: (0..200)
            .map(|i| {
                vec![ColourShare {
                    colour: shade(i),
                    share: 1.0,
                }]
            })
            .collect(),
    };
    Facts {
        title: LONG.repeat(3),
        subtitle: LONG.repeat(4),
        stamp: vec![LONG.into(); 3],
        spools: (0..spools)
            .map(|i| SpoolFact {
                name: LONG.into(),
                colour: shade(i),
                mass_g: 1234.5,
                length_m: 4321.0,
                share: 1.0 / spools as f64,
            })
            .collect(),
        regions: (0..regions)
            .map(|i| RegionFact {
                name: LONG.into(),
                shades: vec![shade(i), shade(i + 1)],
                blend: "25 / 25 / 25 / 25 to 10 / 20 / 30 / 40, and more".into(),
                area_share: 0.5,
                uncertainty: Some(2.1),
            })
            .collect(),
        heights: Heights {
            slices,
            columns: (0..columns).map(column).collect(),
            marks: (0..marks)
                .map(|i| Mark {
                    height_mm: 40.0 * (i as f64 / marks as f64).powi(2),
                    text: LONG.into(),
                })
                .collect(),
        },
        totals: vec![Fact::new(LONG, LONG); 5],
        outcome: vec![Fact::new(LONG, LONG); 6],
        savings: vec![Fact::new(LONG, LONG); regions.min(4)],
        provenance: vec![Fact::new(LONG, LONG); 4],
        warnings: vec![LONG.repeat(2); regions.min(20)],
        cautions: vec![LONG.repeat(3); 4],
    }
}

fn sheet(facts: Facts, size: DVec3) -> Finished {
    let sheet = Sheet {
        scale: 0.5,
        ..Sheet::of(facts)
    };
    sheet
        .run(
            &block(size),
            |_| [0.3, 0.2, 0.1],
            |_| [0.2, 0.2, 0.1],
            &Progress::new(),
        )
        .unwrap()
}

/// Every text and picture lies on the page, and no two share ground.
fn check(done: &Finished) {
    let width = done.image.width_px() as f32 / 0.5;
    let height = done.image.height_px() as f32 / 0.5;
    for (i, one) in done.placed.iter().enumerate() {
        let at = one.at;
        assert!(at.x >= 0.0 && at.right() <= width, "{one:?}");
        assert!(at.y >= 0.0 && at.bottom() <= height, "{one:?}");
        for other in &done.placed[i + 1..] {
            assert!(!at.overlaps(&other.at), "{one:?} lies on {other:?}");
        }
    }
}

#[test]
fn a_plain_sheet_has_the_shape_of_a4_and_its_views() {
    let mut facts = facts(2, 3, 4, 1);
    facts.cautions.truncate(2);
    facts.warnings.truncate(1);
    facts.savings.truncate(1);
    let done = sheet(facts, DVec3::new(30.0, 30.0, 40.0));
    check(&done);
    assert_eq!((done.image.width_px(), done.image.height_px()), (700, 495));
    let count = |what: &str| done.placed.iter().filter(|p| p.what == what).count();
    for view in ["From the front right", "From the back left", "Front", "Top"] {
        // Once as picture, once as caption.
        assert_eq!(count(view), 2, "{view}");
    }
    assert_eq!(count("The same, as printed"), 4);
}

#[test]
fn shapes_of_all_kinds_and_much_text_keep_apart() {
    for size in [
        DVec3::new(30.0, 30.0, 40.0),
        DVec3::new(200.0, 30.0, 4.0),
        DVec3::new(5.0, 5.0, 250.0),
        DVec3::new(4.0, 200.0, 60.0),
    ] {
        check(&sheet(facts(8, 9, 12, 2), size));
    }
}

#[test]
fn very_many_regions_and_marks_make_the_page_longer() {
    let done = sheet(facts(3, 90, 300, 1), DVec3::new(30.0, 30.0, 40.0));
    check(&done);
    assert!(done.image.height_px() > 495);
    let has = |text: &str| done.placed.iter().any(|p| p.what.contains(text));
    assert!(has("and 30 more"));
    assert!(has("more above"));
}

#[test]
fn nothing_at_all_still_makes_a_page() {
    check(&sheet(Facts::default(), DVec3::new(30.0, 30.0, 40.0)));
}

#[test]
fn a_cancelled_sheet_stops() {
    let progress = Progress::new();
    let stage = block(DVec3::splat(10.0));
    progress.cancel();
    let failed = Sheet::of(facts(2, 2, 2, 1)).run(&stage, |_| [0.5; 3], |_| [0.5; 3], &progress);
    assert!(matches!(failed, Err(SheetError::Cancelled(_))));
}
