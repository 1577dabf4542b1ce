use std::sync::Arc;

use demo_models::slicer::{Recipe, Slice, Stand as Place, generate};
use geometry::layers::slice;
use geometry::{DVec3, LayerPlan, Mesh, Progress, Surface, solids};
use toolpath::Settings;

use super::*;

/// Slices a mesh into a toolpath.
pub(crate) fn sliced(mesh: &Mesh, layer_mm: f64, recipe: &Recipe) -> Vec<u8> {
    let height_mm = mesh.bounds().1.z;
    let count = (height_mm / layer_mm).round() as usize;
    let contours: Vec<Vec<Vec<[f64; 2]>>> = (0..count)
        .map(|i| {
            let section = slice(mesh, (i as f64 + 0.5) * layer_mm);
            let rings = section.contours.iter();
            rings
                .map(|c| c.points_mm.iter().map(|p| [p.x, p.y]).collect())
                .collect()
        })
        .collect();
    let slices: Vec<Slice<'_>> = contours
        .iter()
        .enumerate()
        .map(|(i, contours)| Slice {
            top_mm: (i + 1) as f64 * layer_mm,
            height_mm: layer_mm,
            contours,
        })
        .collect();
    let mut file = Vec::new();
    generate(&slices, recipe, &mut file).expect("memory");
    file
}

/// An L, which looks like itself at no other turn.
fn angle() -> Mesh {
    let outline = [
        (0.0, 0.0),
        (40.0, 0.0),
        (40.0, 12.0),
        (14.0, 12.0),
        (14.0, 30.0),
        (0.0, 30.0),
    ];
    prism(&outline, 6.0)
}

fn prism(outline: &[(f64, f64)], height: f64) -> Mesh {
    let n = outline.len() as u32;
    let at = |z: f64| outline.iter().map(move |(x, y)| DVec3::new(*x, *y, z));
    let vertices = at(0.0).chain(at(height)).collect();
    let mut triangles = Vec::new();
    for i in 0..n {
        let j = (i + 1) % n;
        triangles.push([i, j, n + j]);
        triangles.push([i, n + j, n + i]);
    }
    // The L is star-shaped seen from its inner corner's neighbour 3.
    for (a, b) in [(4, 5), (5, 0), (0, 1), (1, 2)] {
        triangles.push([3, b, a]);
        triangles.push([n + 3, n + a, n + b]);
    }
    Mesh::new(vertices, triangles).expect("a prism")
}

fn run(mesh: &Mesh, file: &[u8]) -> Result<Registered, RegisterError> {
    run_at(mesh, file, &[1.0, 2.0, 3.0])
}

fn run_at(mesh: &Mesh, file: &[u8], heights: &[f64]) -> Result<Registered, RegisterError> {
    let plan = LayerPlan::plain(0.2, 0.2);
    let progress = Progress::new();
    let size = file.len() as u64;
    let levels = gather(
        file,
        size,
        Settings::default(),
        heights,
        0.2,
        false,
        &progress,
    )?;
    let surface = Surface::new(Arc::new(mesh.clone()));
    register(&surface, &plan, &levels, &progress)
}

fn at(turn_deg: f64, x: f64, y: f64) -> Place {
    Place {
        turn_deg,
        shift_mm: [x, y],
    }
}

fn recipe(stands: Vec<Place>) -> Recipe {
    Recipe {
        stands,
        ..Recipe::default()
    }
}

fn assert_at(stand: &Stand, place: &Place) {
    let placement = stand.placement;
    let turn = (placement.turn_deg - place.turn_deg + 180.0).rem_euclid(360.0) - 180.0;
    assert!(turn.abs() < 0.05, "{stand:?} {place:?}");
    for (a, b) in placement.shift_mm.iter().zip(place.shift_mm) {
        assert!((a - b).abs() < 0.03, "{stand:?} {place:?}");
    }
    assert!(stand.residual_mm < 0.02, "{stand:?}");
    assert!((stand.inset_mm - 0.225).abs() < 0.02, "{stand:?}");
    assert!(stand.followed > 0.95, "{stand:?}");
    assert!((stand.scale - 1.0).abs() < 2e-3, "{stand:?}");
}

#[test]
fn shifts_and_any_turn_are_found() {
    let mesh = angle();
    for place in [
        at(0.0, 0.0, 0.0),
        at(0.0, 97.3, 101.9),
        at(90.0, 50.0, 20.0),
        at(-33.3, 120.0, 88.0),
    ] {
        let file = sliced(&mesh, 0.2, &recipe(vec![place]));
        let found = run(&mesh, &file).unwrap_or_else(|e| panic!("{place:?}: {e}"));
        assert_eq!(found.stands.len(), 1);
        assert_at(&found.stands[0], &place);
        assert!(found.alike_turns_deg.is_empty(), "{found:?}");
    }
}

#[test]
fn copies_are_found_at_the_same_and_at_other_turns() {
    let mesh = angle();
    let places = [
        at(0.0, 20.0, 20.0),
        at(0.0, 70.0, 20.0),
        at(180.0, 120.0, 110.0),
        at(40.0, 190.0, 60.0),
    ];
    let file = sliced(&mesh, 0.2, &recipe(places.to_vec()));
    let found = run(&mesh, &file).expect("the same part");
    assert_eq!(found.stands.len(), places.len(), "{found:?}");
    for (stand, place) in found.stands.iter().zip(&places) {
        assert_at(stand, place);
    }
}

#[test]
fn a_round_part_says_that_its_turn_is_open() {
    let mesh = solids::cylinder(15.0, 6.0, 180).expect("a cylinder");
    let file = sliced(&mesh, 0.2, &recipe(vec![at(0.0, 60.0, 60.0)]));
    let found = run(&mesh, &file).expect("the same part");
    assert_eq!(found.stands.len(), 1);
    assert_at(&found.stands[0], &at(0.0, 60.0, 60.0));
    assert!(found.alike_turns_deg.len() >= 7, "{found:?}");
}

#[test]
fn another_part_is_refused_with_a_reason() {
    let mesh = angle();
    let other = solids::cylinder(18.0, 6.0, 90).expect("a cylinder");
    let file = sliced(&other, 0.2, &recipe(vec![at(0.0, 60.0, 60.0)]));
    let error = run(&mesh, &file).expect_err("another part");
    assert!(error.to_string().contains("not of this part"), "{error}");

    let twice = Mesh::new(
        mesh.vertices()
            .iter()
            .map(|v| DVec3::new(v.x * 2.0, v.y * 2.0, v.z))
            .collect(),
        mesh.triangles().to_vec(),
    )
    .expect("a prism");
    let file = sliced(&twice, 0.2, &recipe(vec![at(0.0, 60.0, 60.0)]));
    let error = run(&mesh, &file).expect_err("another size");
    assert!(error.to_string().contains("about 1.99 times"), "{error}");

    let grown = Mesh::new(
        mesh.vertices()
            .iter()
            .map(|v| DVec3::new(v.x * 1.02, v.y * 1.02, v.z))
            .collect(),
        mesh.triangles().to_vec(),
    )
    .expect("a prism");
    let file = sliced(&grown, 0.2, &recipe(vec![at(0.0, 60.0, 60.0)]));
    let error = run(&mesh, &file).expect_err("another size");
    assert!(error.to_string().contains("1.02 times"), "{error}");

    assert!(matches!(
        run(&mesh, b"G1 X5\nM104 S0\n"),
        Err(RegisterError::NothingPrinted)
    ));
}

#[test]
fn what_stands_beside_the_part_does_not_disturb() {
    let mesh = angle();
    let place = at(17.0, 80.0, 80.0);
    let mut file = sliced(&mesh, 0.2, &recipe(vec![place]));
    let tower = solids::cuboid(DVec3::new(12.0, 12.0, 6.0)).expect("a block");
    let beside = sliced(&tower, 0.2, &recipe(vec![at(0.0, 130.0, 100.0)]));
    file.extend(beside);
    let found = run(&mesh, &file).expect("the same part");
    assert_eq!(found.stands.len(), 1, "{found:?}");
    assert_at(&found.stands[0], &place);
}

#[test]
fn a_stand_given_by_hand_is_measured() {
    let mesh = angle();
    let file = sliced(&mesh, 0.2, &recipe(vec![at(0.0, 10.0, 10.0)]));
    let plan = LayerPlan::plain(0.2, 0.2);
    let progress = Progress::new();
    let levels = gather(
        &file[..],
        0,
        Settings::default(),
        &[1.0],
        0.2,
        true,
        &progress,
    )
    .expect("text");
    assert!(!levels.whole);
    let given = |x: f64| Placement {
        shift_mm: [x, 10.0],
        ..Placement::default()
    };
    let right = measure(&mesh, &plan, &levels, given(10.0)).expect("outlines");
    assert!(right.residual_mm < 0.02 && right.followed > 0.95);
    let wrong = measure(&mesh, &plan, &levels, given(16.0)).expect("outlines");
    assert!(wrong.followed < 0.6, "{wrong:?}");
}

/// Heights up to the top of a part on a foot.
const WHOLE: [f64; 7] = [0.4, 1.4, 2.4, 3.4, 4.4, 5.0, 5.6];

/// Something on a foot of 4 mm: shells one on the other.
fn on_a_foot(foot: &Mesh, top: &Mesh, scale: f64, at: [f64; 2]) -> Mesh {
    let lifted = |v: &DVec3| {
        let low = top.bounds().0;
        DVec3::new(
            at[0] + scale * (v.x - low.x),
            at[1] + scale * (v.y - low.y),
            4.0 + (v.z - low.z) / 3.0,
        )
    };
    let mut vertices = foot.vertices().to_vec();
    let count = vertices.len() as u32;
    vertices.extend(top.vertices().iter().map(lifted));
    let mut triangles = foot.triangles().to_vec();
    triangles.extend(top.triangles().iter().map(|t| t.map(|i| i + count)));
    Mesh::new(vertices, triangles).expect("two shells")
}

fn round_foot() -> Mesh {
    solids::cylinder(12.0, 4.0, 96).expect("a cylinder")
}

pub(crate) fn figures() -> [(&'static str, Mesh); 3] {
    let block = solids::cuboid(DVec3::new(6.0, 4.0, 6.0)).expect("a block");
    let foot = solids::cuboid(DVec3::new(24.0, 16.0, 4.0)).expect("a block");
    [
        (
            "an L on a round foot",
            on_a_foot(&round_foot(), &angle(), 0.3, [-5.0, -4.0]),
        ),
        (
            "a peg on a round foot",
            on_a_foot(&round_foot(), &block, 1.0, [2.0, 1.0]),
        ),
        (
            "an L on a block",
            on_a_foot(&foot, &angle(), 0.3, [-5.0, -4.0]),
        ),
    ]
}

#[test]
fn what_stands_on_a_foot_tells_the_turn_at_any_angle() {
    for (name, mesh) in figures() {
        for i in 0..24 {
            let place = at(f64::from(i) * 15.0 - 173.0, 60.0, 70.0);
            let file = sliced(&mesh, 0.2, &recipe(vec![place]));
            let found = run_at(&mesh, &file, &WHOLE)
                .and_then(Registered::sure)
                .unwrap_or_else(|e| panic!("{name} {place:?}: {e}"));
            assert_eq!(found.stands.len(), 1, "{name} {found:?}");
            assert_at(&found.stands[0], &place);
            assert!(found.alike_turns_deg.is_empty(), "{name} {found:?}");
        }
    }
}

#[test]
fn turned_copies_on_feet_keep_their_own_turns() {
    for (name, mesh) in figures() {
        let places = [
            at(0.0, 40.0, 40.0),
            at(90.0, 80.0, 40.0),
            at(-23.0, 120.0, 60.0),
        ];
        let file = sliced(&mesh, 0.2, &recipe(places.to_vec()));
        let found = run_at(&mesh, &file, &WHOLE).expect(name);
        assert_eq!(found.stands.len(), places.len(), "{name} {found:?}");
        for (stand, place) in found.stands.iter().zip(&places) {
            assert_at(stand, place);
        }
    }
}

#[test]
fn a_turn_that_nothing_compared_can_tell_is_refused() {
    let [(_, mesh), ..] = figures();
    let file = sliced(&mesh, 0.2, &recipe(vec![at(-23.0, 60.0, 60.0)]));
    let low = run_at(&mesh, &file, &[0.4, 1.4, 2.4]).expect("the foot");
    let why = low.sure().expect_err("a guess").to_string();
    assert!(
        why.contains("fits equally well when turned by") && why.contains("with --stand"),
        "{why}"
    );
}

/// One wall that climbs all the time, `inset_mm` within an L, on a turn and at a place.
fn climbing(ring: &[(f64, f64)], place: &Place, height_mm: f64) -> Vec<u8> {
    let (sin, cos) = place.turn_deg.to_radians().sin_cos();
    let [dx, dy] = place.shift_mm;
    let put = |(x, y): (f64, f64)| (x * cos - y * sin + dx, x * sin + y * cos + dy);
    let around: f64 = ring
        .iter()
        .zip(ring.iter().cycle().skip(1))
        .map(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1))
        .sum();
    let mut text = String::from("G21\nG90\nM83\n");
    let (x, y) = put(ring[0]);
    text.push_str(&format!("G0 X{x:.3} Y{y:.3} Z0 F9000\nG1 F1800\n"));
    let (mut z, mut from) = (0.0, ring[0]);
    while z < height_mm {
        for to in ring.iter().cycle().skip(1).take(ring.len()) {
            // Short moves, as slicers lay them.
            for part in 1..=20 {
                let t = f64::from(part) / 20.0;
                let at = (from.0 + (to.0 - from.0) * t, from.1 + (to.1 - from.1) * t);
                let length = (from.0 - to.0).hypot(from.1 - to.1) / 20.0;
                z += 0.2 * length / around;
                let (x, y) = put(at);
                text.push_str(&format!(
                    "G1 X{x:.3} Y{y:.3} Z{z:.4} E{:.5}\n",
                    0.0374 * length
                ));
            }
            from = *to;
        }
    }
    text.into_bytes()
}

const CLIMBS: [(f64, f64); 6] = [
    (0.225, 0.225),
    (39.775, 0.225),
    (39.775, 11.775),
    (13.775, 11.775),
    (13.775, 29.775),
    (0.225, 29.775),
];

#[test]
fn a_nozzle_that_climbs_all_the_time_is_found() {
    let mesh = angle();
    for place in [at(0.0, 60.0, 70.0), at(-37.0, 90.0, 60.0)] {
        let file = climbing(&CLIMBS, &place, 6.0);
        let found = run(&mesh, &file).unwrap_or_else(|e| panic!("{place:?}: {e}"));
        assert_eq!(found.stands.len(), 1);
        assert_at(&found.stands[0], &place);
    }
    // Of a hollow part, such a toolpath prints the outer wall alone.
    let hollow = solids::tube(20.0, 19.0, 6.0, 48).expect("a tube");
    let ring: Vec<(f64, f64)> = (0..48)
        .map(|i| f64::from(i) * std::f64::consts::TAU / 48.0)
        .map(|a| (19.775 * a.cos(), 19.775 * a.sin()))
        .collect();
    let file = climbing(&ring, &at(0.0, 50.0, 50.0), 6.0);
    let found = run(&hollow, &file).expect("the outer wall");
    let [x, y] = found.stands[0].placement.shift_mm;
    assert!((x - 50.0).hypot(y - 50.0) < 0.05, "{found:?}");
}

/// The same print on a raft: lines beneath it, and all of it so much higher.
fn on_a_raft(file: &[u8], raft_mm: f64) -> Vec<u8> {
    let text = String::from_utf8(file.to_vec()).expect("text");
    let mut out = String::from("G21\nG90\nM83\n");
    for layer in 1..=3 {
        out.push_str(&format!("G0 Z{:.3}\n", raft_mm * f64::from(layer) / 3.0));
        // The last layer of a raft is dense.
        let (count, apart) = if layer < 3 { (40, 1.0) } else { (90, 0.45) };
        for i in 0..count {
            let y = 55.0 + apart * f64::from(i);
            out.push_str(&format!("G0 X50 Y{y}\nG1 X110 Y{y} E3\n"));
        }
    }
    for line in text.lines() {
        let raised = line.strip_prefix("G0 Z").and_then(|rest| {
            let (z, rest) = rest.split_once(' ')?;
            let z: f64 = z.parse().ok()?;
            Some(format!("G0 Z{:.3} {rest}", z + raft_mm))
        });
        out.push_str(raised.as_deref().unwrap_or(line));
        out.push('\n');
    }
    out.into_bytes()
}

#[test]
fn a_raft_lifts_the_part_and_a_stand_on_it_fits() {
    // Walls that lean tell the heights.
    let mesh = solids::frustum(16.0, 11.0, 6.0, 40).expect("a frustum");
    let place = at(0.0, 70.0, 75.0);
    let file = on_a_raft(&sliced(&mesh, 0.2, &recipe(vec![place])), 0.9);
    let found = run(&mesh, &file).expect("the part on its raft");
    let stand = found.stands[0];
    assert!((stand.placement.lift_mm - 0.9).abs() < 0.01, "{stand:?}");
    assert!(
        stand.followed > 0.95 && stand.residual_mm < 0.05,
        "{stand:?}"
    );

    // Given by hand, the same place fits as well.
    let progress = Progress::new();
    let levels = gather(
        &file[..],
        0,
        Settings::default(),
        &[1.9, 2.9, 3.9],
        0.2,
        false,
        &progress,
    )
    .expect("text")
    .lifted(0.9);
    let plan = LayerPlan::plain(0.2, 0.2);
    let by_hand = measure(&mesh, &plan, &levels, stand.placement).expect("outlines");
    assert!(
        by_hand.followed > 0.95 && by_hand.residual_mm < 0.05,
        "{by_hand:?}"
    );
}

#[test]
fn a_part_stretched_in_one_direction_is_told_for_what_it_is() {
    let mesh = angle();
    let stretched = |x: f64, y: f64| {
        let wide = |v: &DVec3| DVec3::new(v.x * x, v.y * y, v.z);
        let vertices = mesh.vertices().iter().map(wide).collect();
        Mesh::new(vertices, mesh.triangles().to_vec()).expect("a prism")
    };
    for (x, y, told) in [
        (
            1.02,
            1.0,
            "1.02 times the part's size in x and 1.00 times in y",
        ),
        (
            1.0,
            0.97,
            "1.00 times the part's size in x and 0.97 times in y",
        ),
    ] {
        for turn_deg in [0.0, 30.0] {
            let place = at(turn_deg, 70.0, 60.0);
            let file = sliced(&stretched(x, y), 0.2, &recipe(vec![place]));
            let error = run(&mesh, &file).expect_err("stretched").to_string();
            assert!(error.contains(told), "{turn_deg}: {error}");
        }
    }
}
