//! The windows on each edge: in order, none over another, each where it is the nearest.

use smallvec::SmallVec;

use super::names::NONE;
use super::window::{Contest, State, Window, contest, merged};
use crate::Mesh;

/// Windows narrower than this share of their edge are left out.
const NARROW: f64 = 1e-11;

/// Windows that are this share of their edge apart may still be merged.
const APART: f64 = 1e-6;

/// An edge that windows have come to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// One of the sides on it, written `3 * facet + side`, the same for all that ask.
    pub(super) side: u32,
    /// Its ends, as the propagation numbers vertices; it starts at the one of the lower name.
    pub(super) ends: [u32; 2],
    /// Its length, mm.
    pub(super) length: f64,
    /// Its first window, or [`NONE`].
    pub(super) first: u32,
}

/// Edges and their windows.
#[derive(Default)]
pub(super) struct Edges {
    pub(super) edges: Vec<Edge>,
    pub(super) windows: Vec<Window>,
}

/// Windows that wait, new or changed.
pub(super) type Changed = SmallVec<[u32; 4]>;

impl Edges {
    /// The windows on an edge, in order, each with its number.
    pub(super) fn on(&self, edge: u32) -> impl Iterator<Item = (u32, &Window)> + '_ {
        let mut at = self.edges[edge as usize].first;
        std::iter::from_fn(move || {
            let (name, window) = (at, self.windows.get(at as usize)?);
            at = window.next;
            Some((name, window))
        })
    }

    /// Puts a window on its edge, as far as it is nearer there than what is there, and merges
    /// it with its neighbours where `tolerance` allows it. `changed` gets all that is to be
    /// carried on.
    pub(super) fn insert(&mut self, new: Window, tolerance: f64, changed: &mut Changed) {
        let edge = self.edges[new.edge as usize];
        let narrow = NARROW * edge.length;
        let (mut lo, hi) = (new.from, new.to);
        let (mut before, mut at) = (NONE, edge.first);
        // Where the present run of what the new one takes began; it ends at `lo`.
        let mut run = None;
        while hi - lo > narrow {
            if at == NONE {
                run.get_or_insert(lo);
                lo = hi;
                break;
            }
            let old = self.windows[at as usize];
            if old.to <= lo + narrow {
                (before, at) = (at, old.next);
                continue;
            }
            if old.from > lo + narrow {
                run.get_or_insert(lo);
                lo = old.from.min(hi);
                continue;
            }
            let (outcome, end) = contest(&new, &old, lo, old.to.min(hi));
            match outcome {
                Contest::Old => {
                    before = self.end_run(&new, &mut run, lo, (before, at), tolerance, changed);
                    lo = end;
                }
                Contest::New => {
                    run.get_or_insert(lo);
                    (before, at) = self.cut_out(before, at, (lo, end), narrow, changed);
                    lo = end;
                }
                Contest::NewThenOld(place) => {
                    run.get_or_insert(lo);
                    (before, at) = self.cut_out(before, at, (lo, place), narrow, changed);
                    before = self.end_run(&new, &mut run, place, (before, at), tolerance, changed);
                    lo = end;
                }
                Contest::OldThenNew(place) => {
                    before = self.end_run(&new, &mut run, lo, (before, at), tolerance, changed);
                    (before, at) = self.cut_out(before, at, (place, end), narrow, changed);
                    run = Some(place);
                    lo = end;
                }
            }
        }
        let links = (before, at);
        self.end_run(&new, &mut run, lo, links, tolerance, changed);
    }

    /// Ends a run of the new window at `end`, and puts it between two others. Returns what is
    /// before the second of them then.
    fn end_run(
        &mut self,
        new: &Window,
        run: &mut Option<f64>,
        end: f64,
        (before, at): (u32, u32),
        tolerance: f64,
        changed: &mut Changed,
    ) -> u32 {
        let Some(begin) = run.take() else {
            return before;
        };
        // What is narrower might lie before a narrow window that was passed by.
        let length = self.edges[new.edge as usize].length;
        if end - begin <= NARROW * length {
            return before;
        }
        let mut piece = new.part(begin, end);
        piece.state = State::Waiting;
        // What waits on either side, and came through the same facet, may be made one with it.
        let apart = APART * length;
        let mergeable = |w: &Window| w.state == State::Waiting && w.facet == new.facet;
        if tolerance > 0.0
            && let Some(last) = self.windows.get(before as usize)
            && mergeable(last)
            && begin - last.to <= apart
            && let Some(one) = merged(last, &piece, tolerance)
        {
            let next = self.windows[before as usize].next;
            self.windows[before as usize] = Window { next, ..one };
            changed.push(before);
            return before;
        }
        if tolerance > 0.0
            && let Some(next) = self.windows.get(at as usize)
            && mergeable(next)
            && next.from - end <= apart
            && let Some(one) = merged(&piece, next, tolerance)
        {
            let next = self.windows[at as usize].next;
            self.windows[at as usize] = Window { next, ..one };
            changed.push(at);
            return before;
        }
        let name = self.windows.len() as u32;
        piece.next = at;
        self.windows.push(piece);
        self.link(new.edge, before, name);
        changed.push(name);
        name
    }

    /// Takes a stretch out of an old window, of which it is a part or nearly so. Returns what is
    /// before the stretch then, and what is after it.
    fn cut_out(
        &mut self,
        before: u32,
        at: u32,
        (lo, hi): (f64, f64),
        narrow: f64,
        changed: &mut Changed,
    ) -> (u32, u32) {
        let old = self.windows[at as usize];
        let (left, right) = (lo - old.from > narrow, old.to - hi > narrow);
        match (left, right) {
            (false, false) => {
                self.windows[at as usize].state = State::Gone;
                self.link(old.edge, before, old.next);
                (before, old.next)
            }
            (true, false) => {
                self.windows[at as usize] = old.part(old.from, lo);
                (at, old.next)
            }
            (false, true) => {
                self.windows[at as usize] = old.part(hi, old.to);
                (before, at)
            }
            (true, true) => {
                let name = self.windows.len() as u32;
                self.windows.push(old.part(hi, old.to));
                if old.state == State::Waiting {
                    changed.push(name);
                }
                let left = old.part(old.from, lo);
                self.windows[at as usize] = Window { next: name, ..left };
                (at, name)
            }
        }
    }

    fn link(&mut self, edge: u32, before: u32, to: u32) {
        match self.windows.get_mut(before as usize) {
            Some(window) => window.next = to,
            None => self.edges[edge as usize].first = to,
        }
    }
}

/// The ends of a side by the mesh's names, the lower name first: so its edge runs.
pub(super) fn ends(mesh: &Mesh, facet: u32, side: usize) -> (u32, u32) {
    let corners = mesh.triangles()[facet as usize];
    let (a, b) = (corners[side], corners[(side + 1) % 3]);
    (a.min(b), a.max(b))
}
