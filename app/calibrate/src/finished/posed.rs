//! Where a part stands or lies on the card's plane, and how the camera sees it there.

use geometry::{DVec3, Mesh};
use photograph::homography::Point;
use photograph::view::{Place, View};

/// Corners of a part this near its lowest one touch the table, mm.
const TOUCHES_MM: f64 = 0.3;

/// On which of its sides a part lies. Front is −y of the plan, right is +x.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rest {
    /// It stands as it was printed.
    #[default]
    Standing,
    /// On its back.
    Back,
    /// On its front.
    Front,
    /// On its left side.
    Left,
    /// On its right side.
    Right,
    /// Upside down.
    Top,
}

impl Rest {
    /// What it lies on, in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Standing => "foot",
            Self::Back => "back",
            Self::Front => "front",
            Self::Left => "left side",
            Self::Right => "right side",
            Self::Top => "top",
        }
    }

    /// A point as it is turned. Only signs and places change.
    fn turned(self, p: DVec3) -> DVec3 {
        match self {
            Self::Standing => p,
            Self::Back => DVec3::new(p.x, p.z, -p.y),
            Self::Front => DVec3::new(p.x, -p.z, p.y),
            Self::Left => DVec3::new(-p.z, p.y, p.x),
            Self::Right => DVec3::new(p.z, p.y, -p.x),
            Self::Top => DVec3::new(p.x, -p.y, -p.z),
        }
    }

    /// What turns it back.
    fn inverse(self) -> Self {
        match self {
            Self::Back => Self::Front,
            Self::Front => Self::Back,
            Self::Left => Self::Right,
            Self::Right => Self::Left,
            other => other,
        }
    }
}

/// A part at rest on a plane: turned, with its lowest point at 0 and its middle over the origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rested {
    rest: Rest,
    /// What comes to the origin once it is turned.
    middle: DVec3,
    /// Half the longer side of its box seen from above, mm.
    pub radius_mm: f64,
    /// Its height at rest, mm.
    pub height_mm: f64,
}

impl Rested {
    /// Of a mesh in the plan's coordinates.
    ///
    /// # Errors
    /// It does not rest flat on that side: a sentence.
    pub fn new(mesh: &Mesh, rest: Rest) -> Result<Self, String> {
        let turned = || mesh.vertices().iter().map(|v| rest.turned(*v));
        let (low, high) = bounds(turned());
        let (from, to) = bounds(turned().filter(|v| v.z < low.z + TOUCHES_MM));
        let middle = (low + high) / 2.0;
        let under = |from: f64, to: f64, middle: f64| from < middle && middle < to;
        if !(under(from.x, to.x, middle.x) && under(from.y, to.y, middle.y)) {
            return Err(format!(
                "the part does not rest flat on its {}; stand it as it was printed, or lay it on \
                 a flat side",
                rest.words()
            ));
        }
        Ok(Self {
            rest,
            middle: DVec3::new(middle.x, middle.y, low.z),
            radius_mm: ((high.x - low.x).max(high.y - low.y) / 2.0).max(0.5),
            height_mm: high.z - low.z,
        })
    }
}

fn bounds(points: impl Iterator<Item = DVec3>) -> (DVec3, DVec3) {
    let none = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    points.fold(none, |(low, high), p| (low.min(p), high.max(p)))
}

/// Where a part at rest is on the card's plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Its middle, mm from the left of the card's field.
    pub x_mm: f64,
    /// Its middle, mm from the top of the card's field.
    pub y_mm: f64,
    /// How far it is turned counter-clockwise seen from above, rad.
    pub turn: f64,
    /// How many mm of the card a mm of the part is long: 1 if the card is printed at its size.
    pub scale: f64,
}

/// A part before a camera.
#[derive(Clone, Copy, Debug)]
pub struct Posed<'a> {
    /// The camera.
    pub view: &'a View,
    /// How it rests.
    pub rested: &'a Rested,
    /// Where.
    pub pose: Pose,
}

impl Posed<'_> {
    /// Where a point of the part is in the card's space.
    pub fn place(&self, point_mm: DVec3) -> Place {
        let p = self.rested.rest.turned(point_mm) - self.rested.middle;
        let Pose {
            x_mm,
            y_mm,
            turn,
            scale,
        } = self.pose;
        let (sin, cos) = turn.sin_cos();
        [
            x_mm + scale * (cos * p.x - sin * p.y),
            y_mm - scale * (sin * p.x + cos * p.y),
            scale * p.z,
        ]
    }

    /// Where a point of the part is seen, px.
    pub fn project(&self, point_mm: DVec3) -> Option<Point> {
        self.view.project(self.place(point_mm))
    }

    /// Where the camera stands, in the part's millimetres.
    pub fn eye_mm(&self) -> DVec3 {
        self.point_at(self.view.eye())
    }

    /// What point of the part a place in the card's space is.
    pub fn point_at(&self, [x, y, up]: Place) -> DVec3 {
        let Pose { x_mm, y_mm, .. } = self.pose;
        let scale = self.pose.scale;
        let there = DVec3::new((x - x_mm) / scale, (y_mm - y) / scale, up / scale);
        let at_rest = self.turned_back(there) + self.rested.middle;
        self.rested.rest.inverse().turned(at_rest)
    }

    /// Which way the camera looks through a point of the picture, in the part's coordinates.
    pub fn sight(&self, at: Point) -> DVec3 {
        let [x, y, up] = self.view.sight(at);
        let way = self.turned_back(DVec3::new(x, -y, up));
        self.rested.rest.inverse().turned(way)
    }

    /// A direction of the part as it is in space: right, away from the card's lower edge, up.
    pub fn direction(&self, way: DVec3) -> DVec3 {
        let way = self.rested.rest.turned(way);
        let (sin, cos) = self.pose.turn.sin_cos();
        DVec3::new(cos * way.x - sin * way.y, sin * way.x + cos * way.y, way.z)
    }

    fn turned_back(&self, p: DVec3) -> DVec3 {
        let (sin, cos) = self.pose.turn.sin_cos();
        DVec3::new(cos * p.x + sin * p.y, cos * p.y - sin * p.x, p.z)
    }

    /// How many px a mm has at half the part's height, the most of all level directions.
    pub fn px_per_mm(&self) -> f64 {
        let Pose {
            x_mm, y_mm, scale, ..
        } = self.pose;
        let up = scale * self.rested.height_mm / 2.0;
        let seen = |x: f64, y: f64| self.view.project([x_mm + x, y_mm + y, up]);
        let apart = |to: Option<Point>| {
            let ((x, y), (u, v)) = (seen(0.0, 0.0)?, to?);
            Some((x - u).hypot(y - v))
        };
        let (across, down) = (apart(seen(1.0, 0.0)), apart(seen(0.0, 1.0)));
        scale * across.unwrap_or(1.0).max(down.unwrap_or(1.0))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use geometry::solids;

    use super::*;

    /// A camera as four corners of a card show it.
    pub(in super::super) fn view() -> View {
        let corners = [
            (0.0, 0.0),
            (180.0, 0.0),
            (180.0, 250.0),
            (0.0, 250.0),
            (90.0, 125.0),
        ];
        let seen = |(x, y): Point| {
            let depth = 480.0 - 0.7 * y;
            (
                600.0 + 1150.0 * (x - 90.0) / depth,
                700.0 + 1150.0 * 0.7 * (y - 110.0) / depth,
            )
        };
        let pairs: Vec<_> = corners.into_iter().map(|at| (at, seen(at))).collect();
        View::fit(&pairs, 1200, 1600).unwrap()
    }

    #[test]
    fn the_line_of_sight_through_a_point_meets_that_point() {
        let view = view();
        let mesh = solids::cuboid(DVec3::new(20.0, 40.0, 30.0)).unwrap();
        for rest in [
            Rest::Standing,
            Rest::Back,
            Rest::Front,
            Rest::Left,
            Rest::Right,
            Rest::Top,
        ] {
            let rested = Rested::new(&mesh, rest).unwrap();
            let pose = Pose {
                x_mm: 70.0,
                y_mm: 30.0,
                turn: 0.4,
                scale: 1.03,
            };
            let posed = Posed {
                view: &view,
                rested: &rested,
                pose,
            };
            let point = DVec3::new(7.0, -11.0, 23.0);
            let place = posed.place(point);
            assert!((posed.point_at(place) - point).length() < 1e-9, "{rest:?}");
            assert!(place[2] >= 0.0 && place[2] <= 1.03 * rested.height_mm);
            let sight = posed.sight(posed.project(point).unwrap());
            let toward = (point - posed.eye_mm()).normalize();
            assert!(
                (sight - toward).length() < 1e-6,
                "{rest:?} {sight} {toward}"
            );
        }
    }

    #[test]
    fn a_cone_does_not_lie_on_its_side() {
        let cone = solids::frustum(20.0, 5.0, 50.0, 64).unwrap();
        assert!(Rested::new(&cone, Rest::Standing).is_ok());
        assert!(
            Rested::new(&cone, Rest::Back)
                .unwrap_err()
                .contains("does not rest flat")
        );
    }
}
