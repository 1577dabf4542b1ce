//! Painting at several places at once: on both sides of the part, or round it.

use geometry::mask::{CutOpen, Outline, Stroke};
use geometry::{DVec3, Surface};
use glam::DVec2;
use serde::{Deserialize, Serialize};

/// How strokes are repeated: about an upright plane or axis through the part's middle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mirror {
    /// Not at all.
    #[default]
    Off,
    /// Left and right, across x.
    LeftRight,
    /// Front and back, across y.
    FrontBack,
    /// So many times round the part, turned about its upright axis.
    Around(u8),
}

/// How often a stroke may be repeated round the part.
pub const TIMES_RANGE: (u8, u8) = (2, 36);

impl Mirror {
    /// All choices, in the order in which a key steps through them.
    pub const ALL: [Self; 4] = [Self::Off, Self::LeftRight, Self::FrontBack, Self::Around(4)];

    /// In words.
    pub fn name(self) -> String {
        match self {
            Self::Off => "no mirror".to_owned(),
            Self::LeftRight => "mirror left–right".to_owned(),
            Self::FrontBack => "mirror front–back".to_owned(),
            Self::Around(times) => format!("{times} times round the part"),
        }
    }

    /// The next choice.
    pub fn next(self) -> Self {
        match self {
            Self::Off => Self::LeftRight,
            Self::LeftRight => Self::FrontBack,
            Self::FrontBack => Self::Around(4),
            Self::Around(_) => Self::Off,
        }
    }

    /// So many times round the part, within what is possible.
    #[must_use]
    pub fn around(times: f64) -> Self {
        let (low, high) = TIMES_RANGE;
        Self::Around(times.round().clamp(f64::from(low), f64::from(high)) as u8)
    }

    /// How many images everything has, beside itself.
    fn count(self) -> u8 {
        match self {
            Self::Off => 0,
            Self::LeftRight | Self::FrontBack => 1,
            Self::Around(times) => times.saturating_sub(1),
        }
    }

    /// The image of that number of a point, counted from 1.
    fn image(self, number: u8, point_mm: DVec3, middle_mm: DVec3) -> DVec3 {
        let mut image = point_mm;
        match self {
            Self::Off => {}
            Self::LeftRight => image.x = 2.0 * middle_mm.x - point_mm.x,
            Self::FrontBack => image.y = 2.0 * middle_mm.y - point_mm.y,
            Self::Around(times) => {
                let turn = std::f64::consts::TAU * f64::from(number) / f64::from(times.max(1));
                let out = (point_mm - middle_mm).truncate();
                image =
                    (middle_mm.truncate() + DVec2::from_angle(turn).rotate(out)).extend(point_mm.z);
            }
        }
        image
    }

    /// The images of a point.
    pub fn images_of(self, point_mm: DVec3, middle_mm: DVec3) -> impl Iterator<Item = DVec3> {
        (1..=self.count()).map(move |number| self.image(number, point_mm, middle_mm))
    }

    /// The images of an outline: what is seen in them from the image of the eye.
    pub fn images_of_outline(self, outline: &Outline, middle_mm: DVec3) -> Vec<Outline> {
        let flips = matches!(self, Self::LeftRight | Self::FrontBack);
        let image = |number| {
            let place = |point| self.image(number, point, middle_mm);
            let direction = |along: DVec3| place(middle_mm + along) - middle_mm;
            let mut image = Outline {
                at_mm: place(outline.at_mm),
                towards: direction(outline.towards),
                up: direction(outline.up),
                cut: outline.cut.map(|cut| {
                    let normal = cut.direction.normalize_or_zero();
                    CutOpen {
                        direction: direction(normal),
                        at_mm: place(normal * cut.at_mm).dot(direction(normal)),
                    }
                }),
                ..outline.clone()
            };
            // Seen in a mirror, right is left.
            for corner in image.corners_mm.iter_mut().filter(|_| flips) {
                corner.x = -corner.x;
            }
            image
        };
        (1..=self.count()).map(image).collect()
    }

    /// The images of a stroke, drawn onto the skin. Where there is no skin within the brush, an
    /// image breaks off; so one may be in several pieces or none.
    pub fn images(self, stroke: &Stroke, middle_mm: DVec3, surface: &Surface) -> Vec<Stroke> {
        let image = |number| {
            let mut runs: Vec<Vec<DVec3>> = vec![Vec::new()];
            for dab in &stroke.dabs_mm {
                let image = self.image(number, *dab, middle_mm);
                match surface.nearest_within(image, stroke.radius_mm) {
                    Some(on_skin) => {
                        if let Some(run) = runs.last_mut() {
                            run.push(on_skin.point_mm);
                        }
                    }
                    None => runs.push(Vec::new()),
                }
            }
            runs
        };
        let runs = (1..=self.count()).flat_map(image);
        runs.filter(|run| !run.is_empty())
            .map(|dabs_mm| Stroke {
                dabs_mm,
                ..stroke.clone()
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn images_stand_round_the_middle_at_one_height() {
        let (middle, point) = (DVec3::new(5.0, -2.0, 9.0), DVec3::new(15.0, -2.0, 3.0));
        let images: Vec<DVec3> = Mirror::Around(4).images_of(point, middle).collect();
        let expected = [(5.0, 8.0), (-5.0, -2.0), (5.0, -12.0)];
        assert_eq!(images.len(), 3);
        for (image, (x, y)) in images.iter().zip(expected) {
            assert!(image.distance(DVec3::new(x, y, 3.0)) < 1e-9, "{image}");
        }
        let left: Vec<DVec3> = Mirror::LeftRight.images_of(point, middle).collect();
        assert_eq!(left, [DVec3::new(-5.0, -2.0, 3.0)]);
        assert_eq!(Mirror::Off.images_of(point, middle).count(), 0);
        assert_eq!(Mirror::around(0.2), Mirror::Around(2));
    }

    #[test]
    fn a_key_steps_through_all_and_comes_back() {
        let mut at = Mirror::Off;
        for wanted in Mirror::ALL.into_iter().skip(1).chain([Mirror::Off]) {
            at = at.next();
            assert_eq!(at, wanted);
        }
    }
}
