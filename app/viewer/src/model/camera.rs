//! Where the part is seen from, and how millimetres become points of the window.
//!
//! Positions on the window are in points, with y downwards. The camera looks at a
//! target; `mm_per_point` is the scale in the plane through the target. The height ribbon
//! uses the same scale, so that a level, parallel view lines the part up with the ribbon.

use emath::{Pos2, Rect, Vec2, pos2};
use geometry::Ray;
use glam::dcamera::rh::proj::directx;
use glam::{DMat4, DVec3, DVec4, dvec3};
use serde::{Deserialize, Serialize};

/// Half the angle that the stage's height spans in perspective, degrees.
const HALF_FIELD_DEG: f64 = 14.0;

/// The scales that zooming keeps to, mm per point: from 1 µm to 5 m on a 1000-point stage.
const SCALES: (f64, f64) = (1e-4, 5.0);

/// Share of the stage that a fitted part is allowed to fill.
const FIT_SHARE: f64 = 0.86;

/// How depth is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Lens {
    /// Equal lengths look equal at any depth.
    #[default]
    Parallel,
    /// Far things look smaller.
    Perspective,
}

/// A view along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// From −y.
    Front,
    /// From +x.
    Right,
    /// From +y.
    Back,
    /// From −x.
    Left,
    /// From above.
    Top,
    /// From below.
    Under,
}

impl Side {
    /// All of them, in the order they are listed.
    pub const ALL: [Self; 6] = [
        Self::Front,
        Self::Right,
        Self::Back,
        Self::Left,
        Self::Top,
        Self::Under,
    ];

    /// Yaw and pitch, degrees.
    fn angles_deg(self) -> (f64, f64) {
        match self {
            Self::Front => (0.0, 0.0),
            Self::Right => (90.0, 0.0),
            Self::Back => (180.0, 0.0),
            Self::Left => (-90.0, 0.0),
            Self::Top => (0.0, 90.0),
            Self::Under => (0.0, -90.0),
        }
    }

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Front => "Front",
            Self::Right => "Right",
            Self::Back => "Back",
            Self::Left => "Left",
            Self::Top => "From above",
            Self::Under => "From below",
        }
    }
}

/// The view onto the part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// What the middle of the stage looks at, mm.
    pub target_mm: DVec3,
    /// Turn about the vertical, degrees; 0 looks from the front.
    pub yaw_deg: f64,
    /// Tilt, degrees: 0 is level, 90 looks straight down.
    pub pitch_deg: f64,
    /// Millimetres per point in the plane through the target.
    pub mm_per_point: f64,
    /// Parallel or perspective.
    pub lens: Lens,
}

impl Default for Camera {
    fn default() -> Self {
        Self {
            target_mm: dvec3(0.0, 0.0, 40.0),
            yaw_deg: 30.0,
            pitch_deg: 0.0,
            mm_per_point: 0.25,
            lens: Lens::Parallel,
        }
    }
}

/// The camera's axes in the part's space.
#[derive(Clone, Copy, Debug)]
pub struct Axes {
    /// To the right of the stage.
    pub right: DVec3,
    /// Up the stage.
    pub up: DVec3,
    /// Into the stage.
    pub forward: DVec3,
}

impl Camera {
    /// The axes.
    pub fn axes(&self) -> Axes {
        let (sy, cy) = self.yaw_deg.to_radians().sin_cos();
        let (sp, cp) = self.pitch_deg.to_radians().sin_cos();
        let right = dvec3(cy, sy, 0.0);
        let forward = dvec3(-sy * cp, cy * cp, -sp);
        Axes {
            right,
            up: right.cross(forward),
            forward,
        }
    }

    /// Whether heights run straight up the stage, so that part and ribbon line up.
    pub fn is_level(&self) -> bool {
        self.pitch_deg.abs() < 1e-6 && self.lens == Lens::Parallel
    }

    /// Distance of the eye from the target in perspective, mm.
    pub fn eye_distance_mm(&self, stage: Rect) -> f64 {
        let half_mm = 0.5 * f64::from(stage.height().max(1.0)) * self.mm_per_point;
        half_mm / HALF_FIELD_DEG.to_radians().tan()
    }

    /// Points per millimetre at a depth beyond the target; `None` behind the eye.
    fn points_per_mm(&self, stage: Rect, depth_mm: f64) -> Option<f64> {
        match self.lens {
            Lens::Parallel => Some(1.0 / self.mm_per_point),
            Lens::Perspective => {
                let eye = self.eye_distance_mm(stage);
                (eye + depth_mm > eye * 1e-3).then(|| eye / (eye + depth_mm) / self.mm_per_point)
            }
        }
    }

    /// Where a point of the part's space shows on the window; `None` behind the eye.
    pub fn project(&self, stage: Rect, point_mm: DVec3) -> Option<Pos2> {
        let axes = self.axes();
        let d = point_mm - self.target_mm;
        let scale = self.points_per_mm(stage, d.dot(axes.forward))?;
        let centre = stage.center();
        Some(pos2(
            centre.x + (d.dot(axes.right) * scale) as f32,
            centre.y - (d.dot(axes.up) * scale) as f32,
        ))
    }

    /// The ray under a position of the window; its direction has unit length. It starts in
    /// front of anything that is near the target, `reach_mm` before it when the view is
    /// parallel.
    pub fn ray(&self, stage: Rect, at: Pos2, reach_mm: f64) -> Ray {
        let axes = self.axes();
        let across = self.across(stage, at - stage.center());
        match self.lens {
            Lens::Parallel => Ray {
                from_mm: self.target_mm + across - axes.forward * reach_mm,
                direction: axes.forward,
            },
            Lens::Perspective => {
                let from_mm = self.target_mm - axes.forward * self.eye_distance_mm(stage);
                Ray {
                    from_mm,
                    direction: (self.target_mm + across - from_mm).normalize(),
                }
            }
        }
    }

    /// A movement of the pointer as a vector in the plane through the target, mm.
    fn across(&self, _stage: Rect, by: Vec2) -> DVec3 {
        let axes = self.axes();
        axes.right * (f64::from(by.x) * self.mm_per_point)
            - axes.up * (f64::from(by.y) * self.mm_per_point)
    }

    /// Turns by a drag of the pointer: the width of 900 points is a full half turn.
    pub fn orbit(&mut self, by: Vec2) {
        self.yaw_deg = wrap_deg(self.yaw_deg - f64::from(by.x) * 0.2);
        self.pitch_deg = (self.pitch_deg + f64::from(by.y) * 0.2).clamp(-90.0, 90.0);
    }

    /// Moves so that the plane through the target follows the pointer.
    pub fn pan(&mut self, stage: Rect, by: Vec2) {
        self.target_mm -= self.across(stage, by);
    }

    /// Enlarges by a factor, keeping what lies under the pointer where it is.
    pub fn zoom(&mut self, stage: Rect, at: Pos2, factor: f64) {
        if !factor.is_finite() || factor <= 0.0 {
            return;
        }
        let before = self.mm_per_point;
        self.mm_per_point = (before / factor).clamp(SCALES.0, SCALES.1);
        let kept = 1.0 - self.mm_per_point / before;
        let offset = at - stage.center();
        let axes = self.axes();
        self.target_mm +=
            (axes.right * f64::from(offset.x) - axes.up * f64::from(offset.y)) * (before * kept);
    }

    /// Looks at what faces that way: walls from the side, level faces from above or below.
    pub fn face(&mut self, normal: DVec3) {
        if normal.truncate().length() > 0.2 {
            self.yaw_deg = normal.x.atan2(-normal.y).to_degrees();
        }
        if normal.z.abs() > 0.5 {
            self.pitch_deg = 60.0 * normal.z.signum();
        }
    }

    /// Looks along an axis.
    pub fn look_from(&mut self, side: Side) {
        (self.yaw_deg, self.pitch_deg) = side.angles_deg();
    }

    /// Sets the view level, so that the part lines up with the ribbon.
    pub fn level(&mut self) {
        self.pitch_deg = 0.0;
        self.lens = Lens::Parallel;
    }

    /// Chooses target and scale so that a box fills the stage without touching its border.
    pub fn fit(&mut self, stage: Rect, bounds_mm: (DVec3, DVec3)) {
        let (lo, hi) = bounds_mm;
        self.target_mm = (lo + hi) * 0.5;
        let axes = self.axes();
        let half = (hi - lo) * 0.5;
        let extent = |axis: DVec3| 2.0 * axis.abs().dot(half);
        let (width, height) = (
            f64::from(stage.width().max(1.0)),
            f64::from(stage.height().max(1.0)),
        );
        let by_width = extent(axes.right) / (width * FIT_SHARE);
        // The ribbon shows the whole height at this scale too, also while the view is tilted.
        let by_height = extent(axes.up).max(hi.z - lo.z) / (height * FIT_SHARE);
        self.mm_per_point = by_width.max(by_height).clamp(SCALES.0, SCALES.1);
    }

    /// The height that the ribbon shows at a position down the window, mm.
    pub fn ribbon_height_mm(&self, stage: Rect, y: f32) -> f64 {
        self.target_mm.z + f64::from(stage.center().y - y) * self.mm_per_point
    }

    /// Where the ribbon shows a height, in points down the window.
    pub fn ribbon_y(&self, stage: Rect, height_mm: f64) -> f32 {
        stage.center().y - ((height_mm - self.target_mm.z) / self.mm_per_point) as f32
    }

    /// The eye's position (parallel: a stand-in far enough back), mm.
    pub fn eye_mm(&self, stage: Rect, reach_mm: f64) -> DVec3 {
        let back = match self.lens {
            Lens::Parallel => reach_mm,
            Lens::Perspective => self.eye_distance_mm(stage),
        };
        self.target_mm - self.axes().forward * back
    }

    /// The matrix from the part's space (mm) to clip space with depth from 1 (near) to 0, for
    /// a window of which the stage is a part.
    pub fn clip_from_world(&self, window: Rect, stage: Rect, reach_mm: f64) -> DMat4 {
        self.clip_from_view(window, stage, reach_mm) * self.view_from_world(stage, reach_mm)
    }

    /// The matrix from the part's space to the eye's: x right, y up, −z forward.
    pub fn view_from_world(&self, stage: Rect, reach_mm: f64) -> DMat4 {
        let axes = self.axes();
        let eye = self.eye_mm(stage, reach_mm);
        let back = -axes.forward;
        DMat4::from_cols(
            DVec4::new(axes.right.x, axes.up.x, back.x, 0.0),
            DVec4::new(axes.right.y, axes.up.y, back.y, 0.0),
            DVec4::new(axes.right.z, axes.up.z, back.z, 0.0),
            DVec4::new(-axes.right.dot(eye), -axes.up.dot(eye), -back.dot(eye), 1.0),
        )
    }

    /// The matrix from the eye's space to clip space.
    pub fn clip_from_view(&self, window: Rect, stage: Rect, reach_mm: f64) -> DMat4 {
        let half = |points: f32| 0.5 * f64::from(points.max(1.0)) * self.mm_per_point;
        let (w, h) = (half(window.width()), half(window.height()));
        let lens = match self.lens {
            Lens::Parallel => directx::orthographic(-w, w, -h, h, 2.0 * reach_mm, 0.0),
            Lens::Perspective => {
                let eye = self.eye_distance_mm(stage);
                let field = 2.0 * (h / eye).atan();
                directx::perspective_infinite_reverse(field, w / h, eye * 1e-3)
            }
        };
        let off = stage.center() - window.center();
        let shift = dvec3(
            2.0 * f64::from(off.x / window.width().max(1.0)),
            -2.0 * f64::from(off.y / window.height().max(1.0)),
            0.0,
        );
        DMat4::from_translation(shift) * lens
    }
}

fn wrap_deg(angle: f64) -> f64 {
    (angle + 180.0).rem_euclid(360.0) - 180.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage() -> Rect {
        Rect::from_min_max(pos2(10.0, 40.0), pos2(710.0, 740.0))
    }

    fn window() -> Rect {
        Rect::from_min_max(pos2(0.0, 0.0), pos2(1280.0, 800.0))
    }

    fn cameras() -> Vec<Camera> {
        let mut all = Vec::new();
        for lens in [Lens::Parallel, Lens::Perspective] {
            for (yaw_deg, pitch_deg) in [(0.0, 0.0), (37.0, 20.0), (-130.0, -65.0), (5.0, 90.0)] {
                all.push(Camera {
                    target_mm: dvec3(3.0, -4.0, 50.0),
                    yaw_deg,
                    pitch_deg,
                    mm_per_point: 0.2,
                    lens,
                });
            }
        }
        all
    }

    #[test]
    fn a_ray_passes_through_the_point_that_projects_to_its_position() {
        for camera in cameras() {
            let point = dvec3(12.0, 7.0, 61.0);
            let at = camera.project(stage(), point).expect("in front");
            let ray = camera.ray(stage(), at, 500.0);
            let off = (point - ray.from_mm).cross(ray.direction).length();
            assert!(off < 1e-3, "{camera:?}: {off}");
        }
    }

    #[test]
    fn the_matrix_agrees_with_project() {
        for camera in cameras() {
            let point = dvec3(-9.0, 2.0, 44.0);
            let at = camera.project(stage(), point).expect("in front");
            let clip = camera.clip_from_world(window(), stage(), 500.0) * point.extend(1.0);
            let ndc = clip.truncate() / clip.w;
            let x = window().center().x as f64 + ndc.x * 0.5 * window().width() as f64;
            let y = window().center().y as f64 - ndc.y * 0.5 * window().height() as f64;
            assert!((x - f64::from(at.x)).abs() < 1e-3, "{camera:?}");
            assert!((y - f64::from(at.y)).abs() < 1e-3, "{camera:?}");
            assert!(ndc.z > 0.0 && ndc.z < 1.0);
        }
    }

    #[test]
    fn a_level_view_lines_up_with_the_ribbon() {
        let camera = Camera {
            yaw_deg: 41.0,
            ..Camera::default()
        };
        for height in [0.0, 12.5, 80.0] {
            let shown = camera
                .project(stage(), dvec3(7.0, -3.0, height))
                .expect("seen");
            assert!((shown.y - camera.ribbon_y(stage(), height)).abs() < 1e-3);
            let back = camera.ribbon_height_mm(stage(), shown.y);
            assert!((back - height).abs() < 1e-3);
        }
    }

    #[test]
    fn zoom_keeps_the_point_under_the_pointer() {
        for mut camera in cameras() {
            let at = pos2(500.0, 200.0);
            let ray = camera.ray(stage(), at, 500.0);
            let depth = (camera.target_mm - ray.from_mm).dot(camera.axes().forward)
                / ray.direction.dot(camera.axes().forward);
            let point = ray.from_mm + ray.direction * depth;
            camera.zoom(stage(), at, 1.7);
            let after = camera.project(stage(), point).expect("in front");
            assert!((after - at).length() < 1e-2, "{camera:?}: {after:?}");
        }
    }

    #[test]
    fn fit_shows_the_whole_box() {
        let bounds = (dvec3(-30.0, -20.0, 0.0), dvec3(30.0, 20.0, 120.0));
        for mut camera in cameras() {
            camera.lens = Lens::Parallel;
            camera.fit(stage(), bounds);
            for corner in 0..8 {
                let pick = |i: usize, lo: f64, hi: f64| if corner >> i & 1 == 0 { lo } else { hi };
                let p = dvec3(
                    pick(0, bounds.0.x, bounds.1.x),
                    pick(1, bounds.0.y, bounds.1.y),
                    pick(2, bounds.0.z, bounds.1.z),
                );
                let at = camera.project(stage(), p).expect("seen");
                assert!(stage().contains(at), "{camera:?}: {at:?}");
            }
        }
    }

    #[test]
    fn orbit_holds_the_tilt_between_straight_down_and_straight_up() {
        let mut camera = Camera::default();
        camera.orbit(Vec2::new(0.0, 5000.0));
        assert_eq!(camera.pitch_deg, 90.0);
        camera.orbit(Vec2::new(4000.0, -9000.0));
        assert_eq!(camera.pitch_deg, -90.0);
        assert!((-180.0..180.0).contains(&camera.yaw_deg));
    }
}
