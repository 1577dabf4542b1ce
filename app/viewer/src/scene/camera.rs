//! The camera follows the session's view.

use bevy::camera::{CameraProjection, RenderTarget, SubCameraView};
use bevy::core_pipeline::tonemapping::{DebandDither, Tonemapping};
use bevy::light::cluster::ClusterConfig;
use bevy::math::{Mat4, Vec3A, Vec4};
use bevy::prelude::*;
use geometry::DVec3;
use glam::DMat4;

use super::desk::{Desk, StageCamera};

/// The projection of the stage: its middle need not be the window's.
#[derive(Clone, Debug)]
pub(super) struct StageProjection {
    clip_from_view: Mat4,
    far: f32,
}

impl StageProjection {
    /// From the matrix from the eye's space to clip space, and how far is seen, mm.
    pub(super) fn new(clip_from_view: Mat4, far: f32) -> Self {
        Self {
            clip_from_view,
            far,
        }
    }
}

impl Default for StageProjection {
    fn default() -> Self {
        Self {
            clip_from_view: Mat4::orthographic_rh(-1.0, 1.0, -1.0, 1.0, 1000.0, 0.0),
            far: 1000.0,
        }
    }
}

impl CameraProjection for StageProjection {
    fn get_clip_from_view(&self) -> Mat4 {
        self.clip_from_view
    }

    fn get_clip_from_view_for_sub(&self, _: &SubCameraView) -> Mat4 {
        self.clip_from_view
    }

    // The session knows the window's size and sets the whole matrix.
    fn update(&mut self, _: f32, _: f32) {}

    fn far(&self) -> f32 {
        self.far
    }

    fn get_frustum_corners(&self, z_near: f32, z_far: f32) -> [Vec3A; 8] {
        let back = self.clip_from_view.inverse();
        let corner = |x: f32, y: f32, z: f32| {
            let at_depth = self.clip_from_view * Vec4::new(0.0, 0.0, z, 1.0);
            let p = back * Vec4::new(x * at_depth.w, y * at_depth.w, at_depth.z, at_depth.w);
            Vec3A::from(p.truncate() / p.w)
        };
        let face = |z: f32| {
            [
                corner(1.0, -1.0, z),
                corner(1.0, 1.0, z),
                corner(-1.0, 1.0, z),
                corner(-1.0, -1.0, z),
            ]
        };
        let (near, far) = (face(z_near), face(z_far));
        [
            near[0], near[1], near[2], near[3], far[0], far[1], far[2], far[3],
        ]
    }
}

/// How every camera here draws.
pub(super) fn eye(target: RenderTarget) -> impl Bundle {
    (
        Camera3d::default(),
        target,
        Msaa::Sample4,
        // There are no lights.
        ClusterConfig::Single,
        // Colours must arrive as predicted.
        Tonemapping::None,
        DebandDither::Disabled,
    )
}

/// f64 to f32, as Bevy has it.
pub(super) fn mat4(m: DMat4) -> Mat4 {
    Mat4::from_cols_array(&m.to_cols_array().map(|x| x as f32))
}

/// f64 to f32, as Bevy has it.
pub(super) fn vec3(v: DVec3) -> Vec3 {
    Vec3::new(v.x as f32, v.y as f32, v.z as f32)
}

/// Sets projection and transform, if they changed: an unchanged camera costs nothing.
pub(super) fn follow(
    desk: NonSend<Desk>,
    mut eyes: Query<(&mut Projection, &mut Transform), With<StageCamera>>,
    mut set: Local<Option<(Mat4, Transform)>>,
) {
    let session = &desk.session;
    let view = &session.view;
    let reach = session.reach_mm();
    let clip = mat4(view.camera.clip_from_view(view.window, view.stage, reach));
    let world = mat4(view.camera.view_from_world(view.stage, reach)).inverse();
    let transform = Transform::from_matrix(world);
    if *set == Some((clip, transform)) {
        return;
    }
    for (mut projection, mut at) in &mut eyes {
        *projection = Projection::custom(StageProjection::new(clip, 2.0 * reach as f32));
        *at = transform;
        *set = Some((clip, transform));
    }
}
