//! Lines of sight, and what they meet on the part.

use geometry::{DVec3, Ray, SurfacePoint};

use super::camera::Eye;
use super::setup::Render;
use super::stage::Stage;

/// Everything that one ray needs.
pub(super) struct Caster<'a, F, const N: usize> {
    pub render: &'a Render,
    pub stage: &'a Stage,
    /// Linear-light sRGB of a point in each colouring.
    pub colours: &'a F,
    pub eye: Eye,
}

/// What a line of sight meets on the part.
pub(super) struct Hit<const N: usize> {
    pub point: SurfacePoint,
    pub normal: DVec3,
    /// In each colouring.
    pub colours: [[f64; 3]; N],
    /// Distance along the line of sight, mm.
    pub depth_mm: f64,
    /// How fast depth changes per mm across the line of sight, for a flat face.
    pub slope: f64,
}

impl<F, const N: usize> Caster<'_, F, N>
where
    F: Fn(SurfacePoint) -> [[f64; 3]; N] + Sync,
{
    /// What the lines of sight through places of the picture, in pixels, meet.
    pub(crate) fn hits(&self, places: impl Iterator<Item = (f64, f64)>) -> Vec<Option<Hit<N>>> {
        let rays: Vec<Ray> = places.map(|(x, y)| self.eye.ray(x, y)).collect();
        let points = self.stage.surface.first_hits(&rays);
        let seen = rays.iter().zip(points);
        seen.map(|(ray, point)| Some(self.hit(ray, point?)))
            .collect()
    }

    fn hit(&self, ray: &Ray, point: SurfacePoint) -> Hit<N> {
        let mesh = self.stage.surface.mesh();
        let normal = self.stage.normals.at(mesh, point, -ray.direction);
        let cosine = normal.dot(-ray.direction).clamp(0.05, 1.0);
        Hit {
            point,
            normal,
            colours: (self.colours)(point),
            depth_mm: (point.point_mm - ray.from_mm).length(),
            slope: (1.0 - cosine * cosine).sqrt() / cosine,
        }
    }
}
