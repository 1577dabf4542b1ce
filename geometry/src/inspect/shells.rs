//! Connected shells: their volumes, and which way they face.

use glam::{DVec2, DVec3};
use serde::Serialize;

use super::{Tally, centroid};
use crate::Mesh;
use crate::mesh::{Edges, Parts};

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

pub(super) fn find(mesh: &Mesh, parts: &Parts, edges: &Edges) -> Vec<Shell> {
    let (mut shells, firsts) = measure(mesh, parts);
    open_shells(parts, edges, &mut shells);
    face(mesh, parts, &firsts, &mut shells);
    shells
}

/// Marks the shells that are not closed.
fn open_shells(parts: &Parts, edges: &Edges, shells: &mut [Shell]) {
    for edge in edges.iter() {
        if let (true, Some(first)) = (edge.balance() != 0, edge.uses.first()) {
            shells[parts.of_facet(first.facet as usize) as usize].closed = false;
        }
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
    let mut shells = vec![blank; parts.count()];
    let mut largest = vec![(-1.0, 0); parts.count()];
    for (facet, &part) in parts.of_facets().iter().enumerate() {
        let corners = mesh.corners(facet);
        let [a, b, c] = corners.map(|p| p - origin);
        let area = mesh.area_vector(facet).length();
        let shell = &mut shells[part as usize];
        shell.facets += 1;
        shell.area_mm2 += area;
        shell.volume_mm3 += a.dot(b.cross(c)) / 6.0;
        for p in corners {
            shell.least_mm = shell.least_mm.min(p);
            shell.greatest_mm = shell.greatest_mm.max(p);
        }
        if area > largest[part as usize].0 {
            largest[part as usize] = (area, facet);
        }
    }
    (
        shells,
        largest.into_iter().map(|(_, facet)| facet).collect(),
    )
}

/// Tells shells that face the wrong way from hollows, by how often the other shells wind
/// around a point of theirs. Shells that cross each other are judged by that one point.
fn face(mesh: &Mesh, parts: &Parts, samples: &[usize], shells: &mut [Shell]) {
    for (part, around) in others_around(mesh, parts, samples, shells) {
        let shell = &mut shells[part];
        shell.inside_out = shell.volume_mm3 < 0.0 && around <= 0;
        shell.doubled = shell.volume_mm3 > 0.0 && around > 0;
    }
}

/// Of every closed shell, how often the other closed ones wind about a point of it.
fn others_around(
    mesh: &Mesh,
    parts: &Parts,
    samples: &[usize],
    shells: &[Shell],
) -> Vec<(usize, i64)> {
    // A lone shell needs no look at others.
    let plumb = (shells.len() > 1).then(|| Plumb::new(mesh));
    let closed = samples
        .iter()
        .enumerate()
        .filter(|(part, _)| shells[*part].closed);
    closed
        .map(|(part, &sample)| {
            let around = match &plumb {
                Some(plumb) => plumb.winding(mesh, centroid(mesh, sample), |facet| {
                    let other = parts.of_facet(facet) as usize;
                    other != part && shells[other].closed
                }),
                None => 0,
            };
            (part, around)
        })
        .collect()
}

/// Of every facet, whether it lies within a closed shell that it is no part of, as the wall of
/// a sealed hollow does, or what floats in one: no eye ever sees it.
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
    let mut sealed = vec![false; parts.count()];
    if parts.count() > 1 {
        let (mut shells, samples) = measure(mesh, &parts);
        open_shells(&parts, &edges, &mut shells);
        for (part, around) in others_around(mesh, &parts, &samples, &shells) {
            sealed[part] = around != 0;
        }
    }
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

    /// How often the chosen facets wind around a point: those above it that face up, less
    /// those that face down.
    fn winding(&self, mesh: &Mesh, point: DVec3, chosen: impl Fn(usize) -> bool) -> i64 {
        let [x, y] = self.columns.at(point.truncate());
        let mut sum = 0;
        for &facet in &self.facets[y * self.columns.count + x] {
            let facet = facet as usize;
            if chosen(facet) {
                sum += above(mesh.corners(facet), point);
            }
        }
        sum
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
