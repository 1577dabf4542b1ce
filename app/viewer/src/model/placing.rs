//! Pictures and letters on the part, as a hand takes hold of them: a frame with corners that
//! size it and a knob that turns it.

use emath::{Pos2, Rect, Vec2};
use geometry::imprint::{Laid, Placed};
use geometry::{DVec3, Field, Mask, Surface};
use glam::DVec2;
use plan::{Paint, Region};

use super::camera::Camera;

/// What a hand takes hold of within so many points of it.
const REACH: f32 = 11.0;

/// The knob stands this far beyond the frame's upper edge, points.
const KNOB: f32 = 26.0;

/// Parts of the frame's side that are drawn straight.
const STEPS: usize = 12;

/// Widths and heights of letters that a hand can give, mm.
pub const SIZE_RANGE_MM: (f64, f64) = (0.5, 2000.0);

/// With Shift, turns go in steps of this, degrees.
const TURN_STEP_DEG: f64 = 15.0;

/// What is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grip {
    /// The whole: it moves.
    Whole,
    /// A corner: it grows and shrinks.
    Corner,
    /// The knob: it turns.
    Knob,
}

/// A picture that is held.
#[derive(Clone, Debug)]
pub struct Hold {
    /// By what.
    pub grip: Grip,
    /// Where the pointer took hold.
    pub from: Pos2,
    /// Where its middle stood then.
    pub middle: Pos2,
    /// The mask of then.
    pub mask: Mask,
}

/// The picture or the letters that a mask is, at their place on the part.
pub fn placed(mask: &Mask, surface: &Surface) -> Option<Placed> {
    match mask {
        Mask::Picture(picture) => picture.placed(surface).ok(),
        Mask::Text(letters) => letters.placed(surface).ok(),
        _ => None,
    }
}

/// How the picture or the letters lie that a mask is.
pub fn laid(mask: &Mask) -> Option<&Laid> {
    match mask {
        Mask::Picture(picture) => Some(&picture.laid),
        Mask::Text(letters) => Some(&letters.laid),
        _ => None,
    }
}

/// The same picture, lying otherwise.
#[must_use]
pub fn lying(mut mask: Mask, how: Laid) -> Mask {
    match &mut mask {
        Mask::Picture(picture) => picture.laid = how,
        Mask::Text(letters) => letters.laid = how,
        _ => {}
    }
    mask
}

/// The same picture, larger by a factor.
#[must_use]
pub fn sized(mut mask: Mask, factor: f64) -> Mask {
    let (low, high) = SIZE_RANGE_MM;
    let size = |mm: f64| (100.0 * mm * factor).round() / 100.0;
    match &mut mask {
        Mask::Picture(picture) => picture.width_mm = size(picture.width_mm).clamp(low, high),
        Mask::Text(letters) => {
            let before_mm = letters.height_mm;
            letters.height_mm = size(letters.height_mm).clamp(low, high);
            letters.bolder_mm *= letters.height_mm / before_mm;
        }
        _ => {}
    }
    mask
}

/// The same picture, turned anticlockwise; with `steps`, to a multiple of 15°.
#[must_use]
pub fn turned(mut mask: Mask, by_deg: f64, steps: bool) -> Mask {
    let turn = |before_deg: f64| {
        let to = before_deg + by_deg;
        let to = match steps {
            true => (to / TURN_STEP_DEG).round() * TURN_STEP_DEG,
            false => (10.0 * to).round() / 10.0,
        };
        // From −180 to 180, and never −0.
        180.0 - (180.0 - to).rem_euclid(360.0) + 0.0
    };
    match &mut mask {
        Mask::Picture(picture) => picture.turn_deg = turn(picture.turn_deg),
        Mask::Text(letters) => letters.turn_deg = turn(letters.turn_deg),
        _ => {}
    }
    mask
}

/// What a region gets once its picture has become another: a fade along that picture's greys goes
/// with it. `None` where it stays as it is.
pub fn paint_with(region: &Region, mask: &Mask) -> Option<Paint> {
    let (Mask::Picture(now), Mask::Picture(before)) = (mask, &region.mask) else {
        return None;
    };
    let Paint::Fade { along, fade } = &region.paint else {
        return None;
    };
    let goes = matches!(along, Field::Picture(own) if own.file == before.file);
    goes.then(|| Paint::Fade {
        along: Field::Picture(now.clone()),
        fade: fade.clone(),
    })
}

/// The frame of a picture as it stands on the stage.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Its outline, from the lower left corner anticlockwise.
    pub outline: Vec<Pos2>,
    /// Its corners.
    pub corners: [Pos2; 4],
    /// Its middle.
    pub middle: Pos2,
    /// The knob, and the place on the frame that it stands on.
    pub knob: (Pos2, Pos2),
    /// Whether one looks at its front.
    pub front: bool,
}

impl Frame {
    /// The frame of a placed picture; `None` if it is behind the eye.
    pub fn of(placed: &Placed, camera: &Camera, stage: Rect) -> Option<Self> {
        let at = |x: f64, y: f64| camera.project(stage, placed.point_mm(DVec2::new(x, y)));
        let square = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
        let mut outline = Vec::with_capacity(4 * STEPS);
        for (i, &(x, y)) in square.iter().enumerate() {
            let (to_x, to_y) = square[(i + 1) % 4];
            for step in 0..STEPS {
                let t = step as f64 / STEPS as f64;
                outline.push(at(x + (to_x - x) * t, y + (to_y - y) * t)?);
            }
        }
        let middle = at(0.0, 0.0)?;
        let top = at(0.0, 1.0)?;
        let away = match (top - middle).length() > 1.0 {
            true => (top - middle).normalized(),
            false => Vec2::new(0.0, -1.0),
        };
        let looks = camera.ray(stage, middle, 1.0).direction;
        Some(Self {
            corners: [0, 1, 2, 3].map(|i| outline[i * STEPS]),
            outline,
            middle,
            knob: (top + away * KNOB, top),
            front: looks.dot(placed.looking(DVec2::ZERO)) > 0.0,
        })
    }

    /// What a hand takes hold of at a place.
    pub fn grip(&self, at: Pos2) -> Option<Grip> {
        let near = |to: Pos2| to.distance(at) <= REACH;
        if near(self.knob.0) {
            return Some(Grip::Knob);
        }
        if self.corners.iter().any(|c| near(*c)) {
            return Some(Grip::Corner);
        }
        self.holds(at).then_some(Grip::Whole)
    }

    /// Whether a place is within the outline, by the number of crossings.
    fn holds(&self, at: Pos2) -> bool {
        let next = self.outline.iter().cycle().skip(1);
        let crossings = self.outline.iter().zip(next).filter(|(a, b)| {
            let spans = (a.y > at.y) != (b.y > at.y);
            spans && at.x < a.x + (b.x - a.x) * (at.y - a.y) / (b.y - a.y)
        });
        crossings.count() % 2 == 1
    }
}

impl Hold {
    /// The mask that a hand at a place makes of it; `None` while the pointer is not on the part.
    /// `skin` gives the skin's point and its outward direction under a place of the stage.
    pub fn at(
        &self,
        to: Pos2,
        (front, steps): (bool, bool),
        skin: impl Fn(Pos2) -> Option<(DVec3, DVec3)>,
    ) -> Option<Mask> {
        let (before, now) = (self.from - self.middle, to - self.middle);
        match self.grip {
            Grip::Whole => {
                let (point, outwards) = skin(self.middle + (to - self.from))?;
                let how = laid(&self.mask)?.clone();
                Some(lying(self.mask.clone(), moved(how, point, outwards)))
            }
            Grip::Corner => {
                let factor = now.length() / before.length().max(1.0);
                Some(sized(self.mask.clone(), f64::from(factor).max(1e-3)))
            }
            Grip::Knob => {
                // The stage counts downwards.
                let by = f64::from(before.angle() - now.angle()).to_degrees();
                let by = if front { by } else { -by };
                Some(turned(self.mask.clone(), by, steps))
            }
        }
    }
}

/// The same, with its middle at a point of the skin. One that is looked at in a direction keeps it
/// while the skin there still faces it, within 60°; else it is looked at straight.
pub fn moved(how: Laid, point_mm: DVec3, outwards: DVec3) -> Laid {
    let mut how = how.at(rounded(point_mm));
    if let Laid::Projected { along, .. }
    | Laid::OnSkin {
        along: Some(along), ..
    } = &mut how
        && -outwards.dot(along.normalize_or_zero()) < 0.5
    {
        *along = onto(outwards);
    }
    how
}

/// The direction on to skin that faces outwards so; along an axis if it nearly is, and in a few
/// digits, for it is written in the plan.
pub fn onto(outwards: DVec3) -> DVec3 {
    const NEARLY: f64 = 0.996;
    let along = -outwards;
    let axes = [DVec3::X, DVec3::Y, DVec3::Z];
    let axis = axes.into_iter().find(|a| along.dot(*a).abs() > NEARLY);
    match axis {
        Some(axis) => axis * along.dot(axis).signum(),
        None => (along * 1000.0).round() / 1000.0 + DVec3::ZERO,
    }
}

/// In hundredths of a millimetre.
pub fn rounded(point_mm: DVec3) -> DVec3 {
    (point_mm * 100.0).round() / 100.0 + DVec3::ZERO
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use emath::{pos2, vec2};
    use geometry::imprint::{Covers, Picture, Raster};

    use super::*;

    fn mask() -> Mask {
        let raster = Raster::new((40, 20), vec![0; 800], None).expect("a raster");
        Mask::Picture(Box::new(Picture {
            file: "badge.png".into(),
            sha256: None,
            laid: Laid::Projected {
                at_mm: DVec3::new(0.0, 0.0, 20.0),
                along: DVec3::Y,
                depth_mm: 3.0,
            },
            width_mm: 16.0,
            turn_deg: 0.0,
            mirror: false,
            covers: Covers::Dark,
            threshold: 0.5,
            content: Arc::new(raster).into(),
        }))
    }

    fn camera() -> Camera {
        Camera {
            target_mm: DVec3::new(0.0, 0.0, 20.0),
            yaw_deg: 0.0,
            mm_per_point: 0.1,
            ..Camera::default()
        }
    }

    fn stage() -> Rect {
        Rect::from_min_max(pos2(0.0, 0.0), pos2(400.0, 400.0))
    }

    /// A block whose front faces the camera.
    fn block() -> Surface {
        let cube = geometry::solids::cuboid(DVec3::splat(40.0)).expect("a block");
        let shifted = cube.map(|p| p + DVec3::new(0.0, 20.0, 0.0));
        Surface::new(Arc::new(shifted.expect("a block")))
    }

    fn frame(mask: &Mask) -> Frame {
        let placed = placed(mask, &block()).expect("placed");
        Frame::of(&placed, &camera(), stage()).expect("in view")
    }

    fn hold(grip: Grip, from: Pos2) -> Hold {
        Hold {
            grip,
            from,
            middle: frame(&mask()).middle,
            mask: mask(),
        }
    }

    #[test]
    fn the_frame_stands_about_the_picture() {
        let frame = frame(&mask());
        assert!(frame.front);
        assert_eq!(frame.middle, pos2(200.0, 200.0));
        assert!(frame.corners[0].distance(pos2(120.0, 240.0)) < 0.1);
        assert_eq!(frame.grip(pos2(200.0, 200.0)), Some(Grip::Whole));
        assert_eq!(frame.grip(pos2(282.0, 158.0)), Some(Grip::Corner));
        assert_eq!(frame.grip(frame.knob.0), Some(Grip::Knob));
        assert_eq!(frame.grip(pos2(20.0, 20.0)), None);
    }

    #[test]
    fn a_corner_twice_as_far_out_makes_it_twice_as_wide() {
        let from = frame(&mask()).corners[2];
        let hold = hold(Grip::Corner, from);
        let to = hold.middle + (from - hold.middle) * 2.0;
        let Some(Mask::Picture(picture)) = hold.at(to, (true, false), |_| None) else {
            panic!("a picture");
        };
        assert_eq!(picture.width_mm, 32.0);
    }

    #[test]
    fn the_knob_turns_it_as_one_sees_it() {
        let middle = pos2(200.0, 200.0);
        let hold = hold(Grip::Knob, middle + vec2(0.0, -60.0));
        // A quarter turn to the left is anticlockwise.
        let left = hold.at(middle + vec2(-60.0, 0.0), (true, false), |_| None);
        let turn = |mask: Option<Mask>| match mask {
            Some(Mask::Picture(picture)) => picture.turn_deg,
            other => panic!("{other:?}"),
        };
        assert!((turn(left) - 90.0).abs() < 0.11);
        let near = hold.at(middle + vec2(-35.0, -50.0), (true, true), |_| None);
        assert_eq!(turn(near), 30.0);
        let behind = hold.at(middle + vec2(-60.0, 0.0), (false, false), |_| None);
        assert!((turn(behind) + 90.0).abs() < 0.11);
    }

    #[test]
    fn it_moves_over_the_skin_and_round_a_corner() {
        let hold = hold(Grip::Whole, pos2(210.0, 200.0));
        let same_side = hold.at(pos2(230.0, 200.0), (true, false), |at| {
            // The middle is meant, not the place of the pointer.
            assert_eq!(at, pos2(220.0, 200.0));
            Some((DVec3::new(2.0, 0.0, 20.0), DVec3::new(0.1, -0.9, 0.0)))
        });
        let laid_so = |mask: Option<Mask>| match mask {
            Some(Mask::Picture(picture)) => picture.laid,
            other => panic!("{other:?}"),
        };
        let Laid::Projected { at_mm, along, .. } = laid_so(same_side) else {
            panic!("straight");
        };
        assert_eq!((at_mm, along), (DVec3::new(2.0, 0.0, 20.0), DVec3::Y));
        let round = hold.at(pos2(230.0, 200.0), (true, false), |_| {
            Some((DVec3::new(9.0, 4.0, 20.0), DVec3::X))
        });
        let Laid::Projected { along, .. } = laid_so(round) else {
            panic!("straight");
        };
        assert_eq!(along, -DVec3::X);
        assert!(hold.at(pos2(0.0, 0.0), (true, false), |_| None).is_none());
    }

    #[test]
    fn on_the_skin_its_frame_follows_the_skin_and_it_turns_round_a_corner() {
        let on_skin = |at_mm, along| Laid::OnSkin {
            at_mm,
            along: Some(along),
            depth_mm: 3.0,
        };
        let front = lying(mask(), on_skin(DVec3::new(0.0, 0.0, 20.0), DVec3::Y));
        let (flat, on) = (frame(&mask()), frame(&front));
        assert!(on.front && on.middle == flat.middle);
        for (a, b) in flat.outline.iter().zip(&on.outline) {
            assert!(a.distance(*b) < 0.1, "{a} {b}");
        }
        // Half over the edge on the left: its left half runs away from the eye.
        let edge = frame(&lying(
            front,
            on_skin(DVec3::new(-20.0, 0.0, 20.0), DVec3::Y),
        ));
        let width = |frame: &Frame| frame.corners[1].x - frame.corners[0].x;
        assert!((width(&edge) - 0.5 * width(&flat)).abs() < 0.1);
        let how = on_skin(DVec3::ZERO, DVec3::Y);
        let same = moved(how.clone(), DVec3::X, DVec3::new(0.1, -0.9, 0.0));
        assert_eq!(same, on_skin(DVec3::X, DVec3::Y));
        let round = moved(how, DVec3::X, DVec3::X);
        assert_eq!(round, on_skin(DVec3::X, DVec3::NEG_X));
    }

    #[test]
    fn turns_stay_within_half_a_turn_either_way() {
        let turn = |by| match turned(mask(), by, false) {
            Mask::Picture(picture) => picture.turn_deg,
            other => panic!("{other:?}"),
        };
        assert_eq!(turn(190.0), -170.0);
        assert_eq!(turn(-180.0), 180.0);
        assert!(turn(360.0).is_sign_positive());
    }
}
