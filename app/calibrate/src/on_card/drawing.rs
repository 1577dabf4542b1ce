//! What was found and read where, to draw on the photograph.

use photograph::card::{self, Rect};
use photograph::find::Found;
use photograph::laid::Frame;
use photograph::overlay::Line;
use photograph::view::View;

use super::scan::OnCard;

const FOUND: [u8; 3] = [255, 0, 200];
const READ: [u8; 3] = [0, 220, 0];
const GIVEN: [u8; 3] = [255, 150, 0];

/// A frame that the picture does not bear out.
pub fn frame_line(frame: &Frame) -> Line {
    Line {
        points: frame.0.to_vec(),
        colour: GIVEN,
    }
}

/// The marks.
pub(super) fn of_marks(marks: &[Found]) -> Vec<Line> {
    let line = |mark: &Found| Line {
        points: mark.corners.to_vec(),
        colour: FOUND,
    };
    marks.iter().map(line).collect()
}

/// What is read of the places for references.
pub(super) fn of_references(view: &View) -> Vec<Line> {
    let of_place = |place: &Rect| {
        let rect = Rect::about(place.centre(), 14.0, 14.0);
        let seen = corners(rect.x, rect.y)
            .into_iter()
            .filter_map(|(x, y)| view.project([x, y, 0.0]));
        Line {
            points: seen.collect(),
            colour: READ,
        }
    };
    card::PLACES.iter().map(of_place).collect()
}

/// All of it.
pub(super) fn lines(on_card: &OnCard<'_>) -> Vec<Line> {
    let view = &on_card.scene.view;
    let laid = on_card.laid;
    let mut lines = of_marks(&on_card.scene.marks);
    let sides = &laid.outline;
    let left = sides.iter().map(|(y, (from, _))| (*from, *y));
    let right = sides.iter().rev().map(|(y, (_, to))| (*to, *y));
    let seen = left
        .chain(right)
        .filter_map(|(x, y)| view.project([x, y, 0.0]));
    lines.push(Line {
        points: seen.collect(),
        colour: FOUND,
    });
    lines.extend(of_references(view));
    for (_, _, (across, up)) in on_card.areas() {
        let seen = corners(across, up)
            .into_iter()
            .filter_map(|(x, z)| view.project(laid.place([x, on_card.depth_mm, z])));
        lines.push(Line {
            points: seen.collect(),
            colour: READ,
        });
    }
    lines
}

fn corners(across: (f64, f64), up: (f64, f64)) -> [(f64, f64); 4] {
    [
        (across.0, up.0),
        (across.1, up.0),
        (across.1, up.1),
        (across.0, up.1),
    ]
}
