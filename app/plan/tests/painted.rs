//! A plan laid on a shape: which region wins, which blend, how much area.

use std::f64::consts::PI;
use std::sync::Arc;

use blend::{Fade, LinearLight, MixModel, Shares, Spacing, Stop, ciede2000};
use geometry::mask::Stroke;
use geometry::{DVec3, Field, Mask, Mesh, Progress, Surface, SurfacePoint, solids};
use plan::{BrushStroke, Edit, FirstPlan, MeshSource, Paint, Painted, Plan, Region};
use proptest::prelude::*;

fn shares(first: f64) -> Shares {
    Shares::new(&[first, 1.0 - first]).expect("shares")
}

fn fixed(first: f64) -> Paint {
    Paint::Fixed(shares(first))
}

fn plan(regions: Vec<Region>) -> Plan {
    let mesh = MeshSource::named("part.stl");
    let mut plan = Plan::first(FirstPlan {
        mesh,
        title: String::new(),
        height_mm: 10.0,
    });
    plan.regions = vec![Region::new("Base", Mask::Whole, fixed(0.0))];
    plan.regions.extend(regions);
    assert_eq!(plan.problems(), []);
    plan
}

fn painted(mesh: Mesh, plan: Plan) -> Painted {
    let model = Arc::new(LinearLight::new(&plan.spools));
    let surface = Surface::new(Arc::new(mesh));
    Painted::new(plan, surface, model, &Progress::new()).expect("lays")
}

fn block() -> Mesh {
    let block = solids::cuboid(DVec3::new(20.0, 20.0, 10.0)).expect("a block");
    // Its corner put at the origin.
    let (low, _) = block.bounds();
    let moved = block.vertices().iter().map(|&v| v - low).collect();
    Mesh::new(moved, block.triangles().to_vec()).expect("a block")
}

fn on(painted: &Painted, point: (f64, f64, f64)) -> SurfacePoint {
    painted.surface().nearest(point.into())
}

fn areas(painted: &Painted) -> Vec<f64> {
    painted.region_areas_mm2(&Progress::new()).expect("areas")
}

fn stroke(dabs: &[(f64, f64, f64)]) -> Stroke {
    Stroke {
        dabs_mm: dabs.iter().map(|&d| d.into()).collect(),
        radius_mm: 2.0,
        reach_mm: None,
    }
}

#[test]
fn the_upper_region_wins_and_hidden_ones_are_left_out() {
    let band = |from_mm, to_mm| Mask::Band { from_mm, to_mm };
    let mut plan = plan(vec![
        Region::new("Lower", band(2.0, 8.0), fixed(0.3)),
        Region::new("Upper", band(6.0, 20.0), fixed(0.7)),
    ]);
    let side = |z| (25.0, 10.0, z);
    let laid = painted(block(), plan.clone());
    let regions = [1.0, 2.0, 5.999, 6.0, 7.0, 10.0].map(|z| laid.region_at(on(&laid, side(z))));
    assert_eq!(regions, [0, 1, 1, 2, 2, 2]);
    assert_eq!(laid.shares_at(on(&laid, side(7.0))), shares(0.7));

    plan.regions[2].hidden = true;
    let laid = painted(block(), plan);
    assert_eq!(laid.region_at(on(&laid, side(7.0))), 1);
    assert_eq!(laid.region_at(on(&laid, side(9.0))), 0);
    assert!(laid.covers(2, on(&laid, side(7.0))));
    assert!(!laid.covers(9, on(&laid, side(7.0))));
}

/// A band of one or two layers on a part of few large facets, and a face that a band ends with.
#[test]
fn thin_bands_are_measured_as_they_are() {
    let band = |from_mm, to_mm| Mask::Band { from_mm, to_mm };
    let laid = painted(
        block(),
        plan(vec![
            Region::new("One layer", band(3.0, 3.2), fixed(0.3)),
            Region::new("Top", band(9.0, 10.0), fixed(0.7)),
        ]),
    );
    let found = areas(&laid);
    for (found, wanted) in found.iter().zip([80.0 * 8.8, 80.0 * 0.2, 480.0]) {
        assert!((found - wanted).abs() < 1e-6, "{found} {wanted}");
    }
}

#[test]
fn the_last_stroke_has_its_way() {
    let mut region = Region::painted("Spot", fixed(1.0));
    let top = |x| (x, 10.0, 10.0);
    region.brush = vec![
        BrushStroke::Paint(stroke(&[top(4.0), top(16.0)])),
        BrushStroke::Erase(stroke(&[top(10.0)])),
        BrushStroke::Paint(Stroke {
            radius_mm: 1.0,
            ..stroke(&[top(10.0)])
        }),
    ];
    let laid = painted(block(), plan(vec![region]));
    let regions = [1.0, 3.0, 7.0, 8.5, 9.5, 11.5, 13.0].map(|x| laid.region_at(on(&laid, top(x))));
    assert_eq!(regions, [0, 1, 1, 0, 1, 0, 1]);
}

#[test]
fn a_revised_plan_answers_as_one_laid_anew() {
    let mut plan = plan(vec![
        Region::painted("Spot", fixed(1.0)),
        Region::new(
            "Band",
            Mask::Band {
                from_mm: 4.0,
                to_mm: 5.0,
            },
            fixed(0.5),
        ),
    ]);
    let model: Arc<dyn MixModel> = Arc::new(LinearLight::new(&plan.spools));
    let mut laid = painted(block(), plan.clone());
    let edits = [
        Edit::AddTouch {
            region: 1,
            at: 0,
            touch: BrushStroke::Paint(stroke(&[(5.0, 5.0, 10.0)])),
        },
        Edit::ExtendTouch {
            region: 1,
            touch: 0,
            dabs_mm: vec![DVec3::new(9.0, 5.0, 10.0), DVec3::new(9.0, 9.0, 10.0)],
        },
        Edit::MoveRegion { from: 1, to: 2 },
        Edit::AddTouch {
            region: 2,
            at: 0,
            touch: BrushStroke::Erase(stroke(&[(20.0, 9.0, 4.5)])),
        },
        Edit::RemoveTouch {
            region: 2,
            touch: 1,
        },
    ];
    for edit in edits {
        edit.apply(&mut plan).expect("applies");
        let progress = Progress::new();
        laid = laid
            .revised(plan.clone(), Arc::clone(&model), &progress)
            .expect("revises");
        let anew = painted(block(), plan.clone());
        for i in 0..2000 {
            let t = f64::from(i);
            let p = DVec3::new((t * 0.37) % 20.0, (t * 0.73) % 20.0, (t * 0.11) % 10.5);
            let point = laid.surface().nearest(p);
            assert_eq!(laid.region_at(point), anew.region_at(point));
        }
    }
}

#[test]
fn region_areas_are_right_and_add_up() {
    // A dome cut out of a sphere's skin by a plane: 2πRh (Archimedes, On the Sphere and
    // Cylinder).
    let ball = solids::icosphere(10.0, 5).expect("a ball");
    // A few facets about the lowest place count as the face on the bed.
    let on_bed = geometry::place::bed_face(&ball);
    let seen = (0..ball.triangles().len()).filter(|&facet| !on_bed[facet]);
    let whole: f64 = seen.map(|facet| ball.area_vector(facet).length()).sum();
    assert!((ball.area_mm2() / whole - 1.0).abs() < 1e-3);
    let dome = Mask::Slab {
        direction: DVec3::new(1.0, 2.0, 2.0),
        from_mm: 6.0,
        to_mm: 50.0,
    };
    let laid = painted(ball, plan(vec![Region::new("Dome", dome, fixed(0.5))]));
    let areas = areas(&laid);
    assert!((areas.iter().sum::<f64>() - whole).abs() < 1e-9 * whole);
    let wanted = 2.0 * PI * 10.0 * 4.0;
    assert!(
        (areas[1] / wanted - 1.0).abs() < 2e-3,
        "{} {wanted}",
        areas[1]
    );
}

#[test]
fn colours_of_a_fade_are_those_of_its_blends() {
    let fade = Paint::Fade {
        along: Field::FromPoint(DVec3::ZERO),
        fade: Fade {
            stops: [(2.0, 1.0), (7.0, 0.1), (19.0, 0.9)]
                .map(|(at_mm, first)| Stop {
                    at_mm,
                    shares: shares(first),
                })
                .to_vec(),
            spacing: Spacing::EqualSteps,
        },
    };
    let laid = painted(block(), plan(vec![Region::new("All", Mask::Whole, fade)]));
    for i in 0..500 {
        let t = f64::from(i);
        let point = on(
            &laid,
            ((t * 0.37) % 20.0, (t * 0.73) % 20.0, (t * 0.11) % 10.0),
        );
        let exact = laid.model().mix(&laid.shares_at(point)).to_lab();
        assert!(ciede2000(exact, laid.lab_at(point)) < 0.05);
    }
}

#[test]
fn an_equal_area_fade_gives_each_shade_the_same_share_of_its_own_region() {
    // The region is the right half of a plate with a covered middle: along x the area is
    // uneven, and what another region covers must not count.
    let along = Field::Direction(DVec3::X);
    let fade = |spacing| Paint::Fade {
        along: along.clone(),
        fade: Fade {
            stops: [(0.0, 1.0), (20.0, 0.0)]
                .map(|(at_mm, first)| Stop {
                    at_mm,
                    shares: shares(first),
                })
                .to_vec(),
            spacing,
        },
    };
    let cover = Mask::Box {
        min_mm: DVec3::new(6.0, -1.0, -1.0),
        max_mm: DVec3::new(14.0, 21.0, 11.0),
    };
    let laid = painted(
        block(),
        plan(vec![
            Region::new("Fade", Mask::Whole, fade(Spacing::EqualArea)),
            Region::new("Cover", cover, fixed(0.5)),
        ]),
    );
    // Left and right of the cover there is as much area, so the covered part is crossed at
    // half the colour's way: one blend all along it.
    let ramp = laid.ramp(1).expect("a fade");
    let middle = ramp.at(10.0);
    for x in [6.5, 8.0, 12.0, 13.5] {
        assert!((ramp.at(x).as_slice()[0] - middle.as_slice()[0]).abs() < 0.01);
    }
    let model = laid.model();
    let colour = |x: f64| model.mix(&ramp.at(x)).to_lab();
    let way = |from: f64, to: f64| -> f64 {
        let steps = 400;
        let at = |i: i32| colour(from + (to - from) * f64::from(i) / f64::from(steps));
        (0..steps).map(|i| ciede2000(at(i), at(i + 1))).sum()
    };
    assert!((way(0.0, 10.0) / way(10.0, 20.0) - 1.0).abs() < 0.02);
}

/// The face on the bed takes no shades: nobody sees it.
#[test]
fn an_equal_area_fade_begins_above_the_bed() {
    let fade = Paint::Fade {
        along: Field::Height,
        fade: Fade {
            stops: [(0.0, 1.0), (10.0, 0.0)]
                .map(|(at_mm, first)| Stop {
                    at_mm,
                    shares: shares(first),
                })
                .to_vec(),
            spacing: Spacing::EqualArea,
        },
    };
    let laid = painted(block(), plan(vec![Region::new("All", Mask::Whole, fade)]));
    let ramp = laid.ramp(1).expect("a fade");
    // A fourth of the block's skin lies on the bed.
    assert!(ramp.at(0.05).as_slice()[0] > 0.97);
    let model = laid.model();
    let colour = |x: f64| model.mix(&ramp.at(x)).to_lab();
    let way = |from: f64, to: f64| -> f64 {
        let at = |i: i32| colour(from + (to - from) * f64::from(i) / 400.0);
        (0..400).map(|i| ciede2000(at(i), at(i + 1))).sum()
    };
    // 80 mm² a millimetre on the sides, and the top of 400 mm² at the last.
    assert!((way(0.02, 5.0) / way(0.02, 9.98) - 0.5).abs() < 0.03);
    // And it is no region's visible area: 4 sides of 200 mm² and the top of 400 mm².
    let areas = laid.region_areas_mm2(&Progress::new()).expect("areas");
    assert!(
        (areas.iter().sum::<f64>() - 1200.0).abs() < 1e-6,
        "{areas:?}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn areas_add_up_and_do_not_depend_on_the_triangulation(
        centre in (0.0..20.0, 0.0..20.0, 0.0..10.0), radius_mm in 1.0..9.0,
        from_mm in 0.0..5.0, height in 0.5..5.0,
    ) {
        let centre_mm = DVec3::from(centre);
        let regions = vec![
            Region::new("Band", Mask::Band { from_mm, to_mm: from_mm + height }, fixed(0.2)),
            Region::new("Ball", Mask::Sphere { centre_mm, radius_mm }, fixed(0.4)),
        ];
        let coarse = painted(block(), plan(regions.clone()));
        let fine = painted(finer(&block()), plan(regions));
        let (a, b) = (areas(&coarse), areas(&fine));
        prop_assert!((a.iter().sum::<f64>() - 1200.0).abs() < 1e-9);
        for (a, b) in a.iter().zip(&b) {
            prop_assert!((a - b).abs() < 1.0, "{a} {b}");
        }
        for i in 0..200 {
            let t = f64::from(i);
            let p = DVec3::new((t * 0.37) % 20.0, (t * 0.73) % 20.0, (t * 0.11) % 10.0);
            let (p, q) = (coarse.surface().nearest(p), fine.surface().nearest(p));
            if p.point_mm == q.point_mm {
                prop_assert_eq!(coarse.region_at(p), fine.region_at(q));
            }
        }
    }
}

/// Where a region is told to have all of the skin about a place, it has every point of it.
#[test]
fn a_region_that_has_all_about_a_place_has_each_point_there() {
    let ball = solids::icosphere(10.0, 4).expect("a ball");
    let ball = ball.map(|p| p + DVec3::Z * 10.0).expect("moved");
    let mut drawn = Region::painted("Drawn", fixed(0.7));
    let dabs = [(0.0, -9.0, 14.0), (3.0, -9.0, 13.0), (6.0, -7.0, 13.0)];
    drawn.brush.push(BrushStroke::Paint(stroke(&dabs)));
    drawn.brush.push(BrushStroke::Erase(stroke(&dabs[2..])));
    let band = Mask::Band {
        from_mm: 4.0,
        to_mm: 11.0,
    };
    let sphere = Mask::Sphere {
        centre_mm: DVec3::new(9.0, 3.0, 10.0),
        radius_mm: 4.0,
    };
    let laid = painted(
        ball,
        plan(vec![
            Region::new("Band", band, fixed(0.3)),
            Region::new("Ball", sphere, fixed(0.5)),
            drawn,
        ]),
    );
    let mesh = laid.surface().mesh();
    let middle = |facet: usize| SurfacePoint {
        point_mm: mesh.corners(facet).into_iter().sum::<DVec3>() / 3.0,
        facet: facet as u32,
    };
    let points: Vec<SurfacePoint> = (0..mesh.triangles().len()).map(middle).collect();
    let mut told = [0; 4];
    for one in points.iter().step_by(7) {
        for within_mm in [0.5, 1.5, 3.0] {
            let Some(region) = laid.region_throughout(one.point_mm, within_mm, *one) else {
                continue;
            };
            told[region] += 1;
            let about = |p: &&SurfacePoint| p.point_mm.distance(one.point_mm) < within_mm;
            for point in points.iter().filter(about) {
                assert_eq!(laid.region_at(*point), region, "{one:?} {within_mm}");
            }
        }
    }
    // Within strokes it is not known.
    assert!(told[..3].iter().all(|&count| count > 20), "{told:?}");
}

/// Every facet cut into four.
fn finer(mesh: &Mesh) -> Mesh {
    let mut vertices = Vec::new();
    let mut triangles = Vec::new();
    for facet in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.corners(facet);
        let (ab, bc, ca) = (a.midpoint(b), b.midpoint(c), c.midpoint(a));
        for corners in [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]] {
            let first = vertices.len() as u32;
            vertices.extend(corners);
            triangles.push([first, first + 1, first + 2]);
        }
    }
    Mesh::new(vertices, triangles).expect("a mesh")
}
