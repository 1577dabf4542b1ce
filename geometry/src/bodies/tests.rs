use std::sync::Arc;

use super::*;
use crate::inspect::Inspection;
use crate::surface::{Classes, LevelCut, SurfacePoint};
use crate::{Mesh, solids};

/// Labels by a function, painted skin no coarser than a depth.
struct Labels<F> {
    label: F,
    coarsest_mm: f64,
}

impl<F: Fn(SurfacePoint) -> u32 + Sync> Classes for Labels<F> {
    fn class(&self, at: SurfacePoint) -> u32 {
        (self.label)(at)
    }

    fn coarsest_mm(&self, class: u32) -> f64 {
        if class == 0 {
            f64::INFINITY
        } else {
            self.coarsest_mm
        }
    }

    fn snap(&self) -> f64 {
        0.1
    }
}

const DEPTH_MM: f64 = 1.2;

fn bodies(
    mesh: Mesh,
    label: impl Fn(SurfacePoint) -> u32 + Sync,
    core: &Core,
) -> Result<(Mesh, Partition), CutError> {
    let surface = Surface::new(Arc::new(mesh));
    let labels = Labels {
        label,
        coarsest_mm: DEPTH_MM,
    };
    let refined = LevelCut::new(&surface, &core.planes_mm).refine(labels, 0.4, &Progress::new())?;
    let skin = Skin::new(refined.vertices, refined.triangles, refined.class);
    let partition = cut(skin, core, DEPTH_MM, &surface, &Progress::new())?;
    Ok((Mesh::clone(surface.mesh()), partition))
}

/// Every body is sound, and their volumes add up to the part's.
fn sound(part: &Mesh, partition: &Partition) -> Vec<(u32, f64)> {
    let mut volumes = Vec::new();
    for label in partition.labels() {
        let body = partition.body(label).unwrap().expect("a body");
        let seen = Inspection::of(&body);
        assert!(seen.is_sound(), "{label}: {:?}", seen.unmended());
        volumes.push((label, body.volume_mm3()));
    }
    let sum: f64 = volumes.iter().map(|v| v.1).sum();
    let whole = part.volume_mm3();
    assert!((sum / whole - 1.0).abs() < 1e-9, "{sum} {whole}");
    volumes
}

#[test]
fn bands_of_a_block_have_their_volumes() {
    let block = solids::cuboid(DVec3::new(10.0, 20.0, 30.0)).unwrap();
    let core = Core {
        planes_mm: vec![5.0, 12.0],
        labels: vec![0, 3, 7],
    };
    let label = |at: SurfacePoint| match at.point_mm.z {
        z if z < 5.0 => 0,
        z if z < 12.0 => 3,
        _ => 7,
    };
    let (part, partition) = bodies(block, label, &core).unwrap();
    let volumes = sound(&part, &partition);
    for ((label, found), wanted) in volumes.iter().zip([(0, 1000.0), (3, 1400.0), (7, 3600.0)]) {
        assert_eq!(*label, wanted.0);
        assert!((found - wanted.1).abs() < 1e-9);
    }
}

/// A disc on a flat face goes straight down, by the depth.
#[test]
fn a_disc_on_a_block_is_a_straight_plug() {
    let block = solids::cuboid(DVec3::new(30.0, 30.0, 10.0)).unwrap();
    let label =
        |at: SurfacePoint| u32::from(at.point_mm.z > 9.0 && at.point_mm.truncate().length() < 6.0);
    let (part, partition) = bodies(block, label, &Core::of_one(0)).unwrap();
    let volumes = sound(&part, &partition);
    let wanted = std::f64::consts::PI * 36.0 * DEPTH_MM;
    assert!((volumes[1].1 / wanted - 1.0).abs() < 0.01, "{volumes:?}");
    assert!((partition.visible_mm2(1) / (std::f64::consts::PI * 36.0) - 1.0).abs() < 0.01);
}

/// One face of a block: its body gets narrower inwards, so that the other faces keep theirs.
#[test]
fn a_face_of_a_block_leaves_the_other_faces_alone() {
    let block = solids::cuboid(DVec3::new(20.0, 20.0, 20.0)).unwrap();
    let top = |at: SurfacePoint| u32::from(at.facet == 2 || at.facet == 3);
    let (part, partition) = bodies(block, top, &Core::of_one(0)).unwrap();
    let volumes = sound(&part, &partition);
    assert!((partition.visible_mm2(1) - 400.0).abs() < 1e-6);
    assert!((partition.visible_mm2(0) - 2000.0).abs() < 1e-6);
    // Less than a straight plug.
    assert!(volumes[1].1 < 400.0 * DEPTH_MM && volumes[1].1 > 0.8 * 400.0 * DEPTH_MM);
}

#[test]
fn all_of_the_skin_of_a_block_and_of_a_ball_is_a_rind_around_a_core() {
    let block = solids::cuboid(DVec3::new(20.0, 16.0, 12.0)).unwrap();
    let (part, partition) = bodies(block, |_| 4, &Core::of_one(0)).unwrap();
    let volumes = sound(&part, &partition);
    let inner = (20.0 - 2.0 * DEPTH_MM) * (16.0 - 2.0 * DEPTH_MM) * (12.0 - 2.0 * DEPTH_MM);
    assert!(
        (volumes[0].1 / inner - 1.0).abs() < 0.05,
        "{volumes:?} {inner}"
    );

    let ball = solids::icosphere(10.0, 4).unwrap();
    let whole = ball.volume_mm3();
    let (part, partition) = bodies(ball, |_| 4, &Core::of_one(0)).unwrap();
    let volumes = sound(&part, &partition);
    let inner = whole * ((10.0 - DEPTH_MM) / 10.0_f64).powi(3);
    assert!(
        (volumes[0].1 / inner - 1.0).abs() < 0.01,
        "{volumes:?} {inner}"
    );
}

#[test]
fn spots_on_curved_parts_with_bands_beneath() {
    let spots = |at: SurfacePoint| {
        let p = at.point_mm;
        let near = |x: f64, y: f64, z: f64, r: f64| p.distance(DVec3::new(x, y, z)) < r;
        if near(25.0, 0.0, 0.0, 3.0) || near(-18.0, 8.0, 2.0, 4.0) {
            1
        } else if near(23.0, 3.0, 2.0, 3.0) {
            2
        } else {
            0
        }
    };
    let core = Core {
        planes_mm: vec![0.7, 2.2],
        labels: vec![5, 6, 0],
    };
    let label = |at: SurfacePoint| match spots(at) {
        0 => core.labels[core.planes_mm.partition_point(|&p| p < at.point_mm.z)],
        spot => spot,
    };
    for mesh in [
        solids::torus(20.0, 5.0, 80, 40).unwrap(),
        solids::torus(20.0, 5.0, 17, 9).unwrap(),
        solids::torus(20.0, 5.0, 300, 150).unwrap(),
    ] {
        let (part, partition) = bodies(mesh, label, &core).unwrap();
        let volumes = sound(&part, &partition);
        assert_eq!(volumes.len(), 5);
        assert!(partition.given_up().is_empty());
    }
}

/// A wall thinner than twice the depth: each side gets less than half of it.
#[test]
fn both_sides_of_a_thin_wall_have_their_own_body() {
    let wall = solids::cuboid(DVec3::new(30.0, 1.0, 20.0)).unwrap();
    let sides = |at: SurfacePoint| {
        let p = at.point_mm;
        let disc = DVec3::new(p.x, 0.0, p.z - 10.0).length() < 5.0;
        match disc {
            true if p.y < -0.49 => 1,
            true if p.y > 0.49 => 2,
            _ => 0,
        }
    };
    let (part, partition) = bodies(wall, sides, &Core::of_one(0)).unwrap();
    let volumes = sound(&part, &partition);
    assert_eq!(volumes.len(), 3);
    assert!(
        partition
            .shallow()
            .iter()
            .all(|s| s.area_mm2 > 0.9 * s.of_mm2)
    );
}

#[test]
fn thin_pieces_are_told_and_merged() {
    let block = solids::cuboid(DVec3::new(10.0, 10.0, 10.0)).unwrap();
    let core = Core {
        planes_mm: vec![5.0, 5.2],
        labels: vec![0, 1, 2],
    };
    let label =
        |at: SurfacePoint| core.labels[core.planes_mm.partition_point(|&p| p < at.point_mm.z)];
    let (part, mut partition) = bodies(block, label, &core).unwrap();
    sound(&part, &partition);
    let thin = partition.thin(0.4).unwrap();
    assert_eq!(thin.len(), 1);
    assert!(thin[0].label == 1 && (thin[0].volume_mm3 - 20.0).abs() < 1e-9);
    let merged = partition.merge_thin(0.4).unwrap();
    assert_eq!(merged.len(), 1);
    assert_eq!(partition.labels(), [0, 2]);
    sound(&part, &partition);
}

#[test]
fn an_open_skin_is_refused() {
    let vertices = vec![DVec3::ZERO, DVec3::X, DVec3::Y];
    let skin = Skin::new(vertices.clone(), vec![[0, 1, 2]], vec![1]);
    let surface = Surface::new(Arc::new(Mesh::new(vertices, vec![[0, 1, 2]]).unwrap()));
    let refused = cut(skin, &Core::of_one(0), 1.0, &surface, &Progress::new());
    assert!(refused.unwrap_err().to_string().contains("not closed"));
}
