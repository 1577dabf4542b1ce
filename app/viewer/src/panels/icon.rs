//! The window's own signs, drawn with lines so that they stay sharp at any scale.

use egui::epaint::PathShape;
use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

/// A sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each is named after what it stands for")]
pub enum Icon {
    Open,
    Save,
    Undo,
    Redo,
    Turn,
    Brush,
    RubOut,
    Grow,
    Band,
    Straight,
    Mirror,
    Shown,
    Hidden,
    Locked,
    Unlocked,
    Up,
    Down,
    Copy,
    Delete,
    Plus,
    Warning,
    Sound,
    Level,
    Fit,
    Lens,
    Cut,
    Question,
    Keys,
    Close,
    More,
    Combine,
    Spool,
    Sun,
    Moon,
    Stop,
    Fade,
    Target,
    Start,
    Back,
    On,
    End,
}

/// Size of the grid that signs are drawn on.
const GRID: f32 = 16.0;

struct Pen<'a> {
    painter: &'a Painter,
    origin: Pos2,
    unit: f32,
    stroke: Stroke,
}

impl Pen<'_> {
    fn at(&self, (x, y): (f32, f32)) -> Pos2 {
        self.origin + vec2(x, y) * self.unit
    }

    fn line(&self, points: &[(f32, f32)]) {
        let points = points.iter().map(|&p| self.at(p)).collect();
        self.painter.add(Shape::line(points, self.stroke));
    }

    fn closed(&self, points: &[(f32, f32)]) {
        let points = points.iter().map(|&p| self.at(p)).collect();
        self.painter.add(Shape::closed_line(points, self.stroke));
    }

    fn filled(&self, points: &[(f32, f32)]) {
        let points = points.iter().map(|&p| self.at(p)).collect();
        let shape = PathShape::convex_polygon(points, self.stroke.color, Stroke::NONE);
        self.painter.add(shape);
    }

    fn circle(&self, centre: (f32, f32), radius: f32) {
        self.painter
            .circle_stroke(self.at(centre), radius * self.unit, self.stroke);
    }

    fn dot(&self, centre: (f32, f32), radius: f32) {
        let (at, radius) = (self.at(centre), radius * self.unit);
        self.painter.circle_filled(at, radius, self.stroke.color);
    }

    /// Part of a circle, clockwise on the window; angles in degrees from the right.
    fn arc(&self, centre: (f32, f32), radius: f32, from_deg: f32, to_deg: f32) {
        let steps = 18;
        let point = |i: i32| {
            let t = i as f32 / steps as f32;
            let angle = (from_deg + (to_deg - from_deg) * t).to_radians();
            (
                centre.0 + radius * angle.cos(),
                centre.1 + radius * angle.sin(),
            )
        };
        let points: Vec<_> = (0..=steps).map(point).collect();
        self.line(&points);
    }

    fn rect(&self, (x0, y0): (f32, f32), (x1, y1): (f32, f32)) {
        self.closed(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]);
    }
}

/// Draws a sign in the middle of a rectangle.
pub fn paint(painter: &Painter, rect: Rect, icon: Icon, colour: Color32) {
    let side = rect.width().min(rect.height());
    let unit = side / GRID;
    let pen = Pen {
        painter,
        origin: rect.center() - Vec2::splat(side / 2.0),
        unit,
        stroke: Stroke::new((1.35 * unit).max(1.0), colour),
    };
    match icon {
        Icon::Open => {
            pen.line(&[
                (2.0, 12.5),
                (2.0, 3.5),
                (6.0, 3.5),
                (7.5, 5.5),
                (13.0, 5.5),
                (13.0, 7.5),
            ]);
            pen.closed(&[(2.0, 12.8), (4.4, 7.5), (15.0, 7.5), (12.6, 12.8)]);
        }
        Icon::Save => {
            pen.line(&[(8.0, 2.0), (8.0, 9.8)]);
            pen.line(&[(4.8, 6.8), (8.0, 10.0), (11.2, 6.8)]);
            pen.line(&[(2.5, 10.0), (2.5, 13.5), (13.5, 13.5), (13.5, 10.0)]);
        }
        Icon::Undo => {
            pen.arc((8.6, 8.6), 4.6, 90.0, -160.0);
            pen.line(&[(1.6, 4.4), (4.2, 7.6), (7.6, 5.4)]);
        }
        Icon::Redo => {
            pen.arc((7.4, 8.6), 4.6, 90.0, 340.0);
            pen.line(&[(14.4, 4.4), (11.8, 7.6), (8.4, 5.4)]);
        }
        Icon::Turn => {
            pen.circle((8.0, 8.0), 3.2);
            pen.arc((8.0, 8.0), 6.2, 200.0, 345.0);
            pen.line(&[(14.6, 3.4), (14.0, 6.6), (11.0, 5.6)]);
            pen.arc((8.0, 8.0), 6.2, 20.0, 165.0);
            pen.line(&[(1.4, 12.6), (2.0, 9.4), (5.0, 10.4)]);
        }
        Icon::Brush => {
            pen.line(&[(13.8, 2.2), (8.4, 7.6)]);
            pen.closed(&[
                (8.8, 7.2),
                (10.4, 8.8),
                (7.6, 12.0),
                (2.4, 13.6),
                (4.0, 8.6),
            ]);
        }
        Icon::RubOut => {
            pen.closed(&[
                (2.2, 9.6),
                (8.6, 3.0),
                (13.4, 7.6),
                (7.4, 13.6),
                (5.6, 13.6),
            ]);
            pen.line(&[(5.6, 6.2), (10.4, 10.8)]);
            pen.line(&[(9.6, 13.6), (14.0, 13.6)]);
        }
        Icon::Grow => {
            pen.closed(&[
                (3.0, 11.0),
                (8.0, 13.6),
                (13.0, 11.0),
                (13.0, 5.4),
                (8.0, 2.6),
                (3.0, 5.4),
            ]);
            pen.line(&[(3.0, 5.4), (8.0, 8.2), (13.0, 5.4)]);
            pen.line(&[(8.0, 8.2), (8.0, 13.6)]);
            pen.filled(&[(3.6, 6.6), (7.4, 8.8), (7.4, 12.6), (3.6, 10.6)]);
        }
        Icon::Band => {
            pen.line(&[(2.0, 5.0), (14.0, 5.0)]);
            pen.line(&[(2.0, 11.0), (14.0, 11.0)]);
            pen.line(&[(8.0, 6.6), (8.0, 9.4)]);
            pen.line(&[(5.0, 2.4), (5.0, 3.4)]);
            pen.line(&[(5.0, 12.6), (5.0, 13.6)]);
            pen.line(&[(11.0, 2.4), (11.0, 3.4)]);
            pen.line(&[(11.0, 12.6), (11.0, 13.6)]);
        }
        Icon::Straight => {
            pen.line(&[(4.4, 11.6), (11.6, 4.4)]);
            pen.circle((3.4, 12.6), 1.6);
            pen.circle((12.6, 3.4), 1.6);
        }
        Icon::Mirror => {
            for y in [2.0, 5.2, 8.4, 11.6] {
                pen.line(&[(8.0, y), (8.0, y + 1.8)]);
            }
            pen.closed(&[(6.0, 4.0), (6.0, 12.0), (1.8, 12.0)]);
            pen.filled(&[(10.0, 4.0), (14.2, 12.0), (10.0, 12.0)]);
        }
        Icon::Shown => {
            pen.line(&[(1.4, 8.0), (4.4, 4.8), (8.0, 3.8), (11.6, 4.8), (14.6, 8.0)]);
            pen.line(&[
                (1.4, 8.0),
                (4.4, 11.2),
                (8.0, 12.2),
                (11.6, 11.2),
                (14.6, 8.0),
            ]);
            pen.dot((8.0, 8.0), 2.2);
        }
        Icon::Hidden => {
            pen.line(&[
                (1.6, 6.6),
                (4.6, 9.6),
                (8.0, 10.6),
                (11.4, 9.6),
                (14.4, 6.6),
            ]);
            pen.line(&[(4.2, 9.8), (3.0, 12.0)]);
            pen.line(&[(8.0, 10.8), (8.0, 13.2)]);
            pen.line(&[(11.8, 9.8), (13.0, 12.0)]);
        }
        Icon::Locked | Icon::Unlocked => {
            pen.rect((3.6, 7.4), (12.4, 13.6));
            pen.dot((8.0, 10.4), 1.1);
            if icon == Icon::Locked {
                pen.line(&[(5.4, 7.4), (5.4, 5.0)]);
                pen.arc((8.0, 5.0), 2.6, 180.0, 360.0);
                pen.line(&[(10.6, 5.0), (10.6, 7.4)]);
            } else {
                pen.line(&[(10.6, 7.4), (10.6, 5.0)]);
                pen.arc((13.2, 5.0), 2.6, 180.0, 330.0);
            }
        }
        Icon::Up => {
            pen.line(&[(8.0, 13.0), (8.0, 3.4)]);
            pen.line(&[(4.2, 7.0), (8.0, 3.2), (11.8, 7.0)]);
        }
        Icon::Down => {
            pen.line(&[(8.0, 3.0), (8.0, 12.6)]);
            pen.line(&[(4.2, 9.0), (8.0, 12.8), (11.8, 9.0)]);
        }
        Icon::Copy => {
            pen.rect((5.4, 5.4), (13.4, 13.4));
            pen.line(&[
                (3.2, 10.6),
                (2.6, 10.6),
                (2.6, 2.6),
                (10.6, 2.6),
                (10.6, 3.2),
            ]);
        }
        Icon::Delete => {
            pen.line(&[(2.6, 4.2), (13.4, 4.2)]);
            pen.line(&[(6.0, 4.0), (6.0, 2.4), (10.0, 2.4), (10.0, 4.0)]);
            pen.line(&[(4.0, 4.4), (4.8, 13.6), (11.2, 13.6), (12.0, 4.4)]);
            pen.line(&[(6.8, 6.8), (7.0, 11.2)]);
            pen.line(&[(9.2, 6.8), (9.0, 11.2)]);
        }
        Icon::Plus => {
            pen.line(&[(8.0, 3.0), (8.0, 13.0)]);
            pen.line(&[(3.0, 8.0), (13.0, 8.0)]);
        }
        Icon::Warning => {
            pen.closed(&[(8.0, 2.4), (14.6, 13.4), (1.4, 13.4)]);
            pen.line(&[(8.0, 6.4), (8.0, 9.8)]);
            pen.dot((8.0, 11.6), 0.8);
        }
        Icon::Sound => pen.line(&[(3.0, 8.6), (6.6, 12.2), (13.2, 4.4)]),
        Icon::Level => {
            pen.line(&[(1.6, 13.0), (9.0, 13.0)]);
            pen.line(&[(3.0, 12.6), (3.0, 6.0), (5.2, 3.0), (7.4, 6.0), (7.4, 12.6)]);
            pen.line(&[(11.8, 2.6), (11.8, 13.4)]);
            for y in [3.0, 6.4, 9.8, 13.0] {
                pen.line(&[(11.8, y), (14.4, y)]);
            }
        }
        Icon::Fit => {
            pen.line(&[(2.4, 5.4), (2.4, 2.4), (5.4, 2.4)]);
            pen.line(&[(10.6, 2.4), (13.6, 2.4), (13.6, 5.4)]);
            pen.line(&[(13.6, 10.6), (13.6, 13.6), (10.6, 13.6)]);
            pen.line(&[(5.4, 13.6), (2.4, 13.6), (2.4, 10.6)]);
            pen.rect((5.6, 5.6), (10.4, 10.4));
        }
        Icon::Lens => {
            pen.closed(&[(2.2, 4.4), (2.2, 11.6), (13.8, 9.8), (13.8, 6.2)]);
            pen.line(&[(8.0, 5.3), (8.0, 10.7)]);
        }
        Icon::Cut => {
            pen.line(&[(1.4, 7.6), (14.6, 7.6)]);
            pen.line(&[(4.0, 9.4), (4.0, 13.6), (12.0, 13.6), (12.0, 9.4)]);
            pen.line(&[(4.0, 5.6), (4.0, 4.6)]);
            pen.line(&[(4.0, 3.2), (4.0, 2.4), (4.9, 2.4)]);
            pen.line(&[(7.0, 2.4), (9.0, 2.4)]);
            pen.line(&[(11.1, 2.4), (12.0, 2.4), (12.0, 3.2)]);
            pen.line(&[(12.0, 4.6), (12.0, 5.6)]);
        }
        Icon::Question => {
            pen.arc((8.0, 5.8), 3.0, 180.0, 400.0);
            pen.line(&[(10.2, 7.8), (8.2, 9.2), (8.0, 10.6)]);
            pen.dot((8.0, 13.0), 0.95);
        }
        Icon::Keys => {
            pen.rect((1.4, 4.4), (14.6, 11.8));
            for x in [4.0, 6.7, 9.4, 12.0] {
                pen.dot((x, 7.0), 0.7);
            }
            pen.line(&[(5.0, 9.6), (11.0, 9.6)]);
        }
        Icon::Close => {
            pen.line(&[(4.0, 4.0), (12.0, 12.0)]);
            pen.line(&[(12.0, 4.0), (4.0, 12.0)]);
        }
        Icon::More => {
            for x in [3.6, 8.0, 12.4] {
                pen.dot((x, 8.0), 1.2);
            }
        }
        Icon::Combine => {
            pen.circle((6.0, 8.0), 4.2);
            pen.circle((10.0, 8.0), 4.2);
        }
        Icon::Spool => {
            pen.circle((8.0, 8.0), 6.2);
            pen.circle((8.0, 8.0), 3.9);
            pen.circle((8.0, 8.0), 1.2);
        }
        Icon::Sun => {
            pen.circle((8.0, 8.0), 3.0);
            for eighth in 0..8 {
                let (sin, cos) = (eighth as f32 * std::f32::consts::FRAC_PI_4).sin_cos();
                let at = |r: f32| (8.0 + r * cos, 8.0 + r * sin);
                pen.line(&[at(4.8), at(6.6)]);
            }
        }
        Icon::Moon => {
            pen.arc((8.0, 8.0), 5.6, 40.0, 320.0);
            pen.arc((11.6, 8.0), 3.65, 80.0, 280.0);
        }
        Icon::Stop => pen.rect((4.0, 4.0), (12.0, 12.0)),
        Icon::Fade => {
            pen.line(&[
                (2.0, 13.0),
                (5.0, 12.4),
                (8.0, 8.0),
                (11.0, 3.6),
                (14.0, 3.0),
            ]);
            pen.dot((2.4, 13.0), 1.5);
            pen.dot((13.6, 3.0), 1.5);
        }
        Icon::Start => {
            pen.line(&[(3.4, 3.6), (3.4, 12.4)]);
            pen.line(&[(12.4, 3.6), (7.0, 8.0), (12.4, 12.4)]);
        }
        Icon::Back => pen.line(&[(10.4, 3.6), (5.0, 8.0), (10.4, 12.4)]),
        Icon::On => pen.line(&[(5.6, 3.6), (11.0, 8.0), (5.6, 12.4)]),
        Icon::End => {
            pen.line(&[(3.6, 3.6), (9.0, 8.0), (3.6, 12.4)]);
            pen.line(&[(12.6, 3.6), (12.6, 12.4)]);
        }
        Icon::Target => {
            pen.circle((8.0, 8.0), 4.6);
            for (from, to) in [
                ((8.0, 1.2), (8.0, 5.0)),
                ((8.0, 11.0), (8.0, 14.8)),
                ((1.2, 8.0), (5.0, 8.0)),
                ((11.0, 8.0), (14.8, 8.0)),
            ] {
                pen.line(&[from, to]);
            }
        }
    }
}

/// Where a sign of the usual size stands at the left of a rectangle.
pub fn left_of(rect: Rect, side: f32) -> Rect {
    Rect::from_center_size(
        pos2(rect.left() + side * 0.5, rect.center().y),
        Vec2::splat(side),
    )
}
