//! Lines of sight, and what they meet on the part.

use geometry::{DVec3, Ray, SurfacePoint, Vec3};

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

/// What a line of sight meets on the part, in few bytes: a picture has a million.
#[derive(Clone, Copy)]
pub(super) struct Hit<const N: usize> {
    normal: Vec3,
    /// In each colouring.
    colours: [[f32; 3]; N],
    /// Distance along the line of sight, mm.
    pub depth_mm: f32,
    /// How fast depth changes per mm across the line of sight, for a flat face.
    pub slope: f32,
}

impl<const N: usize> Hit<N> {
    /// Where it is on its line of sight.
    pub(crate) fn point_mm(&self, ray: &Ray) -> DVec3 {
        ray.from_mm + ray.direction * f64::from(self.depth_mm)
    }

    pub(crate) fn normal(&self) -> DVec3 {
        self.normal.as_dvec3()
    }

    /// Linear light in each colouring.
    pub(crate) fn colours(&self) -> [[f64; 3]; N] {
        self.colours.map(|colour| colour.map(f64::from))
    }
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
            normal: normal.as_vec3(),
            colours: (self.colours)(point).map(|colour| colour.map(|c| c as f32)),
            depth_mm: (point.point_mm - ray.from_mm).dot(ray.direction) as f32,
            slope: ((1.0 - cosine * cosine).sqrt() / cosine) as f32,
        }
    }
}
