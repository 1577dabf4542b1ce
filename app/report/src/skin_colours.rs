//! The colour at a point of the skin, as a picture shows it: asked for, and as it will come out.

use blend::Xyz;
use geometry::SurfacePoint;
use plan::{AsPrinted, Painted, Schedule};

/// How far beneath the skin its colour is asked for. A face that lies exactly where a band
/// ends belongs to the plastic under it, as it does in the layers; at the face itself the last
/// digit would decide, another one at each point. A micron is far more than that digit.
const BENEATH_MM: f64 = 1e-3;

/// The colour asked for at a point of the skin, in linear-light sRGB, held to what a display
/// can show.
pub fn colours(painted: &Painted) -> impl Fn(SurfacePoint) -> [f64; 3] + Sync + '_ {
    |point| {
        let linear = painted.xyz_at(beneath(painted, point)).to_linear_srgb();
        linear.map(|v| v.clamp(0.0, 1.0))
    }
}

/// The point just beneath one of the skin.
pub(crate) fn beneath(painted: &Painted, point: SurfacePoint) -> SurfacePoint {
    SurfacePoint {
        point_mm: point.point_mm - painted.surface().normal(point.facet) * BENEATH_MM,
        ..point
    }
}

/// The colour that comes out at a point of the skin, in linear-light sRGB, held to what a
/// display can show; beside [`colours`], which is the colour asked for.
pub fn printed_colours<'a>(
    painted: &'a Painted,
    schedule: &'a Schedule,
    printed: &'a AsPrinted,
) -> impl Fn(SurfacePoint) -> [f64; 3] + Sync + 'a {
    |point| {
        let point = beneath(painted, point);
        let xyz = match printed.lab_at(painted, schedule, point) {
            Some(lab) => Xyz::from_lab(lab),
            None => painted.xyz_at(point),
        };
        xyz.to_linear_srgb().map(|v| v.clamp(0.0, 1.0))
    }
}
