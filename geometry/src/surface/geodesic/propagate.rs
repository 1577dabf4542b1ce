//! Windows carried from facet to facet, the nearest first.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use glam::DVec3;

use super::edges::{Changed, Edge, Edges, ends};
use super::fan::{Fan, Wedge, fan};
use super::names::NONE;
use super::names::Names;
use super::window::{Error, State, Window, length};
use crate::surface::Adjacency;
use crate::surface::facet::nearest_on_segment;
use crate::{Cancelled, Mesh, Progress, Surface};

/// How far windows are carried, and how exactly.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bounds {
    /// No farther from the sources than this, mm.
    pub(crate) reach_mm: f64,
    /// Only where a way may still come to within a distance of a straight piece, mm.
    pub(crate) tube: Option<([DVec3; 2], f64)>,
    /// The share of itself by which merging may put a distance off; 0 keeps all exact.
    pub(crate) tolerance: f64,
}

/// Why distances could not be found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Stopped {
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// There were more windows than may be.
    #[error("the skin is too complex for distances along it")]
    TooMany,
}

/// No more windows than this are kept: some 3 GB of them.
pub(super) const MOST_WINDOWS: usize = 40_000_000;

/// Nor more than so many, and so many for each edge, those that are gone counted. Sound skins have
/// far fewer. Where facets a millionth of a micron wide lie on each other, rounding makes
/// windows of windows without end.
const FEW_WINDOWS: usize = 20_000;
const WINDOWS_OF_EDGE: usize = 500;

/// A vertex that ways have come to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Vertex {
    /// The mesh's name of it.
    pub(super) name: u32,
    /// The shortest way found to it, mm.
    pub(super) distance: f64,
    /// What merging may have put off.
    error: Error,
    /// The corner that the way came through, written `3 * facet + corner`.
    pub(super) corner: u32,
    /// The angle there between the corner's own side and the way, rad; none if the way came
    /// along a side.
    angle: Option<f64>,
    /// Whether it has sent ways on.
    done: bool,
}

/// Windows and what waits to be carried on.
pub(super) struct Propagation<'a> {
    mesh: &'a Mesh,
    adjacency: &'a Adjacency,
    bounds: Bounds,
    pub(super) edge_names: Names,
    pub(super) vertex_names: Names,
    pub(super) edges: Edges,
    pub(super) vertices: Vec<Vertex>,
    queue: BinaryHeap<Event>,
    changed: Changed,
    /// Windows and vertices carried on: what the work is counted in.
    pub(super) steps: usize,
}

impl<'a> Propagation<'a> {
    /// `everywhere`, room is made for all of the mesh at once.
    pub(super) fn new(surface: &'a Surface, bounds: Bounds, everywhere: bool) -> Self {
        let mesh: &Mesh = surface.mesh();
        let names = |count: usize| match everywhere {
            true => Names::dense(count),
            false => Names::sparse(),
        };
        Self {
            mesh,
            adjacency: surface.adjacency(),
            bounds,
            edge_names: names(3 * mesh.triangles().len()),
            vertex_names: names(mesh.vertices().len()),
            edges: Edges::default(),
            vertices: Vec::new(),
            queue: BinaryHeap::new(),
            changed: Changed::new(),
            steps: 0,
        }
    }

    pub(super) fn mesh(&self) -> &'a Mesh {
        self.mesh
    }

    pub(super) fn adjacency(&self) -> &'a Adjacency {
        self.adjacency
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.mesh.vertices()[vertex as usize]
    }

    /// Carries everything on until nothing within the bounds waits.
    pub(super) fn run(&mut self, progress: &Progress) -> Result<(), Stopped> {
        while let Some(event) = self.queue.pop() {
            if event.distance > self.bounds.reach_mm {
                break;
            }
            match event.what {
                What::Window(window) => self.carry(window),
                What::Vertex(vertex) => self.turn_at(vertex, event.distance),
            }
            self.steps += 1;
            if self.steps.is_multiple_of(1024) {
                progress.check()?;
                if self.edges.windows.len() > self.most_windows() {
                    return Err(Stopped::TooMany);
                }
            }
        }
        Ok(())
    }

    /// How many windows there may be for the edges that ways have come to.
    fn most_windows(&self) -> usize {
        let for_edges = FEW_WINDOWS + WINDOWS_OF_EDGE * self.edges.edges.len();
        for_edges.min(MOST_WINDOWS)
    }

    /// The number of the edge that a side lies on; none if it has no length.
    pub(super) fn edge(&mut self, facet: u32, side: usize) -> Option<u32> {
        let name = self.adjacency.edge(facet, side);
        if let Some(known) = self.edge_names.get(name) {
            return Some(known);
        }
        let (first, last) = ends(self.mesh, facet, side);
        let length = self.at(first).distance(self.at(last));
        if length.is_nan() || length <= 0.0 {
            return None;
        }
        let edge = Edge {
            side: name,
            ends: [self.vertex(first), self.vertex(last)],
            length,
            first: NONE,
        };
        let number = self.edges.edges.len() as u32;
        self.edges.edges.push(edge);
        self.edge_names.set(name, number);
        Some(number)
    }

    /// The number of a vertex.
    pub(super) fn vertex(&mut self, name: u32) -> u32 {
        if let Some(known) = self.vertex_names.get(name) {
            return known;
        }
        let number = self.vertices.len() as u32;
        self.vertices.push(Vertex {
            name,
            distance: f64::INFINITY,
            error: Error::default(),
            corner: NONE,
            angle: None,
            done: false,
        });
        self.vertex_names.set(name, number);
        number
    }

    /// Tells a vertex of a way to it, mm long, through a corner.
    pub(super) fn offer(&mut self, corner: u32, distance: f64, error: Error, angle: Option<f64>) {
        let name = self.mesh.triangles()[corner as usize / 3][corner as usize % 3];
        let number = self.vertex(name);
        let vertex = &mut self.vertices[number as usize];
        if distance < vertex.distance * (1.0 - 1e-12) {
            (vertex.distance, vertex.error) = (distance, error);
            (vertex.corner, vertex.angle) = (corner, angle);
            vertex.done = false;
            let what = What::Vertex(number);
            self.queue.push(Event { distance, what });
        }
    }

    /// Puts a window on its edge, unless it is of no use.
    pub(super) fn put(&mut self, window: Window) {
        let edge = self.edges.edges[window.edge as usize];
        let usable = window.to - window.from > 1e-11 * edge.length
            && window.y > 0.0
            && window.rays.iter().all(|ray| ray.is_finite());
        if !usable || self.adjacency.is_rim(edge.side) {
            return;
        }
        let least = window.least();
        if least.is_nan() || least > self.bounds.reach_mm || self.is_detour(&edge, &window) {
            return;
        }
        if self.leads_astray(&edge, &window, least) {
            return;
        }
        let mut changed = std::mem::take(&mut self.changed);
        self.edges
            .insert(window, self.bounds.tolerance, &mut changed);
        for name in changed.drain(..) {
            let what = What::Window(name);
            let distance = self.edges.windows[name as usize].least();
            self.queue.push(Event { distance, what });
        }
        self.changed = changed;
    }

    /// Whether the way over one of the edge's ends is shorter for all of the window.
    ///
    /// Source: S.-Q. Xin, G.-J. Wang, "Improving Chen and Han's algorithm on the discrete
    /// geodesic problem", *ACM Transactions on Graphics* 28, 2009, from memory.
    fn is_detour(&self, edge: &Edge, window: &Window) -> bool {
        let [start, end] = edge.ends.map(|v| self.vertices[v as usize].distance);
        let slack = 1e-11 * edge.length;
        start + window.to + slack < window.at(window.to)
            || end + (edge.length - window.from) + slack < window.at(window.from)
    }

    /// Whether nothing that lies near enough to the tube can be reached through it.
    fn leads_astray(&self, edge: &Edge, window: &Window, least: f64) -> bool {
        let Some((ends, radius)) = self.bounds.tube else {
            return false;
        };
        let [start, end] = edge.ends.map(|v| self.at(self.vertices[v as usize].name));
        let half = 0.5 * (window.to - window.from);
        let middle = start.lerp(end, (window.from + half) / edge.length);
        let off = nearest_on_segment(ends[0], ends[1], middle).distance(middle);
        least + off - half - radius > self.bounds.reach_mm
    }

    fn carry(&mut self, name: u32) {
        let window = self.edges.windows[name as usize];
        if window.state != State::Waiting {
            return;
        }
        self.edges.windows[name as usize].state = State::Carried;
        let side = self.edges.edges[window.edge as usize].side;
        let adjacency = self.adjacency;
        let first = std::iter::once((side / 3, side as usize % 3));
        for (facet, side) in first.chain(adjacency.across(side / 3, side as usize % 3)) {
            if facet != window.facet {
                self.cross(&window, facet, side);
            }
        }
    }

    /// Carries a window over a facet, from one of its sides to the two others.
    fn cross(&mut self, window: &Window, facet: u32, side: usize) {
        let corners = self.mesh.triangles()[facet as usize];
        let turned = |i: usize| (side + i) % 3;
        let top = turned(2);
        // Laid flat as seen from the edge's start: its sides there, and at its end.
        let forward = corners[side] < corners[turned(1)];
        let (near_start, near_end) = match forward {
            true => (top, turned(1)),
            false => (turned(1), top),
        };
        let (start, end) = ends(self.mesh, facet, side);
        let (start, end, apex) = (self.at(start), self.at(end), self.at(corners[top]));
        let edge_length = self.edges.edges[window.edge as usize].length;
        let along = (apex - start).dot(end - start) / edge_length;
        let down = (end - start).cross(apex - start).length() / edge_length;

        self.reach_apex(window, (facet, top), forward, (along, down), edge_length);
        // On which side of the corner across the rays at its ends pass.
        let [first, last] = window.rays;
        let seen_left = window.from + first * down < along;
        let seen_right = window.to + last * down > along;
        if seen_left {
            let view = View {
                apex: (along, down),
                source: (window.x, window.y),
                from: (window.from, first),
                to: (!seen_right).then_some((window.to, last)),
            };
            self.pass(window, facet, near_start, corners[top], view);
        }
        if seen_right {
            let mirrored = |x: f64| edge_length - x;
            let view = View {
                apex: (mirrored(along), down),
                source: (mirrored(window.x), window.y),
                from: (mirrored(window.to), -last),
                to: (!seen_left).then_some((mirrored(window.from), -first)),
            };
            self.pass(window, facet, near_end, corners[top], view);
        }
    }

    /// Tells the corner across of the way to it.
    fn reach_apex(
        &mut self,
        window: &Window,
        (facet, top): (u32, usize),
        forward: bool,
        (along, down): (f64, f64),
        edge_length: f64,
    ) {
        let distance = window.through_to(along, down);
        let known = self.vertex(self.mesh.triangles()[facet as usize][top]);
        if distance >= self.vertices[known as usize].distance * (1.0 - 1e-12) {
            return;
        }
        // The angle from the side that begins at the corner; that leads to the edge's start
        // where the facet runs along the edge forwards.
        let crossing = window.crossing(along, down);
        let own = if forward { 0.0 } else { edge_length };
        let (to_own, to_way) = ((own - along, down), (crossing - along, down));
        let cross = (to_own.0 * to_way.1 - to_own.1 * to_way.0).abs();
        let angle = cross.atan2(to_own.0 * to_way.0 + to_own.1 * to_way.1);
        self.offer(3 * facet + top as u32, distance, window.error, Some(angle));
    }

    /// Puts what comes through a window on one of the two other sides, of which the far end is
    /// the corner across.
    fn pass(&mut self, window: &Window, facet: u32, side: usize, apex: u32, view: View) {
        let Some(number) = self.edge(facet, side) else {
            return;
        };
        let edge = self.edges.edges[number as usize];
        let (ax, ay) = view.apex;
        let (sx, sy) = view.source;
        let scale = length(ax, ay);
        let x = (sx * ax - sy * ay) / scale;
        let y = (ax * sy + ay * sx) / scale;
        // Where a ray through a place on the edge meets the side, and how it goes on there.
        let meets = |(place, ray): (f64, f64)| {
            let over = ax - ray * ay;
            let share = match over > 0.0 {
                true => (place.max(0.0) / over).min(1.0),
                false => 1.0,
            };
            (share * edge.length, (ray * ax + ay) / over)
        };
        let (from, first) = meets(view.from);
        let (to, last) = match view.to {
            Some(to) => meets(to),
            None => (edge.length, (edge.length - x) / y),
        };
        let ends_at_apex = self.vertices[edge.ends[1] as usize].name == apex;
        let (from, to, x, rays) = match ends_at_apex {
            true => (from, to, x, [first, last]),
            false => (
                edge.length - to,
                edge.length - from,
                edge.length - x,
                [-last, -first],
            ),
        };
        self.put(Window {
            from,
            to,
            x,
            y,
            rays,
            edge: number,
            facet,
            next: NONE,
            state: State::Waiting,
            ..*window
        });
    }

    /// Where ways may bend at a vertex, sends them on from it: into what no straight way over
    /// the vertex's facets reaches.
    fn turn_at(&mut self, number: u32, distance: f64) {
        let vertex = self.vertices[number as usize];
        if vertex.done || vertex.distance < distance {
            return;
        }
        self.vertices[number as usize].done = true;
        let corner = (vertex.corner / 3, vertex.corner as usize % 3);
        match fan(self.mesh, self.adjacency, corner) {
            Fan::Around { wedges, whole } => {
                let Some(own) = vertex.angle else {
                    return self.send(&vertex, wedges.iter().map(|w| (w, None)));
                };
                // Merging may have turned the way that came.
                let slack = ANGLE_SLACK + (8.0 * vertex.error.share).sqrt();
                let half = std::f64::consts::PI;
                if whole - 2.0 * half <= 2.0 * ANGLE_SLACK {
                    return;
                }
                let shadow = (half + own - slack, whole - half + own + slack);
                let dark = wedges.iter().filter_map(|wedge| {
                    let from = (shadow.0 - wedge.from).max(0.0);
                    let to = (shadow.1 - wedge.from).min(wedge.to - wedge.from);
                    (from < to).then_some((wedge, Some((from, to))))
                });
                self.send(&vertex, dark);
            }
            // At a rim ways bend where the surface turns by more than half.
            Fan::Open { whole, .. } if whole <= std::f64::consts::PI && vertex.angle.is_some() => {}
            Fan::Open { wedges, .. } => self.send(&vertex, wedges.iter().map(|w| (w, None))),
        }
    }

    /// Sends ways from a vertex over some of the facets at it, within angles or over all.
    fn send<'w>(
        &mut self,
        vertex: &Vertex,
        wedges: impl Iterator<Item = (&'w Wedge, Option<(f64, f64)>)>,
    ) {
        for (wedge, angles) in wedges {
            let (facet, corner) = (wedge.facet, wedge.corner);
            let [next, last] = [1, 2].map(|i| (corner + i) % 3);
            let triangle = self.mesh.triangles()[facet as usize];
            let [own, a, b] = [corner, next, last].map(|i| self.at(triangle[i]));
            for (end, at) in [(next, a), (last, b)] {
                let away = vertex.distance + own.distance(at);
                self.offer(3 * facet + end as u32, away, vertex.error, None);
            }
            let Some(number) = self.edge(facet, next) else {
                continue;
            };
            let edge = self.edges.edges[number as usize];
            let (start, end) = match triangle[next] < triangle[last] {
                true => (a, b),
                false => (b, a),
            };
            let x = (own - start).dot(end - start) / edge.length;
            let y = (end - start).cross(own - start).length() / edge.length;
            let (mut from, mut to) = (0.0, edge.length);
            if let Some(angles) = angles {
                // Seen from the vertex, with the wedge's first side along the x axis.
                let entered_at_start = (wedge.entry == next) == (triangle[next] < triangle[last]);
                let first = if entered_at_start { start } else { end };
                let places = [angles.0, angles.1].map(|angle| {
                    wedge.meets(
                        own.distance(first),
                        edge.length,
                        (x, y),
                        angle,
                        entered_at_start,
                    )
                });
                (from, to) = match entered_at_start {
                    true => (places[0], places[1]),
                    false => (edge.length - places[1], edge.length - places[0]),
                };
            }
            self.put(Window {
                from,
                to,
                x,
                y,
                rays: [from, to].map(|at| (at - x) / y),
                offset: vertex.distance,
                error: vertex.error,
                edge: number,
                facet,
                next: NONE,
                state: State::Waiting,
            });
        }
    }
}

/// Angles may be off by this much, rad: more surface than that about a vertex bends ways.
const ANGLE_SLACK: f64 = 1e-7;

/// A window seen from one end of its edge, with the corner across below.
struct View {
    apex: (f64, f64),
    source: (f64, f64),
    /// Where it begins, and the ray there.
    from: (f64, f64),
    /// Where it ends, and the ray there; none if it sees the corner across.
    to: Option<(f64, f64)>,
}

/// Something to be carried on.
#[derive(Clone, Copy, Debug)]
struct Event {
    distance: f64,
    what: What,
}

#[derive(Clone, Copy, Debug)]
enum What {
    Window(u32),
    Vertex(u32),
}

impl PartialEq for Event {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Event {}

impl PartialOrd for Event {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Event {
    /// The nearest is the greatest, so that a heap gives it first.
    fn cmp(&self, other: &Self) -> Ordering {
        other.distance.total_cmp(&self.distance)
    }
}
