//! Welding: corners at one place become one vertex.

use glam::DVec3;
use hashbrown::HashTable;

use crate::Mesh;

/// More vertices than a mesh can number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("it has more than {} vertices", u32::MAX)]
pub struct TooManyVertices;

/// Numbers positions as they come, the same position always by the same number.
///
/// Positions are the same when they are equal as numbers (so −0 is 0). The caller sees to
/// it that they are finite.
#[derive(Default)]
pub struct Welder {
    table: HashTable<u32>,
    vertices: Vec<DVec3>,
}

impl Welder {
    /// Makes room, so that welding about this many vertices moves nothing.
    pub fn reserve(&mut self, count: usize) {
        self.vertices.reserve(count);
        let vertices = &self.vertices;
        self.table.reserve(count, |&i| hash(vertices[i as usize]));
    }

    /// The number of the vertex at a position.
    ///
    /// # Errors
    /// [`TooManyVertices`] when the numbers run out.
    #[inline]
    pub fn vertex(&mut self, position: DVec3) -> Result<u32, TooManyVertices> {
        // Adding zero turns −0 into 0, which must have the same bits to have the same hash.
        let position = position + DVec3::ZERO;
        let key = hash(position);
        let vertices = &mut self.vertices;
        if let Some(&i) = self.table.find(key, |&i| vertices[i as usize] == position) {
            return Ok(i);
        }
        let new = u32::try_from(vertices.len()).map_err(|_| TooManyVertices)?;
        vertices.push(position);
        self.table
            .insert_unique(key, new, |&i| hash(vertices[i as usize]));
        Ok(new)
    }

    /// The vertices, in the order in which they were first met.
    pub(crate) fn into_vertices(self) -> Vec<DVec3> {
        self.vertices
    }
}

/// Folded multiplication: the two halves of a 128-bit product, so that the few bits that
/// tell short decimals and halved floats apart reach all of the word.
#[inline]
fn fold(a: u64, b: u64) -> u64 {
    let product = u128::from(a) * u128::from(b);
    product as u64 ^ (product >> 64) as u64
}

#[inline]
fn hash(p: DVec3) -> u64 {
    // Odd words without pattern: the hexadecimal digits of π.
    const WORDS: [u64; 3] = [
        0x243F_6A88_85A3_08D3,
        0x1319_8A2E_0370_7345,
        0xA409_3822_299F_31D1,
    ];
    let xy = fold(p.x.to_bits() ^ WORDS[0], p.y.to_bits() ^ WORDS[1]);
    fold(xy ^ p.z.to_bits(), WORDS[2])
}

/// What [`weld_near`] did.
#[derive(Clone, Debug, PartialEq)]
pub struct Welded {
    /// The mesh.
    pub mesh: Mesh,
    /// How many vertices were moved to a neighbour's place.
    pub moved_vertices: usize,
    /// How many facets lost a side and were left out.
    pub lost_facets: usize,
    /// The numbers, in the old mesh, of the facets that are left.
    pub kept_facets: Vec<usize>,
}

/// Welds vertices that lie within `tolerance_mm` of each other: each goes to the place of
/// the first such vertex, in the mesh's order, that stayed where it was. Facets that lose
/// a side are left out. `None` when none would be left, or the tolerance is not positive.
pub fn weld_near(mesh: &Mesh, tolerance_mm: f64) -> Option<Welded> {
    if !(tolerance_mm > 0.0 && tolerance_mm.is_finite()) {
        return None;
    }
    let mut grid = Grid::new(tolerance_mm);
    let mut vertices = Vec::new();
    let mut numbers = Vec::with_capacity(mesh.vertices().len());
    for &position in mesh.vertices() {
        let number = grid.near(&vertices, position).unwrap_or_else(|| {
            let new = vertices.len() as u32;
            vertices.push(position);
            grid.add(position, new);
            new
        });
        numbers.push(number);
    }
    let renumbered = mesh
        .triangles()
        .iter()
        .map(|t| t.map(|v| numbers[v as usize]));
    let kept = (0..).zip(renumbered).filter(|(_, t)| has_three_corners(*t));
    let (kept, triangles): (Vec<usize>, Vec<_>) = kept.unzip();
    let moved_vertices = mesh.vertices().len() - vertices.len();
    let lost_facets = mesh.triangles().len() - triangles.len();
    let groups = mesh.groups().of_kept(&kept);
    let mesh = Mesh::new(vertices, triangles).ok()?.with_groups(groups);
    Some(Welded {
        mesh,
        moved_vertices,
        lost_facets,
        kept_facets: kept,
    })
}

/// Whether a facet names three different vertices.
pub(crate) fn has_three_corners([a, b, c]: [u32; 3]) -> bool {
    a != b && b != c && c != a
}

/// Points sorted into cells twice as wide as the distance asked for, so that the points
/// near to one are in the eight cells around its nearest cell corner.
struct Grid {
    reach: f64,
    /// The cell's place and a vertex in it; several entries may share a cell.
    cells: HashTable<([i64; 3], u32)>,
}

impl Grid {
    fn new(reach: f64) -> Self {
        Self {
            reach,
            cells: HashTable::new(),
        }
    }

    fn cell(&self, position: DVec3) -> [i64; 3] {
        (position / (2.0 * self.reach))
            .floor()
            .to_array()
            .map(|x| x as i64)
    }

    fn key(cell: [i64; 3]) -> u64 {
        hash(DVec3::from_array(cell.map(|x| x as f64)) + DVec3::ZERO)
    }

    fn add(&mut self, position: DVec3, vertex: u32) {
        let cell = self.cell(position);
        self.cells
            .insert_unique(Self::key(cell), (cell, vertex), |(c, _)| Self::key(*c));
    }

    /// The first vertex within reach.
    fn near(&self, vertices: &[DVec3], position: DVec3) -> Option<u32> {
        let lowest = self.cell(position - self.reach);
        let highest = self.cell(position + self.reach);
        let mut found = None::<u32>;
        for x in lowest[0]..=highest[0] {
            for y in lowest[1]..=highest[1] {
                for z in lowest[2]..=highest[2] {
                    let cell = [x, y, z];
                    for (at, vertex) in self.cells.iter_hash(Self::key(cell)) {
                        let there = vertices[*vertex as usize];
                        if *at == cell && there.distance(position) <= self.reach {
                            found = Some(found.map_or(*vertex, |f| f.min(*vertex)));
                        }
                    }
                }
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solids;

    #[test]
    fn equal_positions_are_one_vertex_whatever_the_sign_of_zero() {
        let mut welder = Welder::default();
        let a = welder.vertex(DVec3::new(0.0, -0.0, 1.0)).unwrap();
        let b = welder.vertex(DVec3::new(-0.0, 0.0, 1.0)).unwrap();
        let c = welder.vertex(DVec3::new(0.0, 0.0, 1.0 + 1e-15)).unwrap();
        assert_eq!((a, b, c), (0, 0, 1));
        assert_eq!(welder.into_vertices().len(), 2);
    }

    #[test]
    fn a_cracked_sphere_is_made_whole() {
        let ball = solids::icosphere(10.0, 2).unwrap();
        let nudge = |i: usize| DVec3::splat(1e-5 * (i as f64 * 12.9898).sin());
        let soup: Vec<DVec3> = (0..ball.triangles().len())
            .flat_map(|f| ball.corners(f))
            .enumerate()
            .map(|(i, p)| p + nudge(i))
            .collect();
        let facets = (0..soup.len() as u32 / 3).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]);
        let soup = Mesh::new(soup, facets.collect()).unwrap();
        let welded = weld_near(&soup, 1e-4).unwrap();
        assert_eq!(welded.mesh.vertices().len(), ball.vertices().len());
        assert_eq!(welded.lost_facets, 0);
        assert!(weld_near(&soup, 0.0).is_none());
        assert!(weld_near(&soup, 1e9).is_none());
    }

    proptest! {
        #[test]
        fn what_is_left_is_apart(points in prop::collection::vec((0..40i32, 0..40i32), 3..60)) {
            let reach = 1.5;
            let vertices: Vec<DVec3> = points
                .iter()
                .map(|&(x, y)| DVec3::new(f64::from(x), f64::from(y), 0.0))
                .collect();
            let facets = (0..vertices.len() as u32 - 2).map(|i| [i, i + 1, i + 2]).collect();
            let mesh = Mesh::new(vertices, facets).unwrap();
            if let Some(welded) = weld_near(&mesh, reach) {
                let left = welded.mesh.vertices();
                for (i, a) in left.iter().enumerate() {
                    prop_assert!(left[..i].iter().all(|b| a.distance(*b) > reach));
                }
                for v in mesh.vertices() {
                    prop_assert!(left.iter().any(|w| v.distance(*w) <= reach));
                }
            }
        }
    }
}
