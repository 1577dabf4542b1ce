use super::*;
use crate::surface::shapes::{ball, block, finer, surface};
use std::f64::consts::PI;

fn dot(centre: DVec3, radius: f64) -> impl Fn(SurfacePoint) -> u32 + Sync {
    move |p| u32::from(p.point_mm.distance(centre) < radius)
}

#[test]
fn areas_add_up_and_a_disc_is_measured_on_large_facets_and_small() {
    let shape = block(DVec3::new(60.0, 50.0, 10.0));
    for times in [0, 3] {
        let surface = surface(finer(&shape, times));
        let disc = dot(DVec3::new(22.0, 17.0, 10.0), 6.0);
        let areas = refine(&surface, disc, 0.5, &Progress::new())
            .expect("not stopped")
            .areas();
        let whole: f64 = areas.iter().map(|a| a.area_mm2).sum();
        assert!((whole - surface.mesh().area_mm2()).abs() < 1e-9 * whole);
        let found = areas[1];
        let error = (found.area_mm2 - PI * 36.0).abs();
        assert!(error < 0.1 * found.error_mm2, "{error} {}", found.error_mm2);
        assert!(found.error_mm2 < 0.01 * PI * 36.0);
    }
}

/// Archimedes: a zone's area is its height's share of the sphere's.
#[test]
fn zones_of_a_ball_have_their_areas() {
    let surface = surface(ball(20.0, 5));
    let zones = |p: SurfacePoint| ((p.point_mm.z + 20.0) / 12.0) as u32;
    let areas = refine(&surface, zones, 0.3, &Progress::new())
        .expect("not stopped")
        .areas();
    let wanted = [12.0, 12.0, 12.0, 4.0].map(|height| 2.0 * PI * 20.0 * height);
    for (area, wanted) in areas.iter().zip(wanted) {
        // The mesh is a little smaller than the ball.
        assert!(
            (area.area_mm2 / wanted - 1.0).abs() < 3e-3,
            "{area:?} {wanted}"
        );
    }
}

#[test]
fn every_triangle_is_of_one_class_but_for_a_hair() {
    let surface = surface(block(DVec3::new(30.0, 30.0, 30.0)));
    let classify = dot(DVec3::new(11.0, 12.0, 30.0), 5.0);
    let refined = refine(&surface, &classify, 0.4, &Progress::new()).expect("not stopped");
    for (i, triangle) in refined.triangles.iter().enumerate() {
        let corners = triangle.map(|v| refined.vertices[v as usize]);
        let inner = (corners[0] + corners[1] + corners[2]) / 3.0;
        for corner in corners {
            let point_mm = corner.lerp(inner, 0.2);
            let off = (point_mm.distance(DVec3::new(11.0, 12.0, 30.0)) - 5.0).abs();
            let facet = refined.source_facet[i];
            let class = classify(SurfacePoint { point_mm, facet });
            assert!(class == refined.class[i] || off < 2e-3, "{point_mm} {off}");
        }
    }
}

#[test]
fn some_facets_alone_can_be_refined() {
    let surface = surface(block(DVec3::new(30.0, 30.0, 30.0)));
    let classify = dot(DVec3::new(11.0, 12.0, 30.0), 5.0);
    let top: Vec<u32> = (0..12).filter(|&f| surface.normal(f).z > 0.5).collect();
    let refined = refine_some(&surface, top, &classify, 0.5, &Progress::new());
    let areas = refined.expect("not stopped").areas();
    let whole: f64 = areas.iter().map(|a| a.area_mm2).sum();
    assert!((whole - 900.0).abs() < 1e-9);
    assert!((areas[1].area_mm2 - PI * 25.0).abs() < areas[1].error_mm2);
}

#[test]
fn classes_that_follow_facets_need_no_cut() {
    let surface = surface(block(DVec3::new(30.0, 30.0, 30.0)));
    let refined =
        refine(&surface, |p: SurfacePoint| p.facet, 0.1, &Progress::new()).expect("not stopped");
    assert_eq!(refined.triangles.len(), 12);
    assert!(refined.areas().iter().all(|a| a.error_mm2 == 0.0));
}
