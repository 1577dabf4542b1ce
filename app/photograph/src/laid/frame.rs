//! A frame round the sample's face, as a person gives it on the photograph.

use std::fmt;

use super::rest::{At, Rest, within};
use super::shape::Face;
use crate::card;
use crate::homography::Point;
use crate::view::View;

/// A corner may be so far from where a face of the sample's shape has it, mm.
const MOST_SKEWED_MM: f64 = 6.0;
/// So much shorter or longer than the face a frame may be, and narrower or wider.
const SIZES: std::ops::RangeInclusive<f64> = 0.88..=1.16;
const WIDTHS: std::ops::RangeInclusive<f64> = 0.7..=1.4;
/// Where nothing is known of the card: how much of the picture's height a first frame takes.
const SHARE: f64 = 0.6;

/// The corners of the sample's face on the photograph, px from its upper left corner: with the
/// foot towards you the upper left one, and on clockwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame(pub [Point; 4]);

/// What the corners are called, in their order.
pub const CORNERS: [&str; 4] = [
    "upper end, left",
    "upper end, right",
    "foot, right",
    "foot, left",
];

impl Frame {
    /// Whether all of it is in a picture of so many pixels.
    ///
    /// # Errors
    /// Which corner is not.
    pub fn within(&self, width_px: usize, height_px: usize) -> Result<(), String> {
        for (i, ((x, y), name)) in self.0.iter().zip(CORNERS).enumerate() {
            let inside =
                (0.0..=width_px as f64).contains(x) && (0.0..=height_px as f64).contains(y);
            if !inside {
                return Err(format!(
                    "corner {} of the frame ({name}) is at {x:.0},{y:.0}, outside of the picture, \
                     which is {width_px} by {height_px} pixels",
                    i + 1
                ));
            }
        }
        Ok(())
    }

    /// About where a face lies that lies as the card asks for.
    pub(super) fn on_lane(view: &View, rest: &Rest, face: &Face) -> Option<Self> {
        let middle = card::LANE_MIDDLE_MM;
        let at = At {
            foot: (middle, card::FOOT_LINE_MM),
            top: (middle, card::FOOT_LINE_MM - rest.length),
            breadth: 1.0,
        };
        Self::of(view, rest, face, &at)
    }

    /// Where a face is seen.
    pub(super) fn of(view: &View, rest: &Rest, face: &Face, at: &At) -> Option<Self> {
        let [a, b, c, d] = face
            .corners()
            .map(|corner| view.project(at.place(rest, corner)));
        Some(Self([a?, b?, c?, d?]))
    }

    /// In the middle of a picture in which nothing is found.
    pub(super) fn in_middle(face: &Face, width_px: usize, height_px: usize) -> Self {
        let (width, height) = (width_px as f64, height_px as f64);
        let slim = 2.0 * face.half_mm / face.length_mm.max(1.0);
        let long = SHARE * height.min(width / slim.max(0.1));
        let (half, top) = (long * slim / 2.0, (height - long) / 2.0);
        let (left, right) = (width / 2.0 - half, width / 2.0 + half);
        Self([
            (left, top),
            (right, top),
            (right, top + long),
            (left, top + long),
        ])
    }

    /// The corners inside a picture.
    pub(super) fn kept_within(self, width_px: usize, height_px: usize) -> Self {
        let (width, height) = (width_px as f64, height_px as f64);
        Self(
            self.0
                .map(|(x, y)| (x.clamp(0.0, width), y.clamp(0.0, height))),
        )
    }

    /// Where its corners are on the card, at the height of the face above it.
    pub(super) fn corners_mm(
        &self,
        view: &View,
        rest: &Rest,
        face: &Face,
        scale: f64,
    ) -> Option<[Point; 4]> {
        let mut found = [(0.0, 0.0); 4];
        for ((seen, corner), found) in self.0.iter().zip(face.corners()).zip(&mut found) {
            let [_, _, up] = rest.stand(corner);
            *found = view.at_height(*seen, up * scale)?;
        }
        Some(found)
    }

    /// Where a sample lies whose face it goes round.
    ///
    /// # Errors
    /// No face of the sample's shape is seen so: what is wrong and what to do.
    pub(super) fn at(&self, view: &View, rest: &Rest, face: &Face) -> Result<At, String> {
        let along = face.corners().map(|corner| rest.stand(corner)[1]);
        let mut scale = 1.0;
        let mut placed = None;
        // The face's height above the card follows its scale.
        for _ in 0..3 {
            let corners = self.corners_mm(view, rest, face, scale);
            let corners = corners.ok_or("the frame is not on the card")?;
            let at = laid(&corners, along, rest, face).ok_or_else(|| self.shapeless())?;
            scale = at.scale(rest);
            placed = Some((at, corners));
        }
        let (at, corners) = placed.ok_or("the frame is not on the card")?;
        if !SIZES.contains(&scale) {
            return Err(format!(
                "the frame is {:.0} mm long on the card, and the face of this plan's sample \
                 {:.0} mm; put its corners on those of the face, and check the plan",
                scale * face.length_mm,
                face.length_mm
            ));
        }
        let off_mm = at.most_off_mm(rest, face, &corners);
        match off_mm > MOST_SKEWED_MM || !WIDTHS.contains(&at.breadth) {
            true => Err(self.shapeless()),
            false => Ok(At {
                breadth: within(at.breadth),
                ..at
            }),
        }
    }

    fn shapeless(&self) -> String {
        format!(
            "the frame has not the shape of the sample's face; put its corners on those of the \
             face, in this order: {}",
            CORNERS.join("; ")
        )
    }
}

/// Where a sample lies by its face's corners on the card, whatever its breadth. `None` where they
/// go round the other way, or have no length.
fn laid(corners: &[Point; 4], along: [f64; 4], rest: &Rest, face: &Face) -> Option<At> {
    let [a, b, c, d] = *corners;
    let [upper, _, lower, _] = along;
    let middle = |p: Point, q: Point| ((p.0 + q.0) / 2.0, (p.1 + q.1) / 2.0);
    let (high, low) = (middle(a, b), middle(d, c));
    let long = upper - lower;
    let axis = ((high.0 - low.0) / long, (high.1 - low.1) / long);
    let scale = axis.0.hypot(axis.1);
    let foot = (low.0 - lower * axis.0, low.1 - lower * axis.1);
    // Across is a quarter turn clockwise from the axis.
    let wide = |left: Point, right: Point| {
        (-axis.1 * (right.0 - left.0) + axis.0 * (right.1 - left.1)) / scale
    };
    let breadth = (wide(a, b) + wide(d, c)) / (4.0 * face.half_mm * scale);
    let sound = scale.is_finite() && scale > 0.0 && wide(a, b) > 0.0 && wide(d, c) > 0.0;
    sound.then_some(At {
        foot,
        top: (foot.0 + rest.length * axis.0, foot.1 + rest.length * axis.1),
        breadth,
    })
}

/// A corner as it is typed: `X,Y`.
///
/// # Errors
/// It is not two numbers.
pub fn corner(text: &str) -> Result<Point, String> {
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    let (x, y) = text.split_once(',').unwrap_or((text, ""));
    number(x)
        .zip(number(y))
        .ok_or_else(|| "a corner is two numbers of pixels, such as 412,1180".to_owned())
}

impl fmt::Display for Frame {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d] = self.0.map(|(x, y)| format!("{x:.0},{y:.0}"));
        write!(out, "{a} {b} {c} {d}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_are_read_as_they_are_written() {
        let frame = Frame([(10.0, 20.0), (110.0, 22.0), (108.0, 420.0), (8.0, 419.0)]);
        let text = frame.to_string();
        let corners: Result<Vec<Point>, String> = text.split(' ').map(corner).collect();
        assert_eq!(corners.unwrap(), frame.0);
        assert_eq!(corner(" 12.5, 7 "), Ok((12.5, 7.0)));
        for text in ["7", "7,", "7,8,9", "7;8", "7,NaN", "inf,8", ""] {
            assert!(corner(text).unwrap_err().contains("two numbers"), "{text}");
        }
    }

    #[test]
    fn a_corner_outside_of_the_picture_is_named() {
        let mut frame = Frame([(10.0, 20.0), (110.0, 22.0), (108.0, 420.0), (8.0, 419.0)]);
        assert_eq!(frame.within(200, 500), Ok(()));
        frame.0[2].1 = 501.0;
        let why = frame.within(200, 500).unwrap_err();
        assert!(
            why.contains("corner 3") && why.contains("foot, right"),
            "{why}"
        );
        frame.0[2].1 = f64::NAN;
        assert!(frame.within(200, 500).is_err());
    }

    #[test]
    fn a_first_frame_is_in_the_picture_whatever_its_shape() {
        let face = Face {
            half_mm: 12.0,
            depth_mm: 0.0,
            length_mm: 150.0,
        };
        for (width, height) in [(1200, 1600), (1600, 1200), (40, 3000)] {
            let frame = Frame::in_middle(&face, width, height);
            assert_eq!(frame.within(width, height), Ok(()), "{frame}");
        }
    }
}
