//! What is written in open formats says what the plan says.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::HashMap;
use std::sync::Arc;

use blend::{Fade, Shares, Spacing, Stop};
use geometry::place::BED_FACE_MM;
use geometry::read::{ReadOptions, read_mesh};
use geometry::{DVec3, Field, LayerPlan, Mask, Mesh, Progress, Surface, SurfacePoint, solids};
use package::coloured::Coloured;
use package::three_mf::{Model, read_back};
use package::{gltf, ply};
use plan::{AsPrinted, FirstPlan, MeshSource, Paint, Painted, Plan, Region, Schedule};
use proptest::prelude::*;
use report::patches::{FINE_DE00, Fades, Patches};

/// A post with a fade along its height, a band, a ball and a fade across.
fn painted(mesh: Mesh, ball_mm: f64, band: (f64, f64)) -> Painted {
    let (lo, hi) = mesh.bounds();
    let mut plan = Plan::first(FirstPlan {
        mesh: MeshSource::named("post.stl"),
        title: "Post & <rail>".into(),
        height_mm: hi.z,
    });
    plan.layers = LayerPlan::plain(0.5, 0.5);
    let region = |name: &str, mask, paint| Region::new(name, mask, paint);
    let shares = |a: f64| Shares::new(&[a, 1.0 - a]).unwrap();
    let stop = |at_mm, a| Stop {
        at_mm,
        shares: shares(a),
    };
    plan.regions.push(region(
        "Ring",
        Mask::Band {
            from_mm: band.0,
            to_mm: band.1,
        },
        Paint::Fixed(shares(0.3)),
    ));
    plan.regions.push(region(
        "Ball",
        Mask::Sphere {
            centre_mm: DVec3::new(0.5 * (lo.x + hi.x), lo.y, 0.6 * hi.z),
            radius_mm: ball_mm,
        },
        Paint::Fade {
            along: Field::Direction(DVec3::X),
            fade: Fade {
                stops: vec![stop(lo.x, 0.0), stop(hi.x, 1.0)],
                spacing: Spacing::Linear,
            },
        },
    ));
    let model = plan.model();
    let surface = Surface::new(Arc::new(mesh));
    Painted::new(plan, surface, model, &Progress::new()).unwrap()
}

fn post() -> Painted {
    let mesh = solids::cylinder(8.0, 24.0, 40).unwrap();
    painted(mesh, 4.0, (5.2, 7.7))
}

fn is_closed(triangles: impl Iterator<Item = [u32; 3]>) -> bool {
    let mut edges: HashMap<(u32, u32), i32> = HashMap::new();
    for [a, b, c] in triangles {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            let step = if from < to { 1 } else { -1 };
            *edges.entry((from.min(to), from.max(to))).or_default() += step;
        }
    }
    edges.values().all(|&n| n == 0)
}

fn area(vertices: &[DVec3], triangle: [u32; 3]) -> f64 {
    let [a, b, c] = triangle.map(|v| vertices[v as usize]);
    0.5 * (b - a).cross(c - a).length()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3))]

    /// The patches are the skin: closed, of its area, each region as large as it is, and every
    /// triangle of the region and the shade that the plan has at its middle.
    #[test]
    fn patches_are_the_skin(ball in 2.0..5.0f64, from in 1.0..10.0f64, high in 0.4..8.0f64) {
        let mesh = solids::cylinder(8.0, 24.0, 24).unwrap();
        let painted = painted(mesh, ball, (from, from + high));
        let progress = Progress::new();
        let patches = Patches::new(&painted, Fades::InSteps, &progress).unwrap();
        prop_assert!(is_closed(patches.triangles.iter().copied()));
        let wanted = painted.region_areas_mm2(&progress).unwrap();
        let mut found = vec![0.0; wanted.len()];
        let surface = painted.surface();
        let model = painted.model();
        let (mut off_area, mut all) = (0.0, 0.0);
        for (triangle, class) in patches.triangles.iter().zip(&patches.class) {
            let class = patches.classes[*class as usize];
            let size = area(&patches.vertices, *triangle);
            all += size;
            // The face on the bed is no visible area.
            if triangle.iter().any(|v| patches.vertices[*v as usize].z > BED_FACE_MM) {
                found[class.region] += size;
            }
            let middle = triangle.map(|v| patches.vertices[v as usize]).iter().sum::<DVec3>() / 3.0;
            let near = surface.nearest(middle);
            let beneath = near.point_mm - surface.normal(near.facet) * 1e-3;
            let point = SurfacePoint { point_mm: beneath, ..near };
            let shade = model.mix(&class.shares.unwrap()).to_lab();
            let off = blend::ciede2000(shade, painted.lab_at(point));
            if painted.region_at(point) != class.region || off > FINE_DE00 {
                off_area += size;
            }
        }
        prop_assert!((all / surface.mesh().area_mm2() - 1.0).abs() < 1e-4);
        for (found, wanted) in found.iter().zip(&wanted) {
            prop_assert!((found - wanted).abs() < 0.5 + 0.01 * wanted, "{found} {wanted}");
        }
        prop_assert!(off_area < 0.01 * all, "{off_area} of {all}");
    }
}

#[test]
fn three_mf_reads_back_equal_and_names_every_blend() {
    let painted = post();
    let patches = Patches::new(&painted, Fades::InSteps, &Progress::new()).unwrap();
    let model = Model::new(&painted, &patches, "Post & <rail>\u{1}", "Not \"reviewed\"");
    let mut bytes = Vec::new();
    model.write(&mut bytes).unwrap();
    let back = read_back(&bytes).unwrap();
    assert_eq!(back, model);
    assert_eq!(back.title, "Post & <rail>");
    assert!(model.blends.len() > 20, "{}", model.blends.len());
    for (shares, _) in &model.blends {
        assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
    assert!(is_closed(back.triangles.iter().map(|t| t.0)));

    // Our own reader of meshes takes it as the same shape, in the corner of the first octant.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("post.3mf");
    std::fs::write(&path, &bytes).unwrap();
    let read = read_mesh(&path, &ReadOptions::default()).unwrap().mesh;
    let (lo, hi) = painted.surface().mesh().bounds();
    let (read_lo, read_hi) = read.bounds();
    assert!((read_hi - read_lo - (hi - lo)).length() < 1e-5);
    assert!(read_lo.length() < 1e-5);
    let volume = painted.surface().mesh().volume_mm3();
    assert!((read.volume_mm3() / volume - 1.0).abs() < 1e-6);

    for cut in [10, bytes.len() / 2, bytes.len() - 5] {
        assert!(read_back(&bytes[..cut]).is_err());
    }
}

#[test]
fn colours_come_out_in_gltf_and_ply() {
    let painted = post();
    let progress = Progress::new();
    let schedule = Schedule::new(&painted, &progress).unwrap();
    let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, &progress).unwrap();
    let part = Coloured::new(&painted, &schedule, &printed, &progress).unwrap();
    assert_eq!(part.vertices.len(), part.linear.len());
    let whole: f64 = part
        .triangles
        .iter()
        .map(|t| area(&part.vertices, *t))
        .sum();
    assert!((whole / painted.surface().mesh().area_mm2() - 1.0).abs() < 1e-4);
    // Each triangle has one colour, and it is the one that comes out there.
    let mut compared = 0;
    for triangle in part.triangles.iter().step_by(7) {
        let colours = triangle.map(|v| part.linear[v as usize]);
        assert!(colours[0] == colours[1] && colours[1] == colours[2]);
        let middle = triangle
            .map(|v| part.vertices[v as usize])
            .iter()
            .sum::<DVec3>()
            / 3.0;
        let near = painted.surface().nearest(middle);
        // Not at the edge of a layer or of a region, where a digit decides.
        if let Some(lab) = printed.lab_at(&painted, &schedule, near)
            && area(&part.vertices, *triangle) > 1.0
        {
            let here = blend::Xyz::from_linear_srgb(colours[0]).to_lab();
            let apart = blend::ciede2000(here, lab);
            assert!(apart < 2.5 * FINE_DE00, "{apart} at {middle}");
            compared += 1;
        }
    }
    assert!(compared > 20, "{compared}");

    let mut glb = Vec::new();
    gltf::write_glb(&part, "Post", "Not reviewed", &mut glb).unwrap();
    let number = |at: usize| u32::from_le_bytes(glb[at..at + 4].try_into().unwrap()) as usize;
    assert_eq!((&glb[..4], number(8)), (&b"glTF"[..], glb.len()));
    let head: serde_json::Value = serde_json::from_slice(&glb[20..20 + number(12)]).unwrap();
    assert_eq!(head["accessors"][2]["count"], part.triangles.len() * 3);

    let mut bytes = Vec::new();
    ply::write_ply(&part, "Not reviewed\nnever", &mut bytes).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("post.ply");
    std::fs::write(&path, &bytes).unwrap();
    let read = read_mesh(&path, &ReadOptions::default()).unwrap().mesh;
    let volume = painted.surface().mesh().volume_mm3();
    assert!((read.volume_mm3() / volume - 1.0).abs() < 1e-4);
}
