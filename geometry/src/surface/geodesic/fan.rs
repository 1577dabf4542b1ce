//! The facets around a vertex, and how much surface they make.

use glam::DVec3;
use smallvec::SmallVec;

use crate::Mesh;
use crate::surface::Adjacency;

/// A facet at a vertex, in the order in which one goes round the vertex.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wedge {
    pub(super) facet: u32,
    /// Which of its corners is the vertex.
    pub(super) corner: usize,
    /// The corner at the far end of the side that one comes in over.
    pub(super) entry: usize,
    /// The angle about the vertex at which it begins, rad.
    pub(super) from: f64,
    /// And at which it ends.
    pub(super) to: f64,
}

impl Wedge {
    /// Where a ray from the vertex, at an angle to the side that one comes in over, meets the
    /// edge across: from the end of that side, mm. `side_mm` is that side's length; the vertex
    /// lies at `(x, y)` seen from the edge's start.
    pub(super) fn meets(
        &self,
        side_mm: f64,
        edge_mm: f64,
        (x, y): (f64, f64),
        angle: f64,
        entered_at_start: bool,
    ) -> f64 {
        if angle <= 0.0 || side_mm <= 0.0 {
            return 0.0;
        }
        if angle >= self.to - self.from {
            return edge_mm;
        }
        // The angle at that end, between the side and the edge.
        let towards = if entered_at_start { x } else { edge_mm - x };
        let (sin, cos) = (y / side_mm, towards / side_mm);
        let over = angle.sin() * cos + angle.cos() * sin;
        match over > 0.0 {
            true => (side_mm * angle.sin() / over).min(edge_mm),
            false => edge_mm,
        }
    }
}

pub(super) type Wedges = SmallVec<[Wedge; 12]>;

/// The facets at a vertex.
pub(super) enum Fan {
    /// They close around it.
    Around {
        /// From the one asked for on, which begins at angle 0 with the corner's own side.
        wedges: Wedges,
        /// All angles together, rad.
        whole: f64,
    },
    /// The vertex lies at a rim, or where sheets meet.
    Open {
        /// In no order.
        wedges: Wedges,
        /// All angles together, rad.
        whole: f64,
    },
}

/// Goes round the vertex at a corner of a facet, given as facet and corner.
pub(super) fn fan(mesh: &Mesh, adjacency: &Adjacency, (facet, corner): (u32, usize)) -> Fan {
    let mut wedges = Wedges::new();
    let mut whole = 0.0;
    let (mut at, mut entry) = ((facet, corner), (corner + 1) % 3);
    loop {
        let turn = angle(mesh, at.0, at.1);
        let wedge = Wedge {
            facet: at.0,
            corner: at.1,
            entry,
            from: whole,
            to: whole + turn,
        };
        wedges.push(wedge);
        whole += turn;
        let Some(next) = only_across(mesh, adjacency, &wedge) else {
            return all_at(mesh, adjacency, (facet, corner));
        };
        (at, entry) = next;
        if at.0 == facet {
            return Fan::Around { wedges, whole };
        }
        if wedges.len() > mesh.triangles().len() {
            return all_at(mesh, adjacency, (facet, corner));
        }
    }
}

/// The side of a corner's facet that leads from the corner to another of its corners.
fn side_to(corner: usize, other: usize) -> usize {
    match other == (corner + 1) % 3 {
        true => corner,
        false => other,
    }
}

/// The facet over the side that a wedge ends with, as its facet and corner and the corner one
/// comes in at; none at a rim or where sheets meet.
fn only_across(mesh: &Mesh, adjacency: &Adjacency, wedge: &Wedge) -> Option<((u32, usize), usize)> {
    let exit = 3 - wedge.corner - wedge.entry;
    let mut across = adjacency.across(wedge.facet, side_to(wedge.corner, exit));
    let (facet, side) = across.next()?;
    if across.next().is_some() {
        return None;
    }
    let vertex = mesh.triangles()[wedge.facet as usize][wedge.corner];
    let corners = mesh.triangles()[facet as usize];
    let ends = [side, (side + 1) % 3];
    match ends.map(|i| corners[i] == vertex) {
        [true, _] => Some(((facet, ends[0]), ends[1])),
        [_, true] => Some(((facet, ends[1]), ends[0])),
        _ => None,
    }
}

/// All facets that hang together over sides at the vertex.
fn all_at(mesh: &Mesh, adjacency: &Adjacency, first: (u32, usize)) -> Fan {
    let vertex = mesh.triangles()[first.0 as usize][first.1];
    let mut wedges = Wedges::new();
    let mut whole = 0.0;
    let mut open: SmallVec<[(u32, usize); 12]> = SmallVec::from_slice(&[first]);
    while let Some((facet, corner)) = open.pop() {
        if wedges.iter().any(|w| w.facet == facet) {
            continue;
        }
        let turn = angle(mesh, facet, corner);
        wedges.push(Wedge {
            facet,
            corner,
            entry: (corner + 1) % 3,
            from: whole,
            to: whole + turn,
        });
        whole += turn;
        for other in [(corner + 1) % 3, (corner + 2) % 3] {
            for (next, _) in adjacency.across(facet, side_to(corner, other)) {
                let corners = mesh.triangles()[next as usize];
                if let Some(corner) = corners.iter().position(|&v| v == vertex) {
                    open.push((next, corner));
                }
            }
        }
    }
    Fan::Open { wedges, whole }
}

/// The angle of a facet at a corner, rad.
fn angle(mesh: &Mesh, facet: u32, corner: usize) -> f64 {
    let corners = mesh.corners(facet as usize);
    let sides: [DVec3; 2] = [1, 2].map(|i| corners[(corner + i) % 3] - corners[corner]);
    sides[0]
        .cross(sides[1])
        .length()
        .atan2(sides[0].dot(sides[1]))
}
