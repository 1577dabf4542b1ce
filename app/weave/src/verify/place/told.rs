//! Where a woven file's head says that the copies stand.

use std::io::Read;

use geometry::Mesh;

use crate::register::Placement;
use crate::{Source, WeaveError};

/// The head and what is found may differ by this much at the part's rim, mm: a quarter of a
/// usual line's width is 0.1, the head rounds, and a copy may be set by hand.
pub const MOST_OFF_MM: f64 = 0.3;

/// A head is no longer than this, bytes: it may name 256 copies.
const HEAD_BYTES: u64 = 64 * 1024;

/// The copies that a file's head tells of, in its order; none if it tells of none.
///
/// # Errors
/// When the file can't be read.
pub(in crate::verify) fn told(woven: &Source<'_>) -> Result<Vec<Placement>, WeaveError> {
    let mut head = Vec::new();
    let mut file = woven.read()?.take(HEAD_BYTES);
    file.read_to_end(&mut head).map_err(WeaveError::Open)?;
    let text = String::from_utf8_lossy(&head);
    Ok(text.lines().filter_map(copy).collect())
}

/// `; Copy 1: turned -23.00 degrees, shifted x 60.000 y 70.000 mm, raised 0.900 mm, …`
fn copy(line: &str) -> Option<Placement> {
    let rest = line.trim().strip_prefix("; Copy ")?;
    let (_, rest) = rest.split_once(": turned ")?;
    let (turn, rest) = rest.split_once(" degrees, shifted x ")?;
    let (x, rest) = rest.split_once(" y ")?;
    let (y, rest) = rest.split_once(" mm")?;
    let raised = rest
        .strip_prefix(", raised ")
        .and_then(|rest| rest.split_once(" mm"));
    let number = |text: &str| text.parse::<f64>().ok().filter(|n| n.is_finite());
    Some(Placement {
        turn_deg: number(turn)?,
        shift_mm: [number(x)?, number(y)?],
        lift_mm: raised.map_or(Some(0.0), |(mm, _)| number(mm))?,
    })
}

/// How far the part's rim lies from where the head says, at the copy that is farthest off, mm;
/// `None` if the head tells of no copy.
pub(in crate::verify) fn off_mm(
    mesh: &Mesh,
    told: &[Placement],
    stands: &[Placement],
) -> Option<f64> {
    let off = |told: &Placement| {
        let each = stands.iter().map(|stand| apart_mm(mesh, told, stand));
        each.fold(f64::INFINITY, f64::min)
    };
    told.iter().map(off).reduce(f64::max)
}

/// The greatest distance between the corners of the part's extent at two stands, mm.
pub(in crate::verify) fn apart_mm(mesh: &Mesh, one: &Placement, other: &Placement) -> f64 {
    let (low, high) = mesh.bounds();
    [
        (low.x, low.y),
        (high.x, low.y),
        (low.x, high.y),
        (high.x, high.y),
    ]
    .map(|(x, y)| {
        let corner = geometry::DVec3::new(x, y, low.z);
        let plate = |stand: &Placement| stand.to_plate(corner).truncate();
        plate(one).distance(plate(other))
    })
    .into_iter()
    .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copies_are_read_from_the_head_and_nothing_else_is() {
        let line = "; Copy 2: turned -23.50 degrees, shifted x 60.125 y -7.000 mm, outline within 0.006 mm";
        let found = copy(line).expect("a copy");
        assert_eq!(found.turn_deg, -23.5);
        assert_eq!(found.shift_mm, [60.125, -7.0]);
        assert_eq!(found.lift_mm, 0.0);
        let line =
            "; Copy 1: turned 0.00 degrees, shifted x 1.000 y 2.000 mm, raised 0.900 mm, by hand";
        assert_eq!(copy(line).expect("a copy").lift_mm, 0.9);
        for odd in [
            "G1 X1",
            "; Copy that",
            "; Copy 1: turned NaN degrees, shifted x 1 y 2 mm",
            "; Copy 1: turned 3 degrees, shifted x 1",
        ] {
            assert!(copy(odd).is_none(), "{odd}");
        }
    }
}
