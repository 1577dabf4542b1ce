use glam::{DVec2, DVec3};
use proptest::prelude::*;

use super::*;
use crate::surface::shapes::{ball, block, finer, prism, surface, welded};
use crate::{Progress, Surface, SurfacePoint};

fn v(x: f64, y: f64, z: f64) -> DVec3 {
    DVec3::new(x, y, z)
}

fn prepared(mask: &Mask, surface: &Surface) -> PreparedMask {
    PreparedMask::new(mask, surface, &Progress::new()).expect("a good mask")
}

fn stroke(dabs: &[DVec3], radius_mm: f64) -> Mask {
    Mask::Stroke(Stroke {
        dabs_mm: dabs.to_vec(),
        radius_mm,
        reach_mm: None,
    })
}

fn holds(mask: &PreparedMask, surface: &Surface, p: DVec3) -> bool {
    mask.contains(surface.nearest(p))
}

/// Points on a block's skin, by face and place.
fn on_block(size: DVec3) -> impl Strategy<Value = DVec3> {
    (0..6usize, 0.0..1.0f64, 0.0..1.0f64).prop_map(move |(face, u, w)| {
        let axis = face / 2;
        let mut p = DVec3::ZERO;
        p[axis] = (face % 2) as f64;
        p[(axis + 1) % 3] = u;
        p[(axis + 2) % 3] = w;
        p * size
    })
}

/// A triangle as one sees it, in parallel view or from 60 mm away, through the part or not.
fn outline((at_mm, towards, size, (eye, through)): (DVec3, DVec3, f64, (bool, bool))) -> Mask {
    let corners = [(-1.0, -0.6), (0.8, -0.9), (0.1, 1.0)];
    Mask::Outline(Box::new(Outline {
        corners_mm: corners.map(|(x, y)| DVec2::new(x, y) * size).to_vec(),
        at_mm,
        towards: towards + v(0.0, 0.1, 0.0),
        up: v(0.01, 0.0, 1.0),
        eye_mm: eye.then_some(60.0),
        through,
        cut: None,
    }))
}

fn any_mask() -> impl Strategy<Value = Mask> {
    let point = || (-5.0..25.0f64, -5.0..35.0f64, -5.0..45.0f64).prop_map(|(x, y, z)| v(x, y, z));
    let simple = prop_oneof![
        Just(Mask::Whole),
        (0.0..30.0f64, 1.0..20.0f64).prop_map(|(from_mm, by)| Mask::Band {
            from_mm,
            to_mm: from_mm + by
        }),
        (point(), 0.0..30.0f64, 1.0..20.0f64).prop_map(|(direction, from_mm, by)| Mask::Slab {
            direction,
            from_mm,
            to_mm: from_mm + by
        }),
        (point(), 1.0..30.0f64).prop_map(|(centre_mm, radius_mm)| Mask::Sphere {
            centre_mm,
            radius_mm
        }),
        (point(), point()).prop_map(|(a, b)| Mask::Box {
            min_mm: a.min(b),
            max_mm: a.max(b) + 0.1
        }),
        (point(), point(), 1.0..20.0f64).prop_map(|(from_mm, to_mm, radius_mm)| Mask::Cylinder {
            from_mm,
            to_mm,
            radius_mm
        }),
        (point(), point(), 1.0..9.0f64).prop_map(|(a, b, radius_mm)| stroke(&[a, b], radius_mm)),
        (point(), 1.0..80.0f64)
            .prop_map(|(near_mm, angle_deg)| Mask::Crease { near_mm, angle_deg }),
        (point(), 1.0..80.0f64).prop_map(|(near_mm, angle_deg)| Mask::Flat { near_mm, angle_deg }),
        (point(), point(), 1.0..20.0f64, any::<(bool, bool)>()).prop_map(outline),
    ];
    simple.prop_recursive(2, 6, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 1..3).prop_map(Mask::All),
            prop::collection::vec(inner.clone(), 1..3).prop_map(Mask::Any),
            inner.clone().prop_map(|mask| Mask::Not(Box::new(mask))),
            inner.prop_map(|mask| Mask::Smoothed {
                by_mm: 6.0,
                of: Box::new(mask)
            }),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn within_its_steady_distance_a_mask_answers_the_same(
        mask in any_mask(),
        near in on_block(v(20.0, 30.0, 40.0)),
        off in (-3.0..3.0f64, -3.0..3.0f64, -3.0..3.0f64),
        others in prop::collection::vec(on_block(v(20.0, 30.0, 40.0)), 60),
    ) {
        let surface = surface(block(v(20.0, 30.0, 40.0)));
        let mask = prepared(&mask, &surface);
        let place = near + DVec3::from(off);
        let clearance_mm = mask.clearance_mm(place);
        prop_assert!(clearance_mm >= 0.0);
        let mut near = others.iter().map(|p| surface.nearest(*p)).filter(|p| {
            p.point_mm.distance(place) < clearance_mm - 1e-9
        });
        if let Some(first) = near.next() {
            let answer = mask.contains(first);
            prop_assert!(near.all(|p| mask.contains(p) == answer));
        }
    }

    /// Where a mask says that a part of a facet gets one answer, all points of it do.
    #[test]
    fn even_parts_of_facets_get_one_answer(
        mask in any_mask(),
        facet in 0..12u32,
        shares in prop::collection::vec((0.0..1.0f64, 0.0..1.0f64), 3),
        within in prop::collection::vec((0.0..1.0f64, 0.0..1.0f64), 30),
    ) {
        let surface = surface(block(v(20.0, 30.0, 40.0)));
        let mask = prepared(&mask, &surface);
        let on = |[a, b, c]: [DVec3; 3], (u, w): (f64, f64)| {
            let (u, w) = if u + w > 1.0 { (1.0 - u, 1.0 - w) } else { (u, w) };
            a + (b - a) * u + (c - a) * w
        };
        let whole = surface.mesh().corners(facet as usize);
        let corners = [0, 1, 2].map(|i| on(whole, shares[i]));
        for corners in [whole, corners] {
            if mask.is_even(facet, corners) {
                let mut answers = within.iter().map(|&place| {
                    mask.contains(SurfacePoint { point_mm: on(corners, place), facet })
                });
                let first = answers.next();
                prop_assert!(answers.all(|answer| Some(answer) == first));
            }
        }
    }

    #[test]
    fn stacked_bands_hold_every_point_once(
        mut cuts in prop::collection::vec(0.5..39.5f64, 1..6),
        p in on_block(v(20.0, 30.0, 40.0)),
        on_a_cut in any::<prop::sample::Index>(),
        slabs in any::<bool>(),
    ) {
        let surface = surface(block(v(20.0, 30.0, 40.0)));
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        let at_cut = v(p.x, 0.0, cuts[on_a_cut.index(cuts.len())]);
        let edges: Vec<f64> = [0.0].into_iter().chain(cuts).chain([40.0, 55.0]).collect();
        let bands: Vec<_> = edges
            .windows(2)
            .map(|w| match slabs {
                false => Mask::Band { from_mm: w[0], to_mm: w[1] },
                true => Mask::Slab { direction: DVec3::Z * 3.0, from_mm: w[0], to_mm: w[1] },
            })
            .map(|m| prepared(&m, &surface))
            .collect();
        for point in [p, at_cut, v(p.x, p.y, 0.0), v(p.x, p.y, 40.0)] {
            let count = bands.iter().filter(|b| holds(b, &surface, point)).count();
            prop_assert_eq!(count, 1, "{}", point);
        }
    }

    #[test]
    fn masks_combine_by_the_laws_of_sets(
        p in on_block(v(20.0, 30.0, 40.0)), z in 1.0..39.0f64, r in 1.0..30.0f64
    ) {
        let surface = surface(block(v(20.0, 30.0, 40.0)));
        let a = Mask::Band { from_mm: 0.0, to_mm: z };
        let b = Mask::Sphere { centre_mm: v(10.0, 10.0, 20.0), radius_mm: r };
        let not = |m: &Mask| Mask::Not(Box::new(m.clone()));
        let is = |m: &Mask| holds(&prepared(m, &surface), &surface, p);
        prop_assert_eq!(is(&not(&a)), !is(&a));
        prop_assert_eq!(is(&Mask::All(vec![a.clone(), b.clone()])), is(&a) && is(&b));
        prop_assert_eq!(is(&Mask::Any(vec![a.clone(), b.clone()])), is(&a) || is(&b));
        // De Morgan.
        let left = not(&Mask::All(vec![a.clone(), b.clone()]));
        let right = Mask::Any(vec![not(&a), not(&b)]);
        prop_assert_eq!(is(&left), is(&right));
    }

    #[test]
    fn height_ranges_hold_what_the_mask_holds(
        p in on_block(v(20.0, 30.0, 40.0)), q in on_block(v(20.0, 30.0, 40.0)), r in 1.0..15.0f64
    ) {
        let surface = surface(block(v(20.0, 30.0, 40.0)));
        let masks = [
            Mask::Band { from_mm: 3.0, to_mm: 3.0 + r },
            Mask::Slab { direction: -DVec3::Z, from_mm: -20.0, to_mm: -20.0 + r },
            Mask::Sphere { centre_mm: q, radius_mm: r },
            Mask::Cylinder { from_mm: q, to_mm: v(10.0, 15.0, 20.0), radius_mm: r },
            stroke(&[q], r),
        ];
        for mask in masks {
            let (lo, hi) = mask.height_range_mm();
            if holds(&prepared(&mask, &surface), &surface, p) {
                prop_assert!(lo <= p.z && p.z <= hi, "{:?} {}", mask, p);
            }
        }
    }

    /// Crease fill by the plain definition, facet pair by facet pair, on a field of hills.
    #[test]
    fn crease_fill_is_what_can_be_reached(
        heights in prop::collection::vec(0.0..3.0f64, 49),
        start in 0..72usize,
        angle_deg in 5.0..90.0f64,
    ) {
        let at = |i: usize, j: usize| v(i as f64 * 2.0, j as f64 * 2.0, heights[7 * i + j]);
        let squares = (0..36).map(|k| (k / 6, k % 6));
        let mesh = welded(squares.flat_map(|(i, j)| {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            [[a, b, c], [a, c, d]]
        }));
        let triangles = mesh.triangles().to_vec();
        let surface = surface(mesh);
        let joined = |f: usize, g: usize| {
            let shared = triangles[f].iter().filter(|v| triangles[g].contains(v)).count();
            let (n, m) = (surface.normal(f as u32), surface.normal(g as u32));
            shared == 2 && n.dot(m).min(1.0).acos().to_degrees() <= angle_deg
        };
        let mut inside = [false; 72];
        inside[start] = true;
        while let Some(next) = (0..72)
            .find(|&g| !inside[g] && (0..72).any(|f| inside[f] && joined(f, g)))
        {
            inside[next] = true;
        }
        let middle = |f: usize| surface.mesh().corners(f).into_iter().sum::<DVec3>() / 3.0;
        let mask = Mask::Crease { near_mm: middle(start), angle_deg };
        let mask = prepared(&mask, &surface);
        for (f, &wanted) in inside.iter().enumerate() {
            let at = SurfacePoint { point_mm: middle(f), facet: f as u32 };
            prop_assert_eq!(mask.contains(at), wanted, "facet {}", f);
        }
    }

    /// The same block, coarse and fine, has the same paint, but for the tolerance.
    #[test]
    fn paint_does_not_depend_on_the_facets(
        a in on_block(v(12.0, 4.0, 9.0)),
        b in on_block(v(12.0, 4.0, 9.0)),
        points in prop::collection::vec(on_block(v(12.0, 4.0, 9.0)), 30),
        straight in any::<bool>(),
    ) {
        let coarse = block(v(12.0, 4.0, 9.0));
        let fine = surface(finer(&coarse, 4));
        let coarse = surface(coarse);
        let dabs = if straight { vec![a, b] } else { vec![a] };
        let made = |reach_mm, surface: &Surface| {
            let stroke = Stroke { dabs_mm: dabs.clone(), radius_mm: 3.0, reach_mm: Some(reach_mm) };
            prepared(&Mask::Stroke(stroke), surface)
        };
        let on_fine = made(4.5, &fine);
        let (less, more) = (made(4.5 * 0.97, &coarse), made(4.5 * 1.03, &coarse));
        for p in points {
            let painted = holds(&on_fine, &fine, p);
            prop_assert!(!painted || holds(&more, &coarse, p), "only the fine one has {}", p);
            prop_assert!(painted || !holds(&less, &coarse, p), "only the coarse one has {}", p);
        }
    }
}

/// A wall 0.8 mm thick and a brush of 3 mm: nothing on the far side.
#[test]
fn paint_does_not_bleed_through_a_thin_wall() {
    let wall = block(v(40.0, 0.8, 20.0));
    for times in [0, 2, 5] {
        let surface = surface(finer(&wall, times));
        for dabs in [
            vec![v(20.0, 0.0, 10.0)],
            vec![v(8.0, 0.0, 6.0), v(30.0, 0.0, 12.0)],
        ] {
            let mask = prepared(&stroke(&dabs, 3.0), &surface);
            for &dab in &dabs {
                assert!(holds(&mask, &surface, dab));
                assert!(holds(&mask, &surface, dab + v(2.9, 0.0, 0.0)));
            }
            for i in 0..=80 {
                for j in 0..=40 {
                    let behind = v(0.5 * i as f64, 0.8, 0.5 * j as f64);
                    assert!(
                        !holds(&mask, &surface, behind),
                        "cut {times} times: {behind}"
                    );
                }
            }
        }
    }
}

/// Near the rim the paint goes round as far as its reach and no farther, whatever the
/// facets: the wall's two sides and its rim laid flat.
#[test]
fn round_the_rim_of_a_thin_wall_paint_keeps_to_its_reach() {
    let wall = block(v(40.0, 0.8, 20.0));
    for times in [0, 2, 5] {
        let surface = surface(finer(&wall, times));
        for below in [0.3, 1.0, 2.0, 2.9] {
            let mask = prepared(&stroke(&[v(20.0, 0.0, 20.0 - below)], 3.0), &surface);
            let (mut inside, mut outside) = (0, 0);
            for i in -60..=60 {
                for j in 0..60 {
                    let (x, e) = (0.05 * i as f64, 0.05 * j as f64 + 0.01);
                    let near = v(x, 0.8, below - e).length() <= 3.0;
                    let way = x.hypot(below + 0.8 + e);
                    let painted = holds(&mask, &surface, v(20.0 + x, 0.8, 20.0 - e));
                    if near && way < 4.5 * 0.98 {
                        assert!(painted, "cut {times}, {below} below, {x} aside, {e} down");
                        inside += 1;
                    }
                    if !near || way > 4.5 * 1.02 {
                        assert!(!painted, "cut {times}, {below} below, {x} aside, {e} down");
                        outside += 1;
                    }
                }
            }
            assert!(inside > 10 && outside > 100);
        }
    }
}

/// Over a right-angled edge the whole of the brush's ball is painted.
#[test]
fn paint_goes_round_a_right_angled_edge() {
    for times in [0, 4] {
        let surface = surface(finer(&block(v(20.0, 20.0, 20.0)), times));
        let dab = v(10.0, 1.0, 20.0);
        let mask = prepared(&stroke(&[dab], 3.0), &surface);
        for i in -30..=30 {
            for j in 0..=30 {
                let (x, d) = (0.1 * i as f64, 0.1 * j as f64);
                for p in [v(10.0 + x, 0.0, 20.0 - d), v(10.0 + x, d, 20.0)] {
                    let from_edge = (p.distance(dab) - 3.0).abs();
                    if from_edge > 1e-9 {
                        assert_eq!(holds(&mask, &surface, p), p.distance(dab) < 3.0, "{p}");
                    }
                }
            }
        }
    }
}

/// The chord of a stroke round a tube runs inside the wall; the paint stays outside.
#[test]
fn a_stroke_round_a_thin_tube_stays_on_its_side() {
    let outer = prism(20.0, 40.0, 90);
    let inner = prism(19.2, 40.0, 90);
    // Two walls without ends are enough.
    let sides = |m: &crate::Mesh, flip: bool| {
        let facets = (0..m.triangles().len()).map(|f| m.corners(f));
        let upright = facets.filter(|c| (c[1] - c[0]).cross(c[2] - c[0]).z.abs() < 1e-9);
        upright
            .map(|[a, b, c]| if flip { [a, c, b] } else { [a, b, c] })
            .collect::<Vec<_>>()
    };
    let walls = [sides(&outer, false), sides(&inner, true)].concat();
    let surface = surface(welded(walls));
    let on = |radius: f64, degrees: f64, z: f64| {
        let angle = degrees.to_radians();
        surface.nearest(v(radius * angle.cos(), radius * angle.sin(), z))
    };
    let dabs = [on(20.0, 2.0, 20.0).point_mm, on(20.0, 38.0, 22.0).point_mm];
    let mask = prepared(&stroke(&dabs, 3.0), &surface);
    for degrees in 0..40 {
        assert!(mask.contains(on(20.5, degrees as f64, 20.0 + degrees as f64 / 20.0)));
        for z in 16..26 {
            assert!(!mask.contains(on(18.5, degrees as f64, z as f64)));
        }
    }
}

#[test]
fn a_stroke_that_grows_is_the_stroke_as_a_whole() {
    let surface = surface(ball(15.0, 4));
    let dabs: Vec<DVec3> = (0..9)
        .map(|i| {
            let a = 0.15 * i as f64;
            surface
                .nearest(v(15.0 * a.cos(), 15.0 * a.sin(), 3.0 * a.sin()))
                .point_mm
        })
        .collect();
    let whole = Stroke {
        dabs_mm: dabs.clone(),
        radius_mm: 2.0,
        reach_mm: None,
    };
    let whole = PreparedStroke::new(&whole, &surface, &Progress::new()).expect("good");
    let first = Stroke {
        dabs_mm: vec![dabs[0]],
        radius_mm: 2.0,
        reach_mm: None,
    };
    let mut grown = PreparedStroke::new(&first, &surface, &Progress::new()).expect("good");
    for &dab in &dabs[1..] {
        grown.push(dab).expect("a point");
    }
    assert_eq!(grown.dabs_mm(), whole.dabs_mm());
    for facet in 0..surface.mesh().triangles().len() {
        let [a, b, c] = surface.mesh().corners(facet);
        let at = SurfacePoint {
            point_mm: (a + b + c) / 3.0,
            facet: facet as u32,
        };
        assert_eq!(grown.contains(at), whole.contains(at));
    }
    assert!(grown.push(DVec3::NAN).is_err());
}

#[test]
fn crease_fill_stops_at_sharp_edges() {
    for times in [0, 2] {
        let surface = surface(finer(&prism(10.0, 20.0, 36), times));
        let fill = |near_mm, angle_deg| prepared(&Mask::Crease { near_mm, angle_deg }, &surface);
        // The sides meet at 10 degrees, the ends at 90.
        let side = fill(v(11.0, 0.0, 10.0), 15.0);
        assert!(holds(&side, &surface, v(-10.0, 0.0, 3.0)));
        assert!(!holds(&side, &surface, v(2.0, 1.0, 20.0)));
        let strip = fill(v(9.9, 0.9, 10.0), 9.9);
        assert!(holds(&strip, &surface, v(9.9, 0.8, 15.0)));
        assert!(!holds(&strip, &surface, v(9.7, 2.6, 15.0)));
        let all = fill(v(0.0, 0.0, 21.0), 90.0);
        assert!(holds(&all, &surface, v(1.0, 2.0, -1.0)));
    }
}

#[test]
fn a_shell_is_all_that_hangs_together() {
    let one = block(v(10.0, 10.0, 10.0));
    let other = one.vertices().iter().map(|&p| p + v(20.0, 0.0, 0.0));
    let vertices = one.vertices().iter().copied().chain(other).collect();
    let moved = one.triangles().iter().map(|t| t.map(|i| i + 8));
    let triangles = one.triangles().iter().copied().chain(moved).collect();
    let surface = surface(crate::Mesh::new(vertices, triangles).expect("valid"));
    let mask = Mask::Shell {
        near_mm: v(22.0, 5.0, 11.0),
    };
    let mask = prepared(&mask, &surface);
    assert!(holds(&mask, &surface, v(30.0, 5.0, 5.0)));
    assert!(!holds(&mask, &surface, v(10.0, 5.0, 5.0)));
}

#[test]
fn values_that_make_no_sense_are_refused_in_words() {
    let refused = |mask: Mask| mask.check().expect_err("it makes no sense").to_string();
    assert_eq!(
        refused(stroke(&[DVec3::ZERO], 0.0)),
        "radius_mm is 0; it must be greater than 0"
    );
    assert_eq!(
        refused(stroke(&[], 1.0)),
        "the stroke has no dabs; give it at least one point, or remove it"
    );
    assert!(refused(stroke(&[v(f64::NAN, 0.0, 0.0)], 1.0)).contains("not a finite number"));
    let slab = Mask::Slab {
        direction: DVec3::ZERO,
        from_mm: 0.0,
        to_mm: 1.0,
    };
    assert!(refused(slab).contains("has no length"));
    let crease = Mask::Crease {
        near_mm: DVec3::ZERO,
        angle_deg: 181.0,
    };
    assert!(refused(Mask::Any(vec![Mask::Whole, crease])).starts_with("mask 2 in Any: angle_deg"));
    assert!(refused(Mask::All(vec![])).contains("holds no masks"));
}
