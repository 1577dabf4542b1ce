//! Rays into the sky: where they go, and how much what they meet hides of it.

use std::f64::consts::{PI, TAU};

use geometry::{DVec3, Surface};

/// How much an obstacle that a ray meets hides: all when it touches, nothing at `reach`.
pub(super) fn obstacle(surface: &Surface, from: DVec3, direction: DVec3, reach: f64) -> f64 {
    match surface.first_hit_within(from, direction, reach) {
        Some(hit) => fall((hit.point_mm - from).length() / reach),
        None => 0.0,
    }
}

/// How much something hides at a part of the reach: all at 0, nothing from 1 on.
pub(super) fn fall(distance: f64) -> f64 {
    let t = (1.0 - distance).max(0.0);
    t * t
}

/// Direction `i` of `count`, spread evenly over the hemisphere about a normal and denser
/// towards it as light's effect is (by the cosine); a spiral with the golden angle, turned
/// by a seed.
pub(super) fn hemisphere(normal: DVec3, i: u32, count: u32, seed: u32) -> DVec3 {
    let golden = PI * (3.0 - 5.0_f64.sqrt());
    let turn = f64::from(seed.wrapping_mul(2_654_435_769) >> 8) / f64::from(1_u32 << 24);
    let sine = ((f64::from(i) + 0.5) / f64::from(count)).sqrt();
    let (y, x) = (f64::from(i) * golden + turn * TAU).sin_cos();
    let (one, other) = normal.any_orthonormal_pair();
    let cosine = (1.0 - sine * sine).max(0.0).sqrt();
    one * (x * sine) + other * (y * sine) + normal * cosine
}
