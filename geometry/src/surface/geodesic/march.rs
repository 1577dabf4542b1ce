//! Distances along the skin, marched from vertex to vertex.
//!
//! Fast marching (R. Kimmel, J. A. Sethian, "Computing geodesic paths on manifolds",
//! *PNAS* 95, 1998, from memory) with two changes. The distance across a triangle is not
//! that of a flat front but of a round one, whose centre is found by unfolding the two
//! known corners (M. Novotni, R. Klein, "Computing geodesic distances on triangular
//! meshes", *WSCG* 2002, from memory), so it is exact on a flat or unfolded surface
//! however coarse. And a vertex may be improved after its turn, which takes care of obtuse
//! triangles without looking for virtual edges.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use glam::DVec3;

use crate::surface::bisection::Bisection;
use crate::surface::turns::Turn;
use crate::{Cancelled, Progress, Surface};

/// A front at a vertex.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Front {
    /// Distance from the sources, mm.
    pub(crate) distance: f64,
    /// How far back the centre of the front lies, mm; infinite for a straight front.
    pub(crate) radius: f64,
}

impl Front {
    /// The same front after the surface beneath has bent it: a bulge holds it back, a
    /// saddle spreads it. This is the Riccati equation of geodesic curvature over one step
    /// (M. P. do Carmo, *Differential Geometry of Curves and Surfaces*, 1976, section 4-5,
    /// from memory). A front is never taken for hollow.
    fn bent(self, step: f64, gauss: f64) -> Self {
        let curvature = 1.0 / self.radius - step * gauss;
        let radius = if curvature > 0.0 {
            (1.0 / curvature).max(step)
        } else {
            f64::INFINITY
        };
        Self { radius, ..self }
    }
}

const UNREACHED: Front = Front {
    distance: f64::INFINITY,
    radius: f64::INFINITY,
};

/// The marching: fronts at all vertices of a bisection.
pub(crate) struct March<'a> {
    mesh: &'a Bisection,
    fronts: Vec<Front>,
    heap: BinaryHeap<Reverse<(Ordered, u32)>>,
    around: Around,
    surface: &'a Surface,
    /// Gains smaller than this are not worth another round.
    least_gain: f64,
}

impl<'a> March<'a> {
    pub(crate) fn new(mesh: &'a Bisection, surface: &'a Surface) -> Self {
        let count = mesh.vertices.len();
        let around = Around::new(mesh);
        Self {
            surface,
            fronts: vec![UNREACHED; count],
            heap: BinaryHeap::with_capacity(count / 4),
            around,
            mesh,
            least_gain: 1e-9,
        }
    }

    /// Sets a vertex's front, if that is nearer than what it has.
    pub(crate) fn seed(&mut self, vertex: u32, front: Front) {
        self.offer(vertex, front);
    }

    /// Marches until all vertices up to a distance are done.
    pub(crate) fn run(&mut self, limit_mm: f64, progress: &Progress) -> Result<(), Cancelled> {
        let mut turns = 0usize;
        while let Some(Reverse((Ordered(distance), vertex))) = self.heap.pop() {
            if distance > self.fronts[vertex as usize].distance {
                continue;
            }
            if distance > limit_mm {
                break;
            }
            self.spread(vertex);
            turns += 1;
            if turns.is_multiple_of(4096) {
                progress.check()?;
                progress.set(turns as f32 / self.fronts.len() as f32);
            }
        }
        Ok(())
    }

    /// The distances at all vertices, mm.
    pub(crate) fn into_distances(self) -> Vec<f64> {
        self.fronts.iter().map(|f| f.distance).collect()
    }

    fn spread(&mut self, vertex: u32) {
        let (start, end) = self.around.range(vertex);
        for i in start..end {
            let corner = self.around.corners[i];
            let (node, turn) = (corner / 3, corner as usize % 3);
            let corners = self.mesh.nodes[node as usize].corners;
            let [x, y] = [corners[(turn + 1) % 3], corners[(turn + 2) % 3]];
            self.across(vertex, y, x);
            self.across(vertex, x, y);
            self.along(vertex, x);
            self.along(vertex, y);
        }
    }

    /// What is around a vertex; those that came by cutting lie on flat ground.
    fn turn(&self, vertex: u32) -> Turn {
        let turns = self.surface.turns();
        let name = self.mesh.name(vertex, turns.len());
        name.map_or_else(Turn::default, |v| turns[v as usize])
    }

    fn at(&self, vertex: u32) -> DVec3 {
        self.mesh.vertices[vertex as usize]
    }

    /// Carries the front from one vertex to the next along their edge.
    fn along(&mut self, from: u32, to: u32) {
        let front = self.fronts[from as usize];
        if self.fronts[to as usize].distance <= front.distance {
            return;
        }
        let length = self.at(from).distance(self.at(to));
        // A shortest way bends only where it goes round a corner; there a new circle begins.
        let turn = self.turn(from);
        let radius = if turn.bends {
            length
        } else {
            front.radius + length
        };
        let distance = front.distance + length;
        self.offer(to, Front { distance, radius }.bent(length, turn.gauss));
    }

    /// Carries the front over the edge between two vertices to a third.
    fn across(&mut self, first: u32, second: u32, to: u32) {
        let (f, s) = (self.fronts[first as usize], self.fronts[second as usize]);
        // Nothing is nearer than the nearer end of the edge that its front comes over.
        let known = self.fronts[to as usize].distance;
        if !s.distance.is_finite() || known <= f.distance.min(s.distance) {
            return;
        }
        let edge = Unfolded::new(self.at(first), self.at(second), self.at(to));
        if let Some(front) = edge.and_then(|e| e.carry(f, s)) {
            let step = front.distance - f.distance.min(s.distance);
            let gauss = 0.5 * (self.turn(first).gauss + self.turn(second).gauss);
            self.offer(to, front.bent(step, gauss));
        }
    }

    fn offer(&mut self, vertex: u32, front: Front) {
        let known = &mut self.fronts[vertex as usize];
        if front.distance < known.distance - self.least_gain {
            *known = front;
            self.heap.push(Reverse((Ordered(front.distance), vertex)));
        } else if front.distance <= known.distance + self.least_gain {
            known.radius = known.radius.max(front.radius);
        }
    }
}

/// A triangle laid flat with an edge on the x axis, from the origin.
struct Unfolded {
    length: f64,
    x: f64,
    y: f64,
}

impl Unfolded {
    fn new(first: DVec3, second: DVec3, third: DVec3) -> Option<Self> {
        let edge = second - first;
        let length = edge.length();
        let side = third - first;
        let x = side.dot(edge) / length;
        let y = (side.length_squared() - x * x).max(0.0).sqrt();
        (length > 0.0 && y > 0.0).then_some(Self { length, x, y })
    }

    /// The front at the third corner, if it comes through the edge.
    fn carry(&self, first: Front, second: Front) -> Option<Front> {
        let nearer = first.distance.min(second.distance);
        let (a, b) = (first.radius, second.radius);
        if a.max(b) > 2.0 * a.min(b) && a.min(b) < 4.0 * self.length {
            // One corner lies behind a bend, and its new centre is right for what is
            // behind the bend with it; the other's for the rest.
            let offsets = [first.distance - a, second.distance - b];
            let late = offsets[0].max(offsets[1]).min(nearer);
            let early = offsets[0].min(offsets[1]);
            return self
                .carry_from(first.distance, second.distance, late)
                .or_else(|| self.carry_from(first.distance, second.distance, early));
        }
        let middle = 0.5 * (first.distance + second.distance);
        let radius = 2.0 / (1.0 / a + 1.0 / b);
        self.carry_from(
            first.distance,
            second.distance,
            (middle - radius).min(nearer),
        )
    }

    /// As if the front had left its centre when `offset` mm were already behind it.
    fn carry_from(&self, first: f64, second: f64, offset: f64) -> Option<Front> {
        let (p, q) = (first - offset, second - offset);
        if !(p.is_finite() && q.is_finite()) || p > 1e7 * self.length {
            return self.carry_straight(first, second);
        }
        let centre = ((p - q) * (p + q) / self.length + self.length) * 0.5;
        let squared = p * p - centre * centre;
        if squared < -1e-12 * p * p {
            return None;
        }
        let depth = squared.max(0.0).sqrt();
        let through = centre + (self.x - centre) * depth / (depth + self.y);
        if !self.in_edge(through) {
            return None;
        }
        let radius = (self.x - centre).hypot(self.y + depth);
        let distance = offset + radius;
        Some(Front { distance, radius })
    }

    fn carry_straight(&self, first: f64, second: f64) -> Option<Front> {
        let slope = (second - first) / self.length;
        let forward = (1.0 - slope * slope).max(0.0).sqrt();
        let through = self.x - slope * self.y / forward;
        if !self.in_edge(through) {
            return None;
        }
        Some(Front {
            distance: first + slope * self.x + forward * self.y,
            radius: f64::INFINITY,
        })
    }

    fn in_edge(&self, x: f64) -> bool {
        let slack = 1e-9 * self.length;
        x >= -slack && x <= self.length + slack
    }
}

/// The whole triangles around each vertex, as `3 * node + corner`.
struct Around {
    starts: Vec<u32>,
    corners: Vec<u32>,
}

impl Around {
    fn new(mesh: &Bisection) -> Self {
        let mut starts = vec![0u32; mesh.vertices.len() + 1];
        let leaves: Vec<u32> = mesh.leaves().collect();
        for &leaf in &leaves {
            for v in mesh.nodes[leaf as usize].corners {
                starts[v as usize + 1] += 1;
            }
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        let mut fill = starts.clone();
        let mut corners = vec![0; 3 * leaves.len()];
        for &leaf in &leaves {
            for (i, v) in mesh.nodes[leaf as usize].corners.into_iter().enumerate() {
                corners[fill[v as usize] as usize] = 3 * leaf + i as u32;
                fill[v as usize] += 1;
            }
        }
        Self { starts, corners }
    }

    fn range(&self, vertex: u32) -> (usize, usize) {
        let v = vertex as usize;
        (self.starts[v] as usize, self.starts[v + 1] as usize)
    }
}

/// A distance as a heap's key.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Ordered(f64);

impl Eq for Ordered {}

impl PartialOrd for Ordered {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ordered {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}
