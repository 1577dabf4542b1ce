//! Where a picture is seen from.

use geometry::{DVec3, Mesh, Ray};
use rayon::prelude::*;

/// How lines of sight run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lens {
    /// From one point; the angle between the top and the bottom of the picture.
    Perspective {
        /// Full vertical angle of view.
        vertical_deg: f64,
    },
    /// Side by side, so lengths across the line of sight keep their scale.
    Orthographic {
        /// Height of the picture on the part.
        height_mm: f64,
    },
}

/// A camera: it stands at `eye_mm`, looks at `target_mm`, and holds `up` upright.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Where it stands.
    pub eye_mm: DVec3,
    /// What comes to the middle of the picture.
    pub target_mm: DVec3,
    /// What points upwards in the picture, roughly.
    pub up: DVec3,
    /// Its lens.
    pub lens: Lens,
}

/// The picture that a camera is fitted to, in pixels or any other one unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// What stays free all round.
    pub margin: f64,
}

/// The usual places to look from. Front is −y, right is +x, up is +z.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// From above, between front and right.
    FrontRight,
    /// From above, between back and left.
    BackLeft,
    /// Along +y.
    Front,
    /// Along −y.
    Back,
    /// Along −x.
    Right,
    /// Along +x.
    Left,
    /// Along −z, the front at the lower edge.
    Top,
}

/// Vertical angle of the three-quarter views: narrow, so shapes are hardly distorted.
const NARROW_DEG: f64 = 20.0;

impl View {
    /// Words for a caption.
    pub fn title(self) -> &'static str {
        match self {
            Self::FrontRight => "From the front right",
            Self::BackLeft => "From the back left",
            Self::Front => "Front",
            Self::Back => "Back",
            Self::Right => "Right",
            Self::Left => "Left",
            Self::Top => "Top",
        }
    }

    /// Unit vector from the part towards the camera.
    pub fn toward(self) -> DVec3 {
        match self {
            Self::FrontRight => DVec3::new(0.62, -1.0, 0.62).normalize(),
            Self::BackLeft => DVec3::new(-0.62, 1.0, 0.62).normalize(),
            Self::Front => -DVec3::Y,
            Self::Back => DVec3::Y,
            Self::Right => DVec3::X,
            Self::Left => -DVec3::X,
            Self::Top => DVec3::Z,
        }
    }

    /// Whether lengths in this view can be measured with the picture's scale.
    pub fn keeps_scale(self) -> bool {
        !matches!(self, Self::FrontRight | Self::BackLeft)
    }

    /// Right and up of the picture.
    fn axes(self) -> (DVec3, DVec3) {
        let upright = match self {
            Self::Top => DVec3::Y,
            _ => DVec3::Z,
        };
        axes(self.toward(), upright)
    }

    /// Width and height that the part takes up across the line of sight, mm.
    pub fn extent_mm(self, mesh: &Mesh) -> (f64, f64) {
        let (right, up) = self.axes();
        let [x, y] = ranges(mesh, [right, up]);
        (x.1 - x.0, y.1 - y.0)
    }
}

impl Camera {
    /// A camera that shows the whole part within a frame's margins.
    pub fn fitted(view: View, mesh: &Mesh, frame: Frame) -> Self {
        let (width, height) = (frame.width.max(1.0), frame.height.max(1.0));
        let margin = frame.margin.clamp(0.0, 0.45 * width.min(height));
        let room = (width - 2.0 * margin, height - 2.0 * margin);
        match view.keeps_scale() {
            true => Self::straight(view, mesh, room, height),
            false => Self::aslant(view, mesh, room, height),
        }
    }

    /// Orthographic: the part fills the room one way or the other.
    fn straight(view: View, mesh: &Mesh, room: (f64, f64), height: f64) -> Self {
        let (toward, (right, up)) = (view.toward(), view.axes());
        let [wide, high, deep] = ranges(mesh, [right, up, toward]);
        let mm = (wide.1 - wide.0) / room.0;
        let mm = mm.max((high.1 - high.0) / room.1).max(1e-9);
        let target = right * middle(wide) + up * middle(high) + toward * middle(deep);
        Self {
            eye_mm: target + toward * size(mesh) * 2.0,
            target_mm: target,
            up,
            lens: Lens::Orthographic {
                height_mm: mm * height,
            },
        }
    }

    /// In perspective: far enough back for each of the four sides of the view, that is
    /// distance·tan ± centre ≥ offset + depth·tan for every vertex.
    fn aslant(view: View, mesh: &Mesh, room: (f64, f64), height: f64) -> Self {
        let (toward, (right, up)) = (view.toward(), view.axes());
        let tan = (NARROW_DEG.to_radians() / 2.0).tan();
        let (tan_x, tan_y) = (tan * room.0 / height, tan * room.1 / height);
        let [to_right, to_left, upwards, downwards, (_, nearest)] = ranges(
            mesh,
            [
                right + toward * tan_x,
                -right + toward * tan_x,
                up + toward * tan_y,
                -up + toward * tan_y,
                toward,
            ],
        );
        let side = |plus: (f64, f64), minus: (f64, f64), tan: f64| {
            ((plus.1 + minus.1) / (2.0 * tan), (plus.1 - minus.1) / 2.0)
        };
        let (back_x, x) = side(to_right, to_left, tan_x);
        let (back_y, y) = side(upwards, downwards, tan_y);
        let back = back_x.max(back_y).max(nearest + size(mesh) * 1e-3);
        let across = right * x + up * y;
        Self {
            eye_mm: across + toward * back,
            target_mm: across + toward * (nearest - size(mesh) * 0.5),
            up,
            lens: Lens::Perspective {
                vertical_deg: NARROW_DEG,
            },
        }
    }

    /// The camera made ready for a picture's size.
    pub(super) fn eye(&self, width_px: u32, height_px: u32) -> Eye {
        let toward = (self.eye_mm - self.target_mm)
            .try_normalize()
            .unwrap_or(DVec3::Z);
        let (right, up) = axes(toward, self.up);
        let half_height = match self.lens {
            Lens::Perspective { vertical_deg } => {
                (vertical_deg.clamp(1.0, 150.0).to_radians() / 2.0).tan()
            }
            Lens::Orthographic { height_mm } => height_mm / 2.0,
        };
        let scale = 2.0 * half_height / f64::from(height_px.max(1));
        Eye {
            at: self.eye_mm,
            toward,
            right: right * scale,
            up: up * scale,
            centre: (f64::from(width_px) / 2.0, f64::from(height_px) / 2.0),
            perspective: matches!(self.lens, Lens::Perspective { .. }),
        }
    }
}

/// A camera with its pixel grid.
pub(super) struct Eye {
    at: DVec3,
    /// Unit vector from the part towards the camera.
    pub toward: DVec3,
    right: DVec3,
    up: DVec3,
    centre: (f64, f64),
    perspective: bool,
}

impl Eye {
    /// The line of sight through a place of the picture, in pixels from its upper left; its
    /// direction has unit length.
    pub(crate) fn ray(&self, x_px: f64, y_px: f64) -> Ray {
        let across = self.right * (x_px - self.centre.0) + self.up * (self.centre.1 - y_px);
        match self.perspective {
            true => Ray {
                from_mm: self.at,
                direction: (across - self.toward).normalize(),
            },
            false => Ray {
                from_mm: self.at + across,
                direction: -self.toward,
            },
        }
    }

    /// Unit right and up of the picture.
    pub(crate) fn axes(&self) -> (DVec3, DVec3) {
        (self.right.normalize_or_zero(), self.up.normalize_or_zero())
    }
}

/// Right and up across a line of sight, for something roughly upright.
fn axes(toward: DVec3, upright: DVec3) -> (DVec3, DVec3) {
    let right = upright
        .cross(toward)
        .try_normalize()
        .unwrap_or_else(|| toward.any_orthonormal_vector());
    (right, toward.cross(right))
}

/// Vertices looked at by one thread at a time.
const VERTICES_AT_A_TIME: usize = 1 << 14;

/// Least and greatest extent of the part along each of some vectors, in one pass.
fn ranges<const N: usize>(mesh: &Mesh, along: [DVec3; N]) -> [(f64, f64); N] {
    let nothing = [(f64::INFINITY, f64::NEG_INFINITY); N];
    let both = |a: [(f64, f64); N], b: [(f64, f64); N]| {
        std::array::from_fn(|i| (a[i].0.min(b[i].0), a[i].1.max(b[i].1)))
    };
    mesh.vertices()
        .par_chunks(VERTICES_AT_A_TIME)
        .map(|vertices| {
            vertices.iter().fold(nothing, |found, v| {
                both(found, along.map(|axis| (v.dot(axis), v.dot(axis))))
            })
        })
        .reduce(|| nothing, both)
}

/// Diagonal of the box around the part, never 0.
fn size(mesh: &Mesh) -> f64 {
    let (lo, hi) = mesh.bounds();
    (hi - lo).length().max(1e-6)
}

fn middle((lo, hi): (f64, f64)) -> f64 {
    (lo + hi) / 2.0
}
