//! Where a sample of known shape lies on the card.
//!
//! Seen from the camera, the sample hides a part of the card's lane. What it should hide is
//! worked out from its shape for each place that it may have; what it does hide is told by the
//! lane itself, whose left half is ink and whose right half is paper. The best place is the one
//! where both agree most. Where a person's frame says where the sample lies, the best place near
//! that is taken, and must agree with the frame too.

mod fit;
mod frame;
mod rest;
mod shape;

use crate::Photo;
use crate::lane::Lane;
use crate::patch::Pixel;
use crate::scene::{Marked, Scene};
use crate::view::Place;
use fit::{Agrees, Fit, nothing};
use rest::{At, Rest};

pub use frame::{CORNERS, Frame, corner};
pub use shape::{Face, Shape};

/// By how much the right way round must beat the other, mm².
const WAY_ROUND_MM2: f64 = 8.0;
/// The other way round contradicts a person's frame only if by so much more of what it alone hides is
/// seen to be covered: its foot. A foot that nobody sees contradicts nothing.
const FOOT_SEEN: f64 = 0.1;
/// How far the face may reach out of what is looked at: as a person says, and as it is found, mm.
const MOST_BEYOND_MM: (f64, f64) = (4.0, 1.0);
/// How far a corner of a person's frame may be from where the sample is seen, mm.
const MOST_MOVED_MM: f64 = 5.0;

/// A sample on the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    rest: Rest,
    at: At,
    face: Face,
    /// How many mm of the card a mm of the sample is long: 1 if the card is printed at its size.
    pub scale: f64,
    /// The sample's outline on the card as the camera sees it, mm: rows from the top with the
    /// left and the right end.
    pub outline: Vec<(f64, (f64, f64))>,
    /// Whether the picture shows which end is the foot; else a person's frame alone says so.
    pub foot_is_seen: bool,
}

/// A frame to begin with, where no sample was found: on the lane, or in the middle of a picture
/// without a card.
pub fn first_frame(photo: &Photo, marked: Option<&Marked>, shape: &Shape) -> Frame {
    let (width, height) = (photo.width(), photo.height());
    let on_lane = || Frame::on_lane(&marked?.view, &Rest::of(&shape.points)?, &shape.face);
    on_lane()
        .unwrap_or_else(|| Frame::in_middle(&shape.face, width, height))
        .kept_within(width, height)
}

impl Laid {
    /// Finds a sample on the lane.
    ///
    /// # Errors
    /// Nothing lies there, or something else: what is wrong and what to do.
    pub fn find(scene: &Scene<'_>, shape: &Shape) -> Result<Self, String> {
        let lane = Lane::of(scene);
        let fit = Fit::new(scene, shape, &lane)?;
        let (at, score) = fit.best().ok_or_else(nothing)?;
        fit.check(at, &Agrees::BY_ITSELF)?;
        // Turned end for end it must fit worse, or nobody knows which way it lies.
        let turned = shape.turned();
        let other = fit.of(&turned).and_then(|other| other.best());
        if other.is_some_and(|(_, other)| other > score - WAY_ROUND_MM2) {
            return Err(
                "the sample's foot can't be told from its upper end; lay the foot on the line \
                 at the lower end of the lane"
                    .to_owned(),
            );
        }
        Ok(Self::of(&fit, at, true))
    }

    /// Finds a sample in a person's frame.
    ///
    /// # Errors
    /// What is seen does not agree with the frame: what is wrong and what to do.
    pub fn framed(scene: &Scene<'_>, shape: &Shape, frame: &Frame) -> Result<Self, String> {
        frame.within(scene.photo.width(), scene.photo.height())?;
        let lane = Lane::of(scene);
        let fit = Fit::new(scene, shape, &lane)?;
        let given = frame.at(&scene.view, &fit.rest, &shape.face)?;
        in_sight(&fit, given, MOST_BEYOND_MM.0)?;
        let (at, score) = fit.best_near(given).ok_or_else(nothing)?;
        in_sight(&fit, at, MOST_BEYOND_MM.1)?;
        let corners = frame.corners_mm(&scene.view, &fit.rest, &shape.face, at.scale(&fit.rest));
        let moved_mm = at.most_off_mm(&fit.rest, &shape.face, &corners.ok_or_else(nothing)?);
        if moved_mm > MOST_MOVED_MM {
            return Err(format!(
                "the frame does not agree with the picture: a corner is {moved_mm:.0} mm from \
                 where the sample seems to lie; put its corners on those of the face"
            ));
        }
        fit.check(at, &Agrees::FRAMED)?;
        let turned = shape.turned();
        let other = fit.of(&turned).and_then(|other| {
            let (there, worth) = other.best_near(at)?;
            let seen = fit.alone(at, &other, there) + FOOT_SEEN < other.alone(there, &fit, at);
            Some((worth - score, seen))
        });
        let (better_mm2, its_foot_is_seen) = other.unwrap_or((f64::MIN, false));
        if better_mm2 > WAY_ROUND_MM2 && its_foot_is_seen {
            return Err(
                "the frame does not agree with the picture: the sample's foot is seen at the \
                 frame's upper end; give the corners of the other end first"
                    .to_owned(),
            );
        }
        Ok(Self::of(&fit, at, better_mm2 <= -WAY_ROUND_MM2))
    }

    fn of(fit: &Fit<'_>, at: At, foot_is_seen: bool) -> Self {
        Self {
            rest: fit.rest,
            at,
            face: fit.shape.face,
            scale: at.scale(&fit.rest),
            outline: fit.outline(at),
            foot_is_seen,
        }
    }

    /// Where a point of the sample is on the card.
    pub fn place(&self, point: [f64; 3]) -> Place {
        self.at.place(&self.rest, point)
    }

    /// The frame round its face; `None` for one behind the camera.
    pub fn frame(&self, scene: &Scene<'_>) -> Option<Frame> {
        Frame::of(&scene.view, &self.rest, &self.face, &self.at)
    }

    /// The pixels of a rectangle of the sample's face: across from the middle, and up from the
    /// foot, mm; the face lies at a depth.
    pub fn pixels(
        &self,
        scene: &Scene<'_>,
        (across, up): ((f64, f64), (f64, f64)),
        depth_mm: f64,
    ) -> Vec<Pixel> {
        let middle = |(from, to): (f64, f64)| (from + to) / 2.0;
        let [x, y, _] = self.place([middle(across), depth_mm, middle(up)]);
        let px_per_mm = scene.view.px_per_mm((x, y)).unwrap_or(1.0).max(0.5);
        let count = |(from, to): (f64, f64)| ((to - from) * px_per_mm).ceil().max(1.0) as usize;
        let (columns, rows) = (count(across), count(up));
        let between = |(from, to): (f64, f64), i: usize, count: usize| {
            from + (to - from) * (i as f64 + 0.5) / count as f64
        };
        let mut found = Vec::with_capacity(columns * rows);
        for row in 0..rows {
            for column in 0..columns {
                let point = [
                    between(across, column, columns),
                    depth_mm,
                    between(up, row, rows),
                ];
                let seen = scene.view.project(self.place(point));
                found.extend(seen.and_then(|at| scene.photo.pixel_at(at)));
            }
        }
        found
    }
}

/// Whether the face is where the lane and the paper beside it are looked at.
fn in_sight(fit: &Fit<'_>, at: At, most_mm: f64) -> Result<(), String> {
    let beyond_mm = fit.face_beyond_mm(at);
    match beyond_mm > most_mm {
        true => Err(format!(
            "the frame lies {beyond_mm:.0} mm outside of the lane and the paper beside it, where \
             nothing can be checked; put its corners on those of the face, or lay the sample on \
             the lane"
        )),
        false => Ok(()),
    }
}
