//! Windows: what a source sees of an edge, through the facets between.

use super::names::NONE;

/// Where a window is on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    /// It has not been carried on over the next facet yet.
    Waiting,
    /// It has.
    Carried,
    /// Others have taken all of it.
    Gone,
}

/// A part of an edge that straight ways from one source reach through one facet, the facets
/// between laid flat. The edge is the x axis, from its start; the source lies at or above it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    /// Where it begins on the edge, mm from the edge's start.
    pub(super) from: f64,
    /// Where it ends.
    pub(super) to: f64,
    /// The source along the edge, mm.
    pub(super) x: f64,
    /// The source off the edge, mm, on the side of `facet`.
    pub(super) y: f64,
    /// The distance at the source, mm. A straight front is a source far behind, and this is
    /// as far below zero.
    pub(super) offset: f64,
    /// The rays that bound what it sees beyond the edge, at both its ends: how far each goes along
    /// the edge for each mm off it. They come from the source, unless windows were merged.
    pub(super) rays: [f64; 2],
    /// What merging may have put off.
    pub(super) error: Error,
    /// The edge, as the list of edges numbers it.
    pub(super) edge: u32,
    /// The facet that its ways come through.
    pub(super) facet: u32,
    /// The next window of the edge, or [`NONE`].
    pub(super) next: u32,
    pub(super) state: State,
}

/// By how much merging may have put distances off.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Error {
    /// As a length, mm.
    pub(super) mm: f64,
    /// As a share of the distance: from ways whose direction was put off.
    pub(super) share: f64,
}

impl Error {
    fn or(self, other: Self) -> Self {
        Self {
            mm: self.mm.max(other.mm),
            share: self.share.max(other.share),
        }
    }
}

impl Window {
    /// How far the ray from its source through a place on the edge goes along the edge, beyond
    /// it, for each mm off it.
    #[inline]
    pub(super) fn ray(&self, at: f64) -> f64 {
        (at - self.x) / self.y
    }

    /// A part of it.
    pub(super) fn part(&self, from: f64, to: f64) -> Self {
        let rays = [
            if from == self.from {
                self.rays[0]
            } else {
                self.ray(from)
            },
            if to == self.to {
                self.rays[1]
            } else {
                self.ray(to)
            },
        ];
        Self {
            from,
            to,
            rays,
            ..*self
        }
    }

    /// The distance at a place on the edge, mm.
    #[inline]
    pub(super) fn at(&self, along: f64) -> f64 {
        self.offset + length(along - self.x, self.y)
    }

    /// The least distance on it, mm.
    #[inline]
    pub(super) fn least(&self) -> f64 {
        self.at(self.x.max(self.from).min(self.to))
    }

    /// Where the way from the source to a point on the other side of the edge, `down` below it,
    /// crosses the edge; the end it bends round, if the straight way passes the window by.
    #[inline]
    pub(super) fn crossing(&self, along: f64, down: f64) -> f64 {
        let height = self.y + down;
        let straight = match height > 0.0 {
            true => self.x + (along - self.x) * self.y / height,
            false => along,
        };
        straight.max(self.from).min(self.to)
    }

    /// The length of the shortest way through the window to a point on the other side, mm:
    /// a way there is, so never less than the distance.
    #[inline]
    pub(super) fn through_to(&self, along: f64, down: f64) -> f64 {
        let crossing = self.crossing(along, down);
        self.at(crossing) + length(along - crossing, down)
    }
}

#[inline]
pub(super) fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// One window for two that follow each other, if that puts no distance off by more than
/// `tolerance` of itself, all earlier merging included.
///
/// Its source is where it must be for the distances at both its ends. It goes on to see all that
/// the two did. A way of length d whose direction is put off by an angle α comes out wrong by no
/// more than d α² / 8, wherever it bends.
///
/// Source: V. Surazhsky et al., "Fast exact and approximate geodesics on meshes", *ACM
/// Transactions on Graphics* 24, 2005, section 4, from memory; the bound kept here is on the
/// sum of what was put off on the way.
pub(super) fn merged(first: &Window, second: &Window, tolerance: f64) -> Option<Window> {
    let wider = match first.to - first.from < second.to - second.from {
        true => second,
        false => first,
    };
    let (from, to) = (first.from, second.to);
    let [near, far] = [first.at(from) - wider.offset, second.at(to) - wider.offset];
    let span = to - from;
    let along = 0.5 * ((near - far) * (near + far) / span + span);
    let squared = (near - along) * (near + along);
    // Also what is no number is refused.
    let seen = span > 0.0 && squared > 0.0 && near >= 0.0 && far >= 0.0;
    if !seen {
        return None;
    }
    let mut one = Window {
        from,
        to,
        x: from + along,
        y: squared.sqrt(),
        rays: [first.rays[0], second.rays[1]],
        next: NONE,
        ..*wider
    };
    let off = |window: &Window, at: f64| (one.at(at) - window.at(at)).abs();
    let moved = off(first, first.to)
        .max(off(second, second.from))
        .max(off(first, 0.5 * (first.from + first.to)))
        .max(off(second, 0.5 * (second.from + second.to)));
    let turned = turn(one.ray(from), first.rays[0])
        .max(turn(one.ray(first.to), first.ray(first.to)))
        .max(turn(one.ray(second.from), second.ray(second.from)))
        .max(turn(one.ray(to), second.rays[1]));
    one.error = first.error.or(second.error);
    one.error.mm += moved;
    one.error.share += turned / 8.0;
    let least = one.least();
    (one.error.mm + one.error.share * least <= tolerance * least).then_some(one)
}

/// The square of the sine of the angle between two rays.
fn turn(a: f64, b: f64) -> f64 {
    (a - b) * (a - b) / ((1.0 + a * a) * (1.0 + b * b))
}

/// What part of a stretch, on which two windows meet, the new one takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Contest {
    /// Nothing.
    Old,
    /// All.
    New,
    /// As far as a place.
    NewThenOld(f64),
    /// From a place on.
    OldThenNew(f64),
}

/// Compares two windows on a stretch from `lo` to `hi`, which is returned shortened where the
/// answer changes more than once. Where they are equal, the old one stays.
pub(super) fn contest(new: &Window, old: &Window, lo: f64, hi: f64) -> (Contest, f64) {
    let gain = |at: f64| old.at(at) - new.at(at);
    let least = 1e-11 * (1.0 + hi - lo);
    let (first, last) = (gain(lo) > least, gain(hi) > least);
    if first == last {
        // In between, one may be nearer at the foot of its source alone.
        let foot = if first { old.x } else { new.x };
        if foot > lo && foot < hi && (gain(foot) > least) != first {
            return (contest_ends(new, old, (lo, foot), first), foot);
        }
        return (if first { Contest::New } else { Contest::Old }, hi);
    }
    (contest_ends(new, old, (lo, hi), first), hi)
}

fn contest_ends(new: &Window, old: &Window, ends: (f64, f64), new_first: bool) -> Contest {
    let place = equal_between(new, old, ends.0, ends.1);
    match new_first {
        true => Contest::NewThenOld(place),
        false => Contest::OldThenNew(place),
    }
}

/// Where two windows have the same distance, between places at which one or the other is nearer.
fn equal_between(new: &Window, old: &Window, lo: f64, hi: f64) -> f64 {
    if new.offset == old.offset && new.x != old.x {
        // The points as far from one source as from the other lie on a straight line.
        let squares = (old.x - new.x) * (old.x + new.x) + (old.y - new.y) * (old.y + new.y);
        return (0.5 * squares / (old.x - new.x)).clamp(lo, hi);
    }
    // Regula falsi, by the Illinois rule.
    let gap = |at: f64| new.at(at) - old.at(at);
    let (mut a, mut b) = (lo, hi);
    let (mut at_a, mut at_b) = (gap(a), gap(b));
    let enough = 1e-12 * (hi - lo);
    for _ in 0..40 {
        let middle = match at_b - at_a {
            0.0 => 0.5 * (a + b),
            rise => (b - at_b * (b - a) / rise).clamp(a.min(b), a.max(b)),
        };
        let here = gap(middle);
        if (here < 0.0) == (at_b < 0.0) {
            at_a *= 0.5;
        } else {
            (a, at_a) = (b, at_b);
        }
        let step = (middle - b).abs();
        (b, at_b) = (middle, here);
        if step <= enough || here == 0.0 {
            break;
        }
    }
    b.clamp(lo, hi)
}
