//! The skin about a point, laid in the plane that touches it there; and straight ways from it.
//!
//! A point within a facet, or on an edge, has the plane of its facet, the facet beyond the edge
//! laid flat in it. About a vertex angles are scaled so that they come to a full turn together
//! (K. Polthier, M. Schmies, "Straightest geodesics on polyhedral surfaces", in *Mathematical
//! Visualization*, 1998, from memory). At a rim they stay as they are.

use std::f64::consts::{PI, TAU};

use glam::{DVec2, DVec3};

use super::edges::ends;
use super::fan::{Fan, Wedges, fan};
use super::seed::{ON, longest};
use crate::surface::Adjacency;
use crate::surface::facet::nearest_on_segment;
use crate::{Mesh, Surface, SurfacePoint};

/// No straight way is followed over more facets than this.
const MOST_FACETS: usize = 100_000;

/// An edge laid flat, with a facet on one side of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flat {
    /// Where it starts, mm from the middle.
    pub(super) start: DVec2,
    /// Its direction; of length 1.
    pub(super) along: DVec2,
    /// 1 if the facet lies to its left, −1 if to its right.
    pub(super) left: f64,
    /// The chart that it is laid in.
    pub(super) chart: u32,
}

impl Flat {
    /// A point of the facet, so far along the edge and so far off it.
    pub(super) fn at(&self, (along, off): (f64, f64)) -> DVec2 {
        self.start + self.along * along + self.along.perp() * (self.left * off)
    }

    /// The edge between two such points, with a facet to its left or right.
    pub(super) fn between(start: DVec2, end: DVec2, left: f64, chart: u32) -> Self {
        Self {
            start,
            along: (end - start).try_normalize().unwrap_or(DVec2::X),
            left,
            chart,
        }
    }
}

/// How angles about the middle, as facets have them, lie in the plane that touches the skin.
#[derive(Clone, Copy, Debug)]
struct Chart {
    /// Angle 0 lies at this one, rad.
    turn: f64,
    /// And so many times as wide is each.
    scale: f64,
    /// An angle in the middle of those that it is for, as they lie in the plane.
    mid: f64,
}

/// A facet that has the middle in it, or on a side of it.
#[derive(Clone, Copy, Debug)]
struct Base {
    facet: u32,
    /// A line in its plane that leaves all of it on one side: a point of it, and its direction.
    from: DVec3,
    along: DVec3,
    /// That line, laid flat.
    flat: Flat,
    /// 1 if its corners run anticlockwise there, −1 if clockwise.
    turns: f64,
}

/// 1 if a side runs along its edge, −1 if against it.
pub(super) fn runs(mesh: &Mesh, facet: u32, side: usize) -> f64 {
    match ends(mesh, facet, side).0 == mesh.triangles()[facet as usize][side] {
        true => 1.0,
        false => -1.0,
    }
}

impl Base {
    fn local(&self, point: DVec3) -> DVec2 {
        let from = point - self.from;
        let off = from.cross(self.along).length();
        self.flat.at((from.dot(self.along), off))
    }
}

/// The skin about a point, laid in the plane that touches it there.
#[derive(Clone, Debug)]
pub(crate) struct Start {
    at: SurfacePoint,
    /// To the right and up, as one looks at the skin from outside.
    axes: [DVec3; 2],
    charts: Vec<Chart>,
    bases: Vec<Base>,
}

impl Start {
    /// About a point of a facet that has an area. `up` need not lie in its plane; where it is
    /// upright on it, any direction is up.
    pub(crate) fn new(surface: &Surface, at: SurfacePoint, up: DVec3) -> Self {
        let normal = surface.normal(at.facet);
        let right = up
            .cross(normal)
            .try_normalize()
            .unwrap_or_else(|| normal.any_orthonormal_vector());
        let mut start = Self {
            at,
            axes: [right, normal.cross(right)],
            charts: Vec::new(),
            bases: Vec::new(),
        };
        let (mesh, adjacency): (&Mesh, _) = (surface.mesh(), surface.adjacency());
        let corners = mesh.corners(at.facet as usize);
        let near = ON * longest(corners);
        let vertex = (0..3).find(|&i| corners[i].distance(at.point_mm) <= near);
        match vertex.map(|corner| (corner, fan(mesh, adjacency, (at.facet, corner)))) {
            Some((corner, Fan::Around { wedges, whole })) if whole > 0.0 => {
                start.put_around(mesh, corner, &wedges, whole);
            }
            _ => start.put_flat(corners),
        }
        start.put_others(mesh, adjacency);
        start
    }

    /// The facet of the point, in its own plane.
    fn put_flat(&mut self, corners: [DVec3; 3]) {
        let side = |i: usize| corners[(i + 1) % 3] - corners[i];
        let first = (0..3).fold(0, |best, i| {
            if side(i).length() > side(best).length() {
                i
            } else {
                best
            }
        });
        let (from, along) = (corners[first], side(first).normalize_or_zero());
        let flat = |v: DVec3| DVec2::from_array(self.axes.map(|axis| v.dot(axis)));
        let start = flat(from - self.at.point_mm);
        let flat = Flat::between(start, start + flat(along), 1.0, 0);
        self.charts.push(Chart {
            turn: 0.0,
            scale: 1.0,
            mid: 0.0,
        });
        self.bases.push(Base {
            facet: self.at.facet,
            from,
            along,
            flat,
            turns: 1.0,
        });
    }

    /// The facets that close around a vertex.
    fn put_around(&mut self, mesh: &Mesh, corner: usize, wedges: &Wedges, whole: f64) {
        let own = mesh.corners(self.at.facet as usize);
        let first = own[(corner + 1) % 3] - own[corner];
        // From the first side to the right, anticlockwise as one looks from outside.
        let [right, up] = self.axes.map(|axis| first.dot(axis));
        let right_at = -up.atan2(right);
        let scale = TAU / whole;
        for wedge in wedges {
            let corners = mesh.corners(wedge.facet as usize);
            let along = (corners[wedge.entry] - corners[wedge.corner]).normalize_or_zero();
            let chart = self.charts.len() as u32;
            let turn = scale * (wedge.from - right_at);
            self.charts.push(Chart {
                turn,
                scale,
                mid: turn + 0.5 * scale * (wedge.to - wedge.from),
            });
            self.bases.push(Base {
                facet: wedge.facet,
                from: corners[wedge.corner],
                along,
                flat: Flat::between(DVec2::ZERO, DVec2::X, 1.0, chart),
                turns: match wedge.entry == (wedge.corner + 1) % 3 {
                    true => 1.0,
                    false => -1.0,
                },
            });
        }
    }

    /// All facets beyond sides on which the point lies, beside those that are laid.
    fn put_others(&mut self, mesh: &Mesh, adjacency: &Adjacency) {
        let mut next = 0;
        while let Some(&base) = self.bases.get(next) {
            next += 1;
            for side in self.sides_at(mesh, base.facet) {
                for (facet, other) in adjacency.across(base.facet, side) {
                    if self.base_of(facet).is_some() {
                        continue;
                    }
                    let (start, end) = ends(mesh, facet, other);
                    let [start, end] = [start, end].map(|v| mesh.vertices()[v as usize]);
                    let left = -base.turns * runs(mesh, base.facet, side);
                    let [a, b] = [start, end].map(|p| base.local(p));
                    self.bases.push(Base {
                        facet,
                        from: start,
                        along: (end - start).normalize_or_zero(),
                        flat: Flat::between(a, b, left, base.flat.chart),
                        turns: left * runs(mesh, facet, other),
                    });
                }
            }
        }
    }

    /// The sides of a facet on which the point lies.
    fn sides_at(&self, mesh: &Mesh, facet: u32) -> impl Iterator<Item = usize> + use<> {
        let corners = mesh.corners(facet as usize);
        let (near, point) = (ON * longest(corners), self.at.point_mm);
        (0..3).filter(move |&i| {
            let foot = nearest_on_segment(corners[i], corners[(i + 1) % 3], point);
            foot.distance(point) <= near
        })
    }

    /// Where it is.
    pub(crate) fn at(&self) -> SurfacePoint {
        self.at
    }

    /// To the right and up, as one looks at the skin from outside; of length 1.
    pub(crate) fn axes(&self) -> [DVec3; 2] {
        self.axes
    }

    /// The number of the base that a facet is.
    pub(super) fn base_of(&self, facet: u32) -> Option<u32> {
        let place = self.bases.iter().position(|base| base.facet == facet)?;
        Some(place as u32)
    }

    /// A point of a base, laid flat.
    pub(super) fn local(&self, base: u32, point: DVec3) -> DVec2 {
        self.bases
            .get(base as usize)
            .map_or(DVec2::ZERO, |base| base.local(point))
    }

    /// The edge of a side of a base, laid flat, with what is beyond it beside it.
    pub(super) fn side(&self, mesh: &Mesh, base: u32, side: usize) -> Option<Flat> {
        let base = self.bases.get(base as usize)?;
        let (start, end) = ends(mesh, base.facet, side);
        let [start, end] = [start, end].map(|v| base.local(mesh.vertices()[v as usize]));
        let left = -base.turns * runs(mesh, base.facet, side);
        Some(Flat::between(start, end, left, base.flat.chart))
    }

    /// The chart that a base is laid in.
    pub(super) fn chart_of(&self, base: u32) -> u32 {
        self.bases.get(base as usize).map_or(0, |b| b.flat.chart)
    }

    /// The direction in the plane that touches the skin of a place as a chart has it; of length 1.
    pub(super) fn heading(&self, chart: u32, place: DVec2) -> DVec2 {
        let Some(chart) = self.charts.get(chart as usize) else {
            return DVec2::X;
        };
        match chart.scale == 1.0 && chart.turn == 0.0 {
            true => place.try_normalize().unwrap_or(DVec2::X),
            false => DVec2::from_angle(chart.turn + chart.scale * place.y.atan2(place.x)),
        }
    }

    /// The end of a straight way along the skin, mm to the right and up from the point, and the
    /// outward direction there. Where the skin ends, the way goes straight on.
    pub(crate) fn walk(&self, surface: &Surface, on: DVec2) -> (DVec3, DVec3) {
        let (mesh, adjacency): (&Mesh, _) = (surface.mesh(), surface.adjacency());
        let mut point = self.at.point_mm;
        let mut left_mm = on.length();
        let Some((mut facet, mut ahead)) = self.leaves(mesh, on) else {
            return (point, surface.normal(self.at.facet));
        };
        let mut entry = None;
        for _ in 0..MOST_FACETS {
            let Some((side, by_mm)) = exit(mesh, facet, entry, point, ahead) else {
                break;
            };
            let beyond = adjacency.across(facet, side).next();
            let Some((next, over)) = beyond.filter(|_| by_mm < left_mm) else {
                break;
            };
            point += ahead * by_mm;
            left_mm -= by_mm;
            let corners = mesh.corners(next as usize);
            let edge = (corners[(over + 1) % 3] - corners[over]).normalize_or_zero();
            let into = inwards(corners, over);
            let along = edge * ahead.dot(edge);
            ahead = (along + into * (ahead - along).length()).normalize_or_zero();
            (facet, entry) = (next, Some(over));
        }
        (point + ahead * left_mm, surface.normal(facet))
    }

    /// The base into which a way in a direction leads, and its direction there.
    fn leaves(&self, mesh: &Mesh, on: DVec2) -> Option<(u32, DVec3)> {
        let angle = on.to_angle();
        let into = |base: &Base| {
            let chart = self.charts.get(base.flat.chart as usize)?;
            let off = (angle - chart.mid + PI).rem_euclid(TAU) - PI;
            let own = DVec2::from_angle((chart.mid + off - chart.turn) / chart.scale);
            let corners = mesh.corners(base.facet as usize);
            let off_line = |p: &DVec3| (*p - base.from).reject_from(base.along);
            let off = corners.iter().map(off_line);
            let far = off.max_by(|a, b| a.length_squared().total_cmp(&b.length_squared()))?;
            let across = base.flat.along.perp() * base.flat.left;
            let ahead =
                base.along * own.dot(base.flat.along) + far.normalize_or_zero() * own.dot(across);
            let sides = self.sides_at(mesh, base.facet);
            let steep = sides.map(|side| inwards(corners, side).dot(ahead));
            Some((base.facet, ahead, steep.fold(f64::INFINITY, f64::min)))
        };
        let ways = self.bases.iter().filter_map(into);
        let best = ways.max_by(|a, b| a.2.total_cmp(&b.2))?;
        Some((best.0, best.1))
    }
}

/// The direction from a side into its facet, upright on the side; zero without area.
fn inwards(corners: [DVec3; 3], side: usize) -> DVec3 {
    let along = (corners[(side + 1) % 3] - corners[side]).normalize_or_zero();
    let across = corners[(side + 2) % 3] - corners[side];
    (across - along * across.dot(along)).normalize_or_zero()
}

/// The side over which a way leaves a facet, and how far off that is.
fn exit(
    mesh: &Mesh,
    facet: u32,
    entry: Option<usize>,
    point: DVec3,
    ahead: DVec3,
) -> Option<(usize, f64)> {
    let corners = mesh.corners(facet as usize);
    let sides = (0..3).filter(|&side| Some(side) != entry);
    let met = sides.filter_map(|side| {
        let into = inwards(corners, side);
        let nears = -ahead.dot(into);
        let off = (point - corners[side]).dot(into);
        (nears > 0.0).then(|| (side, (off / nears).max(0.0)))
    });
    met.min_by(|a, b| a.1.total_cmp(&b.1))
}
