//! A picture of the part as it is seen, without the panels.

use std::path::PathBuf;

use emath::Rect;

use super::camera::Camera;

/// The least and the greatest size of a side, pixels.
pub const SIDE_RANGE: (u32, u32) = (16, 8192);

/// The most pixels in all: a graphics card holds each of them some forty times while it draws.
pub const MOST_PIXELS: u64 = 24_000_000;

/// How large the picture is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Size {
    /// As large as the stage.
    #[default]
    AsSeen,
    /// Twice as wide and twice as high.
    Double,
    /// So many pixels across and down.
    Pixels(u32, u32),
}

impl Size {
    /// Pixels across and down, of a stage in points.
    ///
    /// # Errors
    /// In words, when that is too small or too large.
    pub fn pixels(self, stage: Rect, pixels_per_point: f32) -> Result<(u32, u32), String> {
        let seen = |times: f32| {
            let side = |points: f32| (points * pixels_per_point * times).round().max(1.0) as u32;
            (side(stage.width()), side(stage.height()))
        };
        let (width, height) = match self {
            Self::AsSeen => seen(1.0),
            Self::Double => seen(2.0),
            Self::Pixels(width, height) => (width, height),
        };
        let (low, high) = SIDE_RANGE;
        let fits = |side| (low..=high).contains(&side);
        if !(fits(width) && fits(height)) {
            return Err(format!(
                "{width} × {height} pixels: each side must have {low} to {high} pixels."
            ));
        }
        if u64::from(width) * u64::from(height) > MOST_PIXELS {
            let most = MOST_PIXELS / 1_000_000;
            return Err(format!(
                "{width} × {height} pixels are more than {most} million. Choose a smaller size."
            ));
        }
        Ok((width, height))
    }
}

/// Where the picture goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum To {
    /// Into a PNG file.
    File(PathBuf),
    /// To the clipboard.
    Clipboard,
}

/// A picture of the view.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ViewCopy {
    /// Its size.
    pub size: Size,
    /// Whether the ground is left out: what is not part is clear, and there is no plate.
    pub clear: bool,
    /// Where it goes.
    pub to: To,
}

/// What is typed on the page for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// The path in the field.
    pub path: String,
    /// The size.
    pub size: Size,
    /// The size that was typed, pixels across and down.
    pub typed: (u32, u32),
    /// Whether the ground is left out.
    pub clear: bool,
}

/// A camera for a picture of another size: it sees what the stage shows, in its middle, and more
/// at the sides where the picture has other proportions. Gives the camera, the picture and the
/// stage in it, in pixels.
pub fn framed(camera: &Camera, stage: Rect, (width, height): (u32, u32)) -> (Camera, Rect, Rect) {
    let picture = Rect::from_min_size(emath::Pos2::ZERO, emath::vec2(width as f32, height as f32));
    let (across, down) = (stage.width().max(1.0), stage.height().max(1.0));
    let pixels_per_point = (picture.width() / across).min(picture.height() / down);
    let within = Rect::from_center_size(
        picture.center(),
        emath::vec2(across, down) * pixels_per_point,
    );
    let camera = Camera {
        mm_per_point: camera.mm_per_point / f64::from(pixels_per_point),
        ..*camera
    };
    (camera, picture, within)
}

#[cfg(test)]
mod tests {
    use emath::{pos2, vec2};
    use geometry::DVec3;

    use super::*;
    use crate::model::camera::Lens;

    fn stage() -> Rect {
        Rect::from_min_size(pos2(0.0, 50.0), vec2(700.0, 500.0))
    }

    #[test]
    fn sizes_are_those_of_the_stage_or_typed_and_within_limits() {
        assert_eq!(Size::AsSeen.pixels(stage(), 1.5), Ok((1050, 750)));
        assert_eq!(Size::Double.pixels(stage(), 1.0), Ok((1400, 1000)));
        assert_eq!(Size::Pixels(640, 480).pixels(stage(), 2.0), Ok((640, 480)));
        for (width, height) in [(8193, 100), (100, 0), (8192, 8192)] {
            assert!(Size::Pixels(width, height).pixels(stage(), 1.0).is_err());
        }
    }

    #[test]
    fn what_the_stage_shows_is_in_the_middle_of_the_picture() {
        for lens in [Lens::Parallel, Lens::Perspective] {
            let camera = Camera {
                lens,
                pitch_deg: 20.0,
                ..Camera::default()
            };
            for size in [(1400, 1000), (300, 900), (2000, 400)] {
                let (copy, picture, within) = framed(&camera, stage(), size);
                assert!(picture.expand(0.01).contains_rect(within));
                let scale = within.width() / stage().width();
                for point in [DVec3::new(5.0, -9.0, 50.0), DVec3::new(-20.0, 30.0, 10.0)] {
                    let seen = camera.project(stage(), point).expect("seen");
                    let copied = copy.project(within, point).expect("copied");
                    let wanted = within.center() + (seen - stage().center()) * scale;
                    assert!((copied - wanted).length() < 0.01, "{copied:?} {wanted:?}");
                }
            }
        }
    }
}
