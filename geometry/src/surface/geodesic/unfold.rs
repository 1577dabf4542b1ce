//! Where shortest ways from a point begin: each window's facets, from the point on, laid flat.
//!
//! A window came to its edge through a facet, and into that facet over another window, or round
//! a vertex, or from the point itself. So each edge is laid beside the one before it, once. The
//! ways through a window that bend at a vertex all leave the point in the direction in which the
//! shortest way to that vertex does.

use glam::{DVec2, DVec3};

use super::edges::ends;
use super::front::place_off;
use super::start::{Flat, Start, runs};
use super::window::length;
use super::{Distances, Front};
use crate::Mesh;

/// Where ways through a window, or round a vertex, begin.
#[derive(Clone, Copy, Debug)]
pub(super) enum Begin {
    /// They run straight: the window's edge laid flat, what is beyond it beside it.
    Flat(Flat),
    /// They all leave the point in this direction; of length 1.
    Bent(DVec2),
}

/// A window or a vertex, by its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Item {
    Window(u32),
    Vertex(u32),
}

/// What is known of an item.
#[derive(Clone, Copy, Debug)]
enum Known {
    Nothing,
    /// It waits for the one before it.
    Open,
    Begins(Begin),
    /// Nobody can say; nothing is laid over it.
    Lost,
}

/// What ways come over into a facet.
#[derive(Clone, Copy, Debug)]
enum Before {
    Base(u32),
    Item(Item, Front),
}

/// Lays windows flat, from the point on.
pub(super) struct Unfold<'a> {
    distances: &'a Distances,
    mesh: &'a Mesh,
    start: &'a Start,
    /// The share of a distance by which distances may differ and still count as equal.
    slack: f64,
    windows: Vec<Known>,
    vertices: Vec<Known>,
}

impl<'a> Unfold<'a> {
    pub(super) fn new(distances: &'a Distances, start: &'a Start, slack: f64) -> Self {
        Self {
            mesh: distances.surface.mesh(),
            start,
            slack,
            windows: vec![Known::Nothing; distances.edges.windows.len()],
            vertices: vec![Known::Nothing; distances.vertices.len()],
            distances,
        }
    }

    /// Where ways through a window begin.
    pub(super) fn window(&mut self, number: u32) -> Option<Begin> {
        self.find(Item::Window(number))
    }

    /// The direction in which the shortest way to a vertex leaves the point.
    pub(super) fn vertex(&mut self, number: u32) -> Option<DVec2> {
        match self.find(Item::Vertex(number))? {
            Begin::Bent(heading) => Some(heading),
            Begin::Flat(_) => None,
        }
    }

    fn known(&self, item: Item) -> Known {
        let known = match item {
            Item::Window(number) => self.windows.get(number as usize),
            Item::Vertex(number) => self.vertices.get(number as usize),
        };
        known.copied().unwrap_or(Known::Lost)
    }

    fn set(&mut self, item: Item, to: Known) {
        let known = match item {
            Item::Window(number) => self.windows.get_mut(number as usize),
            Item::Vertex(number) => self.vertices.get_mut(number as usize),
        };
        if let Some(known) = known {
            *known = to;
        }
    }

    fn find(&mut self, item: Item) -> Option<Begin> {
        // Those that wait, each for the one after it.
        let mut open: Vec<(Item, Option<Before>)> = vec![(item, None)];
        while let Some(&(item, before)) = open.last() {
            if matches!(self.known(item), Known::Begins(_) | Known::Lost) {
                open.pop();
                continue;
            }
            self.set(item, Known::Open);
            let before = before.filter(|b| !self.is_lost(b));
            let before = before.or_else(|| self.before(item));
            if let Some(Before::Item(earlier, _)) = before
                && matches!(self.known(earlier), Known::Nothing)
            {
                if let Some(last) = open.last_mut() {
                    last.1 = before;
                }
                open.push((earlier, None));
                continue;
            }
            let found = before.and_then(|before| self.begin(item, before));
            self.set(item, found.map_or(Known::Lost, Known::Begins));
            open.pop();
        }
        match self.known(item) {
            Known::Begins(begin) => Some(begin),
            _ => None,
        }
    }

    fn is_lost(&self, before: &Before) -> bool {
        match before {
            Before::Base(_) => false,
            Before::Item(earlier, _) => matches!(self.known(*earlier), Known::Lost),
        }
    }

    /// The facet that an item's ways come through, the side or the corner of it that it is, and a
    /// place on it.
    fn place(&self, item: Item) -> Option<(u32, usize, DVec3)> {
        match item {
            Item::Window(number) => {
                let window = self.distances.edges.windows.get(number as usize)?;
                let edge = self.distances.edges.edges.get(window.edge as usize)?;
                let (facet, side) = (edge.side / 3, edge.side as usize % 3);
                let others = self.distances.surface.adjacency().across(facet, side);
                let mut sides = std::iter::once((facet, side)).chain(others);
                let (facet, side) = sides.find(|(facet, _)| *facet == window.facet)?;
                let (start, end) = ends(self.mesh, facet, side);
                let [start, end] = [start, end].map(|v| self.mesh.vertices()[v as usize]);
                let middle = 0.5 * (window.from + window.to) / edge.length;
                Some((facet, side, start.lerp(end, middle)))
            }
            Item::Vertex(number) => {
                let vertex = self.distances.vertices.get(number as usize)?;
                let (facet, corner) = (vertex.corner / 3, vertex.corner as usize % 3);
                let at = *self.mesh.vertices().get(vertex.name as usize)?;
                vertex.distance.is_finite().then_some((facet, corner, at))
            }
        }
    }

    /// What the shortest way to an item comes over into the facet before it.
    fn before(&self, item: Item) -> Option<Before> {
        let (facet, own, place) = self.place(item)?;
        if let Some(base) = self.start.base_of(facet) {
            return Some(Before::Base(base));
        }
        let mut best: Option<(f64, Before)> = None;
        self.distances.named_fronts(facet, |front, number| {
            let (earlier, itself) = match (front, item) {
                (Front::Window { side, .. }, Item::Window(_)) => {
                    (Item::Window(number), usize::from(side) == own)
                }
                (Front::Corner { corner, .. }, Item::Window(_)) => (
                    Item::Vertex(number),
                    (usize::from(corner) + 3 - own) % 3 < 2,
                ),
                (Front::Corner { corner, .. }, Item::Vertex(_)) => {
                    (Item::Vertex(number), usize::from(corner) == own)
                }
                _ => (Item::Window(number), false),
            };
            if itself || matches!(self.known(earlier), Known::Open | Known::Lost) {
                return;
            }
            let mut far = front.distance(self.mesh, facet, place);
            if matches!(front, Front::Corner { .. }) {
                far *= 1.0 + self.slack;
            }
            if best.is_none_or(|(least, _)| far < least) {
                best = Some((far, Before::Item(earlier, front)));
            }
        });
        best.map(|(_, before)| before)
    }

    /// Where an item's ways begin, as those before it do.
    fn begin(&self, item: Item, before: Before) -> Option<Begin> {
        let (facet, own, place) = self.place(item)?;
        match (before, item) {
            (Before::Base(base), Item::Window(_)) => {
                self.start.side(self.mesh, base, own).map(Begin::Flat)
            }
            (Before::Base(base), Item::Vertex(_)) => {
                let local = self.start.local(base, place);
                let chart = self.start.chart_of(base);
                Some(Begin::Bent(self.start.heading(chart, local)))
            }
            (Before::Item(earlier, front), _) => {
                let Known::Begins(begin) = self.known(earlier) else {
                    return None;
                };
                let Begin::Flat(flat) = begin else {
                    return Some(begin);
                };
                let Front::Window { side, .. } = front else {
                    return None;
                };
                let side = usize::from(side);
                let seen = crossing(self.mesh, facet, &front, place, self.slack)?;
                if let (true, Item::Window(_)) = (seen.straight, item) {
                    let (start, end) = ends(self.mesh, facet, own);
                    let [a, b] = [start, end].map(|v| {
                        let at = self.mesh.vertices()[v as usize];
                        flat.at(place_off(self.mesh, (facet, side), at))
                    });
                    let turns = flat.left * runs(self.mesh, facet, side);
                    let left = -turns * runs(self.mesh, facet, own);
                    return Some(Begin::Flat(Flat::between(a, b, left, flat.chart)));
                }
                let local = flat.at(seen.towards);
                Some(Begin::Bent(self.start.heading(flat.chart, local)))
            }
        }
    }
}

/// How a way runs from a window to a point of the facet.
pub(super) struct Crossing {
    /// Whether it runs straight.
    pub(super) straight: bool,
    /// A place along and off the window's edge at which it left the point straight: the place
    /// itself, or the end of the window that it bends round.
    pub(super) towards: (f64, f64),
}

/// How the way runs from a window to a point of the facet; none if the front is no window.
pub(super) fn crossing(
    mesh: &Mesh,
    facet: u32,
    front: &Front,
    point: DVec3,
    slack: f64,
) -> Option<Crossing> {
    let Front::Window {
        side,
        from,
        to,
        x,
        y,
        offset,
    } = *front
    else {
        return None;
    };
    let (place, off) = place_off(mesh, (facet, usize::from(side)), point);
    let height = y + off;
    let at = match height > 0.0 {
        true => x + (place - x) * y / height,
        false => place,
    };
    let end = at.clamp(from, to);
    let bent = offset + length(end - x, y) + length(place - end, off);
    let straight = bent <= (offset + length(place - x, height)) * (1.0 + slack);
    Some(Crossing {
        straight,
        towards: if straight { (place, off) } else { (end, 0.0) },
    })
}
