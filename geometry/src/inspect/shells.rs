//! Connected shells: their volumes, and which way they face.

use std::ops::Range;

use glam::{DVec2, DVec3};
use rayon::prelude::*;
use serde::Serialize;

use super::{Tally, centroid};
use crate::Mesh;
use crate::mesh::{Edges, Parts};
use crate::stretches::stretches;

/// A connected shell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Shell {
    /// How many facets.
    pub facets: usize,
    /// Area, mm².
    pub area_mm2: f64,
    /// Enclosed volume, mm³; negative when its facets face inwards.
    pub volume_mm3: f64,
    /// Least corner of the box around it, mm.
    pub least_mm: DVec3,
    /// Greatest corner of the box around it, mm.
    pub greatest_mm: DVec3,
    /// Whether every edge has as many facets running one way as the other.
    pub closed: bool,
    /// Closed, and facing inwards without being the wall of a hollow.
    pub inside_out: bool,
    /// Closed, and facing outwards within another shell.
    pub doubled: bool,
}

pub(super) fn tally(shells: &[Shell], which: impl Fn(&Shell) -> bool) -> Tally {
    let mut tally = Tally::default();
    for shell in shells.iter().filter(|s| which(s)) {
        tally.add(|| (shell.least_mm + shell.greatest_mm) * 0.5);
    }
    tally
}

/// The shells, and how much of their area is sealed, mm².
pub(super) fn find(mesh: &Mesh, parts: &Parts, edges: &Edges) -> (Vec<Shell>, f64) {
    let (mut shells, samples) = measure(mesh, parts);
    open_shells(parts, edges, &mut shells);
    let Some(all) = All::of(mesh, parts, &shells) else {
        // A lone shell needs no look at others.
        for shell in &mut shells {
            shell.inside_out = shell.closed && shell.volume_mm3 < 0.0;
        }
        return (shells, 0.0);
    };
    let around = all.around(&samples);
    let sealed = all.sealed();
    for (shell, around) in shells.iter_mut().zip(around) {
        shell.inside_out = shell.closed && shell.volume_mm3 < 0.0 && around <= 0;
        shell.doubled = shell.closed && shell.volume_mm3 > 0.0 && around > 0;
    }
    let sealed = shells.iter().zip(sealed).filter(|(_, sealed)| *sealed);
    let sealed_mm2 = sealed.map(|(shell, _)| shell.area_mm2).sum();
    (shells, sealed_mm2)
}

/// Marks the shells that are not closed.
fn open_shells(parts: &Parts, edges: &Edges, shells: &mut [Shell]) {
    let open = |vertices: Range<usize>| {
        let edges = vertices.flat_map(|from| edges.rising_from(from as u32));
        let open = edges.filter(|edge| edge.balance() != 0);
        let mut open: Vec<u32> = open
            .filter_map(|edge| Some(parts.of_facet(edge.uses.first()?.facet() as usize)))
            .collect();
        open.dedup();
        open
    };
    let found: Vec<Vec<u32>> = stretches(edges.vertices()).map(open).collect();
    for shell in found.into_iter().flatten() {
        shells[shell as usize].closed = false;
    }
}

/// Everything but which way they face, and the largest facet of each.
fn measure(mesh: &Mesh, parts: &Parts) -> (Vec<Shell>, Vec<usize>) {
    let (lo, hi) = mesh.bounds();
    let origin = lo * 0.5 + hi * 0.5;
    let blank = Shell {
        facets: 0,
        area_mm2: 0.0,
        volume_mm3: 0.0,
        least_mm: DVec3::INFINITY,
        greatest_mm: DVec3::NEG_INFINITY,
        closed: true,
        inside_out: false,
        doubled: false,
    };
    let measured = |facets: Range<usize>| {
        // The largest facet of each shell, and its area.
        let mut shells = vec![(blank.clone(), (-1.0, 0)); parts.count()];
        for facet in facets {
            let corners = mesh.corners(facet);
            let [a, b, c] = corners.map(|p| p - origin);
            let area = mesh.area_vector(facet).length();
            let (shell, largest) = &mut shells[parts.of_facet(facet) as usize];
            shell.facets += 1;
            shell.area_mm2 += area;
            shell.volume_mm3 += a.dot(b.cross(c)) / 6.0;
            for p in corners {
                shell.least_mm = shell.least_mm.min(p);
                shell.greatest_mm = shell.greatest_mm.max(p);
            }
            if area > largest.0 {
                *largest = (area, facet);
            }
        }
        shells
    };
    let all = mesh.triangles().len();
    let shells = match parts.count() > FEW {
        true => measured(0..all),
        false => {
            let found: Vec<Measured> = stretches(all).map(&measured).collect();
            let all = found.into_iter().reduce(joined);
            all.unwrap_or_else(|| measured(0..0))
        }
    };
    let largest = |(shell, (_, facet))| (shell, facet);
    shells.into_iter().map(largest).unzip()
}

/// So many shells are measured on all cores: each stretch of facets has a list of all shells.
const FEW: usize = 16;

type Measured = Vec<(Shell, (f64, usize))>;

/// Shells as some facets and later ones measure them.
fn joined(mut all: Measured, later: Measured) -> Measured {
    for ((shell, largest), (more, other)) in all.iter_mut().zip(later) {
        shell.facets += more.facets;
        shell.area_mm2 += more.area_mm2;
        shell.volume_mm3 += more.volume_mm3;
        shell.least_mm = shell.least_mm.min(more.least_mm);
        shell.greatest_mm = shell.greatest_mm.max(more.greatest_mm);
        if other.0 > largest.0 {
            *largest = other;
        }
    }
    all
}

/// How far beside a facet a point of its shell's inside or outside is taken, as a share of the
/// mesh's size: shells that touch are told from those that lie within each other.
const BESIDE: f64 = 1e-6;

/// Several shells, to be asked which lie within which.
struct All<'a> {
    mesh: &'a Mesh,
    parts: &'a Parts,
    shells: &'a [Shell],
    plumb: Plumb,
    beside_mm: f64,
}

impl<'a> All<'a> {
    /// None for a lone shell.
    fn of(mesh: &'a Mesh, parts: &'a Parts, shells: &'a [Shell]) -> Option<Self> {
        let (low, high) = mesh.bounds();
        (shells.len() > 1).then(|| Self {
            mesh,
            parts,
            shells,
            plumb: Plumb::new(mesh),
            beside_mm: BESIDE * (high - low).max_element(),
        })
    }

    /// Of every shell, given a facet of each, how often the other closed ones wind about a point
    /// of what it bounds: so shells that face the wrong way are told from hollows. Shells that
    /// cross each other are judged by that one point.
    fn around(&self, samples: &[usize]) -> Vec<i64> {
        let of_sample = |(part, &sample): (usize, &usize)| {
            let inside = self.beside(sample, part, -1.0);
            let mut sum = 0;
            self.plumb.above(self.mesh, inside, |facet, turn| {
                let other = self.part(facet);
                if other != part && self.shells[other].closed {
                    sum += turn;
                }
            });
            sum
        };
        samples.iter().enumerate().map(of_sample).collect()
    }

    /// Of every shell, whether all of it lies within closed shells that it is no part of.
    fn sealed(&self) -> Vec<bool> {
        let mut sealed = vec![true; self.shells.len()];
        let mut turns = Vec::new();
        for (facet, &part) in self.parts.of_facets().iter().enumerate() {
            let part = part as usize;
            if sealed[part] {
                sealed[part] = self.encloses(facet, part, &mut turns);
            }
        }
        sealed
    }

    /// Whether another closed shell winds about the place right over a facet. What counts is any
    /// one shell: something that floats in a cavity lies within two that cancel each other.
    fn encloses(&self, facet: usize, part: usize, turns: &mut Vec<(usize, i64)>) -> bool {
        let outside = self.beside(facet, part, 1.0);
        turns.clear();
        self.plumb.above(self.mesh, outside, |facet, turn| {
            let other = self.part(facet);
            if other == part || !self.shells[other].closed {
                return;
            }
            match turns.iter_mut().find(|(known, _)| *known == other) {
                Some((_, sum)) => *sum += turn,
                None => turns.push((other, turn)),
            }
        });
        turns.iter().any(|(_, sum)| *sum != 0)
    }

    fn part(&self, facet: usize) -> usize {
        self.parts.of_facet(facet) as usize
    }

    /// A point beside a facet: outside of what its shell bounds for 1, inside for −1.
    fn beside(&self, facet: usize, part: usize, side: f64) -> DVec3 {
        let out = self.mesh.area_vector(facet).normalize_or_zero();
        let facing = self.shells[part].volume_mm3.signum();
        centroid(self.mesh, facet) + out * (side * facing * self.beside_mm)
    }
}

/// Of every facet, whether its shell lies within a closed one that it is no part of, as the
/// wall of a sealed hollow does, or what floats in one: no eye ever sees it. None is where
/// shells only touch, or cross.
///
/// ```
/// # fn main() -> Result<(), geometry::mesh::MeshError> {
/// use geometry::{Mesh, inspect::sealed_facets, solids};
/// let wall = solids::icosphere(4.0, 1)?.turned_inside_out();
/// let hollow = Mesh::join([solids::icosphere(9.0, 1)?, wall])?;
/// let sealed = sealed_facets(&hollow);
/// assert_eq!((sealed.len(), sealed.iter().filter(|s| **s).count()), (160, 80));
/// # Ok(())
/// # }
/// ```
pub fn sealed_facets(mesh: &Mesh) -> Vec<bool> {
    let edges = Edges::of(mesh);
    let parts = Parts::by_edges(mesh, &edges);
    if parts.count() < 2 {
        return vec![false; mesh.triangles().len()];
    }
    let (mut shells, _) = measure(mesh, &parts);
    open_shells(&parts, &edges, &mut shells);
    drop(edges);
    let all = All::of(mesh, &parts, &shells);
    let sealed = all.map_or_else(|| vec![false; parts.count()], |all| all.sealed());
    let of_facets = parts.of_facets().iter();
    of_facets.map(|&part| sealed[part as usize]).collect()
}

/// Upright columns over the mesh's box, in a square grid.
#[derive(Clone, Copy)]
struct Columns {
    least: DVec2,
    /// Columns per mm along x and y.
    per_mm: DVec2,
    /// Columns along each side.
    count: usize,
}

impl Columns {
    fn new(mesh: &Mesh, count: usize) -> Self {
        let (lo, hi) = mesh.bounds();
        let extent = (hi - lo).truncate().max(DVec2::splat(f64::MIN_POSITIVE));
        Self {
            least: lo.truncate(),
            per_mm: count as f64 / extent,
            count,
        }
    }

    fn at(&self, p: DVec2) -> [usize; 2] {
        let at = (p - self.least) * self.per_mm;
        at.to_array()
            .map(|x| (x.max(0.0) as usize).min(self.count - 1))
    }

    /// Least and greatest column of a facet.
    fn reach(&self, mesh: &Mesh, facet: usize) -> ([usize; 2], [usize; 2]) {
        let [a, b, c] = mesh.corners(facet).map(DVec3::truncate);
        (self.at(a.min(b).min(c)), self.at(a.max(b).max(c)))
    }

    /// In how many columns the facets lie, added up.
    fn entries(&self, mesh: &Mesh) -> usize {
        let of_facet = |facet| {
            let (low, high) = self.reach(mesh, facet);
            (high[0] - low[0] + 1) * (high[1] - low[1] + 1)
        };
        (0..mesh.triangles().len()).map(of_facet).sum()
    }
}

/// Finds the facets above a point: they are sorted by the columns that they lie in.
struct Plumb {
    columns: Columns,
    facets: Vec<Vec<u32>>,
}

impl Plumb {
    fn new(mesh: &Mesh) -> Self {
        let count = mesh.triangles().len();
        // Finer while each facet still lies in few columns on the average.
        let mut columns = Columns::new(mesh, 1);
        loop {
            let finer = Columns::new(mesh, 2 * columns.count);
            if finer.count > 512 || finer.entries(mesh) > 8 * count {
                break;
            }
            columns = finer;
        }
        let mut facets = vec![Vec::new(); columns.count * columns.count];
        for facet in 0..count {
            let (low, high) = columns.reach(mesh, facet);
            for y in low[1]..=high[1] {
                for x in low[0]..=high[0] {
                    facets[y * columns.count + x].push(facet as u32);
                }
            }
        }
        Self { columns, facets }
    }

    /// Calls `each` with every facet above a point, and 1 or −1 as it faces up or down: what
    /// these add up to is how often the facets wind around the point.
    fn above(&self, mesh: &Mesh, point: DVec3, mut each: impl FnMut(usize, i64)) {
        let [x, y] = self.columns.at(point.truncate());
        for &facet in &self.facets[y * self.columns.count + x] {
            let facet = facet as usize;
            match above(mesh.corners(facet), point) {
                0 => {}
                turn => each(facet, turn),
            }
        }
    }
}

/// 1 or −1 when a facet lies above a point and faces up or down, else 0.
///
/// A side exactly over the point counts to the facet on one side of it alone: sides are
/// taken half open along y, as in counting crossings of a polygon.
fn above(corners: [DVec3; 3], point: DVec3) -> i64 {
    let flat = corners.map(|p| p.truncate() - point.truncate());
    let mut crossings = 0;
    for i in 0..3 {
        let (a, b) = (flat[i], flat[(i + 1) % 3]);
        if (a.y > 0.0) == (b.y > 0.0) {
            continue;
        }
        // Computed from the lower end whichever facet asks, so that both agree.
        let (lower, upper) = if a.y < b.y { (a, b) } else { (b, a) };
        if lower.perp_dot(upper - lower) > 0.0 {
            crossings += if b.y > a.y { 1 } else { -1 };
        }
    }
    if crossings == 0 {
        return 0;
    }
    let [a, b, c] = corners;
    let normal = (b - a).cross(c - a);
    let gap = (a - point).dot(normal);
    // Over the point, the facet is at a height above it of gap / normal.z.
    if gap * normal.z > 0.0 { crossings } else { 0 }
}
