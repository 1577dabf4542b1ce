//! The line that a straight stroke between two points draws on the skin.

use glam::DVec3;

use crate::surface::facet::nearest_on_segment;
use crate::{Surface, SurfacePoint};

/// A straight piece of the line, within one facet.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Piece {
    pub(crate) facet: u32,
    pub(crate) from: DVec3,
    pub(crate) to: DVec3,
}

impl Piece {
    pub(crate) fn dot(at: SurfacePoint) -> Self {
        Self {
            facet: at.facet,
            from: at.point_mm,
            to: at.point_mm,
        }
    }
}

/// More facets than this in one line are not followed.
const MOST_PIECES: usize = 200_000;

/// The line that a straight stroke draws on the skin.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    /// Its ends on the skin, mm.
    pub(crate) ends: [DVec3; 2],
    pub(crate) pieces: Vec<Piece>,
    /// Unit normal of the plane that it lies in, if it leads from one end to the other in one
    /// plane; zero for a dot, which lies in every plane.
    pub(crate) plane: Option<DVec3>,
}

impl Line {
    /// A point of the skin.
    pub(crate) fn dot(at: SurfacePoint) -> Self {
        Self {
            ends: [at.point_mm; 2],
            pieces: vec![Piece::dot(at)],
            plane: Some(DVec3::ZERO),
        }
    }
}

/// Draws the line from `a` to `b`: the skin's cut with the plane through both that stands
/// upright on the skin there. Where that line does not get from one to the other within
/// `radius_mm` of the straight way, what can be drawn from either end is drawn.
pub(crate) fn trace(surface: &Surface, a: SurfacePoint, b: SurfacePoint, radius_mm: f64) -> Line {
    let chord = b.point_mm - a.point_mm;
    let ends = [a.point_mm, b.point_mm];
    let line = |pieces, plane| Line {
        ends,
        pieces,
        plane,
    };
    let upright = across_plane(surface, a, b, chord);
    if a.facet == b.facet {
        let piece = Piece {
            facet: a.facet,
            from: a.point_mm,
            to: b.point_mm,
        };
        return line(vec![piece], upright);
    }
    let Some(across) = upright else {
        return line(vec![Piece::dot(a), Piece::dot(b)], None);
    };
    let walk = Walk {
        surface,
        across,
        chord: ends,
        radius_mm,
    };
    let (mut pieces, mut arrived) = walk.run(a, b);
    if !arrived {
        let (back, from_b) = walk.run(b, a);
        pieces = if from_b {
            back
        } else {
            [pieces, back].concat()
        };
        arrived = from_b;
    }
    for end in [a, b] {
        if !pieces
            .iter()
            .any(|p| p.from == end.point_mm || p.to == end.point_mm)
        {
            pieces.push(Piece::dot(end));
        }
    }
    line(pieces, arrived.then_some(across))
}

/// Unit normal of the plane through both points that is upright on the skin.
fn across_plane(
    surface: &Surface,
    a: SurfacePoint,
    b: SurfacePoint,
    chord: DVec3,
) -> Option<DVec3> {
    let along = chord.try_normalize()?;
    let normals = [surface.normal(a.facet), surface.normal(b.facet)];
    let upright = [normals[0] + normals[1], normals[0], normals[1]]
        .into_iter()
        .map(|n| n.normalize_or_zero().cross(along))
        .find(|across| across.length() > 1e-3)
        .unwrap_or_else(|| along.any_orthonormal_vector());
    upright.try_normalize()
}

struct Walk<'a> {
    surface: &'a Surface,
    across: DVec3,
    chord: [DVec3; 2],
    radius_mm: f64,
}

impl Walk<'_> {
    /// Follows the plane's cut from one point towards the other; whether it arrived.
    fn run(&self, start: SurfacePoint, goal: SurfacePoint) -> (Vec<Piece>, bool) {
        let Some((mut facet, mut exit)) = self.first_step(start, goal) else {
            return (Vec::new(), false);
        };
        let near = 1e-6 * (1.0 + start.point_mm.distance(goal.point_mm));
        let adjacency = self.surface.adjacency();
        let mut pieces = Vec::new();
        let mut at = start.point_mm;
        while pieces.len() < MOST_PIECES {
            let mut piece = Piece {
                facet,
                from: at,
                to: exit.1,
            };
            let passed = nearest_on_segment(at, exit.1, goal.point_mm);
            if facet == goal.facet || passed.distance(goal.point_mm) <= near {
                piece.to = goal.point_mm;
                pieces.push(piece);
                return (pieces, true);
            }
            if self.off_chord(exit.1) > self.radius_mm {
                piece.to = self.last_within(at, exit.1);
                pieces.push(piece);
                return (pieces, false);
            }
            pieces.push(piece);
            at = exit.1;
            let Some((next, entry)) = adjacency.across(facet, exit.0).next() else {
                return (pieces, false);
            };
            let crossed = self.crossings(next);
            let Some(out) = crossed.into_iter().flatten().find(|c| c.0 != entry) else {
                return (pieces, false);
            };
            (facet, exit) = (next, out);
            if facet == start.facet {
                return (pieces, false);
            }
        }
        (pieces, false)
    }

    /// The facet in which the line leaves `start` towards `goal`, and where it leaves it.
    fn first_step(&self, start: SurfacePoint, goal: SurfacePoint) -> Option<(u32, (usize, DVec3))> {
        let towards = goal.point_mm - start.point_mm;
        let exit = |facet| {
            let crossed = self.crossings(facet).into_iter().flatten();
            let progress = |c: &(usize, DVec3)| (c.1 - start.point_mm).dot(towards);
            crossed.max_by(|x, y| progress(x).total_cmp(&progress(y)))
        };
        let onward = |e: &(usize, DVec3)| (e.1 - start.point_mm).dot(towards) >= 0.0;
        if let Some(e) = exit(start.facet).filter(onward) {
            return Some((start.facet, e));
        }
        // The point lies on a corner or edge, and the line runs in another facet there.
        let reach = DVec3::splat(1e-6 * (1.0 + towards.length()));
        let mut best: Option<(u32, (usize, DVec3))> = None;
        let (lo, hi) = (start.point_mm - reach, start.point_mm + reach);
        self.surface.facets_in_box(lo, hi, |facet| {
            let corners = self.surface.mesh().corners(facet as usize);
            let there = crate::surface::facet::nearest_on(corners, start.point_mm);
            if there.distance(start.point_mm) > reach.x {
                return;
            }
            let progress = |e: &(usize, DVec3)| (e.1 - start.point_mm).dot(towards);
            if let Some(e) = exit(facet).filter(onward)
                && best.is_none_or(|(_, b)| progress(&e) > progress(&b))
            {
                best = Some((facet, e));
            }
        });
        best
    }

    /// The sides of a facet that the plane crosses: two, or none. A corner in the plane
    /// counts as behind it, for every facet alike.
    fn crossings(&self, facet: u32) -> [Option<(usize, DVec3)>; 2] {
        let corners = self.surface.mesh().corners(facet as usize);
        let ahead = corners.map(|v| (v - self.chord[0]).dot(self.across));
        let mut found = [None; 2];
        let mut count = 0;
        for side in 0..3 {
            let (i, j) = (side, (side + 1) % 3);
            if (ahead[i] > 0.0) != (ahead[j] > 0.0) && count < 2 {
                let share = ahead[i] / (ahead[i] - ahead[j]);
                found[count] = Some((side, corners[i].lerp(corners[j], share)));
                count += 1;
            }
        }
        found
    }

    fn off_chord(&self, p: DVec3) -> f64 {
        nearest_on_segment(self.chord[0], self.chord[1], p).distance(p)
    }

    /// The last point of a straight way out that is still within the radius.
    fn last_within(&self, inside: DVec3, outside: DVec3) -> DVec3 {
        let (mut lo, mut hi) = (0.0, 1.0);
        for _ in 0..40 {
            let middle = 0.5 * (lo + hi);
            if self.off_chord(inside.lerp(outside, middle)) <= self.radius_mm {
                lo = middle;
            } else {
                hi = middle;
            }
        }
        inside.lerp(outside, lo)
    }
}
