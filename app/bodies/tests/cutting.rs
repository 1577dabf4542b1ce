//! Plans cut into bodies.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::sync::Arc;

use blend::{Fade, Shares, Spacing, Stop};
use bodies::{Bodies, BodiesError, Depth, Inside, Options};
use geometry::mask::Stroke;
use geometry::{DVec3, Field, Mask, Mesh, Progress, Surface, solids};
use plan::{FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};

fn shares(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).unwrap()
}

fn fixed(first: f64) -> Paint {
    Paint::Fixed(shares(first))
}

fn cut(mesh: Mesh, regions: Vec<Region>, options: Options) -> Result<Bodies, BodiesError> {
    let height_mm = mesh.bounds().1.z;
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("part.stl"),
        title: "Part".into(),
        height_mm,
    });
    plan.regions = regions;
    let model = plan.model();
    let surface = Surface::new(Arc::new(mesh));
    let painted = Painted::new(plan, surface, model, &Progress::new()).unwrap();
    let schedule = Schedule::new(&painted, &Progress::new()).unwrap();
    Bodies::new(&painted, &schedule, &options, &Progress::new())
}

fn sound(bodies: &Bodies) {
    let sum: f64 = bodies.bodies.iter().map(|b| b.volume_mm3).sum();
    assert!((sum / bodies.part_mm3 - 1.0).abs() < 1e-9);
    for body in &bodies.bodies {
        assert_eq!(body.faults(), Vec::<String>::new(), "{}", body.name);
    }
}

fn fade(to_mm: f64) -> Paint {
    let stop = |at_mm, first| Stop {
        at_mm,
        shares: shares(first),
    };
    Paint::Fade {
        along: Field::Height,
        fade: Fade {
            stops: vec![stop(0.0, 1.0), stop(to_mm, 0.0)],
            spacing: Spacing::Linear,
        },
    }
}

/// A fade comes out as slabs, as many as may be stored, stacked without a gap.
#[test]
fn a_fade_becomes_slabs() {
    let post = solids::cylinder(10.0, 100.0, 48).unwrap();
    let base = vec![Region::new("Post", Mask::Whole, fade(100.0))];
    for tools in [2, 5, 8] {
        let options = Options {
            tools: Some(tools),
            ..Options::default()
        };
        let found = cut(post.clone(), base.clone(), options).unwrap();
        sound(&found);
        assert_eq!(found.bodies.len(), tools);
        let mut ends: Vec<(f64, f64)> = found
            .bodies
            .iter()
            .map(|b| (b.mesh.bounds().0.z, b.mesh.bounds().1.z))
            .collect();
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!(ends.windows(2).all(|pair| pair[0].1 == pair[1].0));
        assert_eq!((ends[0].0, ends[tools - 1].1), (0.0, 100.0));
        // One change from each to the next, and none within a layer.
        assert_eq!(found.purge.all_changes(), tools - 1);
    }
}

#[test]
fn painted_areas_are_as_deep_as_asked_and_flushes_go_by_direction() {
    let block = solids::cuboid(DVec3::new(30.0, 30.0, 10.0)).unwrap();
    let dot = Stroke {
        dabs_mm: vec![DVec3::new(0.0, 0.0, 10.0)],
        radius_mm: 5.0,
        reach_mm: None,
    };
    let regions = vec![
        Region::new("Block", Mask::Whole, fixed(1.0)),
        Region::new("Dot", Mask::Stroke(dot), fixed(0.0)),
    ];
    let circle = std::f64::consts::PI * 25.0;
    for depth_mm in [0.5, 2.0] {
        let options = Options {
            depth: Depth::Stated(depth_mm),
            ..Options::default()
        };
        let found = cut(block.clone(), regions.clone(), options).unwrap();
        sound(&found);
        let dot = found.bodies.iter().find(|b| b.name == "Dot").unwrap();
        assert!((dot.volume_mm3 / (circle * depth_mm) - 1.0).abs() < 0.02);
        assert!((dot.visible_mm2 / circle - 1.0).abs() < 0.02);
        assert!(dot.faces.z > 0.999);
        let flush = &found.purge.flush_mm3;
        assert!(flush[0][1] > 20.0 && flush[1][0] > 20.0 && flush[0][1] != flush[1][0]);
        assert_eq!((flush[0][0], flush[1][1]), (0.0, 0.0));
    }
    let refused = Options {
        depth: Depth::Stated(-1.0),
        ..Options::default()
    };
    let error = cut(block, regions, refused).unwrap_err();
    assert!(matches!(error, BodiesError::Depth(_)));
}

#[test]
fn one_blend_inside_leaves_bands_skin_deep() {
    let post = solids::cylinder(10.0, 30.0, 48).unwrap();
    let band = Mask::Band {
        from_mm: 10.0,
        to_mm: 16.0,
    };
    let regions = vec![
        Region::new("Post", Mask::Whole, fixed(1.0)),
        Region::new("Band", band, fixed(0.0)),
    ];
    let through = cut(post.clone(), regions.clone(), Options::default()).unwrap();
    sound(&through);
    let options = Options {
        inside: Inside::Largest,
        ..Options::default()
    };
    let deep = cut(post, regions, options).unwrap();
    sound(&deep);
    let band = |found: &Bodies| {
        let band = found.bodies.iter().find(|b| b.name == "Band");
        band.unwrap().volume_mm3
    };
    let disc = solids::polygon_area_mm2(10.0, 48) * 6.0;
    assert!((band(&through) / disc - 1.0).abs() < 1e-9);
    let ring = disc - solids::polygon_area_mm2(10.0 - 1.2, 48) * 6.0;
    assert!(
        (band(&deep) / ring - 1.0).abs() < 0.05,
        "{} {ring}",
        band(&deep)
    );
}

/// Two blocks that cross: mended, and cut by what the plan says of the skin that is left.
#[test]
fn an_unsound_mesh_is_mended_first() {
    let block = solids::cuboid(DVec3::splat(10.0)).unwrap();
    let other = block
        .clone()
        .map(|p| p + DVec3::new(6.0, 3.0, 0.0))
        .unwrap();
    let both = Mesh::join([block, other]).unwrap();
    let band = Mask::Band {
        from_mm: 4.0,
        to_mm: 8.0,
    };
    let regions = vec![
        Region::new("Blocks", Mask::Whole, fixed(1.0)),
        Region::new("Band", band, fixed(0.0)),
    ];
    let found = cut(both, regions, Options::default()).unwrap();
    sound(&found);
    assert!(found.notes.iter().any(|n| n.starts_with("Mended: ")));
    assert!((found.part_mm3 - (2000.0 - 4.0 * 7.0 * 10.0)).abs() < 1e-6);
}
