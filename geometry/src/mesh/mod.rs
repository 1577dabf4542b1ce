//! The triangle mesh that everything else asks about.

pub(crate) mod around;
pub mod edges;
mod fans;
mod groups;
pub(crate) mod orient;
pub mod parts;
pub(crate) mod polygon;
mod weld;

use std::sync::Arc;

use glam::DVec3;

pub use edges::Edges;
pub use fans::Fans;
pub use groups::Groups;
pub use parts::Parts;
pub(crate) use weld::has_three_corners;
pub use weld::{TooManyVertices, Welded, Welder, weld_near};

/// A welded triangle mesh in millimetres.
///
/// Invariant, kept by every constructor: each index of `triangles` names a vertex, every
/// coordinate is finite, and there are one or more triangles, fewer than 2³¹. Whether the
/// mesh is closed, or its facets agree about which side is out, is not promised;
/// [`crate::inspect`] tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Mesh {
    vertices: Vec<DVec3>,
    /// A part that is moved shares them with what it was.
    triangles: Arc<Vec<[u32; 3]>>,
    groups: Groups,
}

/// What facets are numbered below, so that a number leaves room for a sign.
const MOST_TRIANGLES: usize = 1 << 31;

/// Why vertices and triangles do not make a mesh.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeshError {
    /// No triangle at all.
    #[error("it has no triangles")]
    Empty,
    /// A coordinate is infinite or not a number.
    #[error("vertex {vertex} has a coordinate that is not a finite number")]
    NotFinite {
        /// Index of the vertex.
        vertex: usize,
    },
    /// More vertices than an index can count.
    #[error("{count} vertices are more than a mesh can hold here")]
    TooMany {
        /// How many.
        count: usize,
    },
    /// More triangles than can be told apart by number.
    #[error("{count} triangles are more than a mesh can hold here")]
    TooManyTriangles {
        /// How many.
        count: usize,
    },
    /// A triangle names a vertex that is not there.
    #[error("triangle {triangle} names vertex {vertex}, but there are only {count}")]
    NoSuchVertex {
        /// Index of the triangle.
        triangle: usize,
        /// The index it names.
        vertex: u32,
        /// How many vertices there are.
        count: usize,
    },
}

impl Mesh {
    /// Takes vertices (mm) and triangles (counter-clockwise seen from outside).
    ///
    /// # Errors
    /// [`MeshError`] when the invariant of [`Mesh`] does not hold.
    pub fn new(vertices: Vec<DVec3>, triangles: Vec<[u32; 3]>) -> Result<Self, MeshError> {
        if triangles.is_empty() {
            return Err(MeshError::Empty);
        }
        if triangles.len() >= MOST_TRIANGLES {
            let count = triangles.len();
            return Err(MeshError::TooManyTriangles { count });
        }
        if let Some(vertex) = vertices.iter().position(|v| !v.is_finite()) {
            return Err(MeshError::NotFinite { vertex });
        }
        let count = vertices.len();
        for (triangle, corners) in triangles.iter().enumerate() {
            if let Some(&vertex) = corners.iter().find(|&&v| v as usize >= count) {
                return Err(MeshError::NoSuchVertex {
                    triangle,
                    vertex,
                    count,
                });
            }
        }
        Ok(Self {
            vertices,
            triangles: Arc::new(triangles),
            groups: Groups::default(),
        })
    }

    /// The same facets with every vertex moved.
    ///
    /// A mapping that mirrors turns the facets inside out; see [`Mesh::turned_inside_out`].
    ///
    /// # Errors
    /// [`MeshError::NotFinite`] when a moved vertex is not finite.
    pub fn map(self, move_mm: impl Fn(DVec3) -> DVec3) -> Result<Self, MeshError> {
        let mut vertices = self.vertices;
        for (vertex, position) in vertices.iter_mut().enumerate() {
            *position = move_mm(*position);
            if !position.is_finite() {
                return Err(MeshError::NotFinite { vertex });
            }
        }
        Ok(Self { vertices, ..self })
    }

    /// The same surface with its outside in: every facet runs the other way.
    pub fn turned_inside_out(mut self) -> Self {
        for corners in Arc::make_mut(&mut self.triangles) {
            corners.swap(0, 1);
        }
        self
    }

    /// Several meshes as one, their shells side by side; nothing is welded or cut.
    ///
    /// # Errors
    /// [`MeshError`] when there is no triangle, or there are more than 2³² vertices.
    pub fn join(meshes: impl IntoIterator<Item = Self>) -> Result<Self, MeshError> {
        let (mut vertices, mut triangles) = (Vec::new(), Vec::new());
        let mut groups = Groups::default();
        for mesh in meshes {
            let count = vertices.len() + mesh.vertices.len();
            let Ok(offset) = u32::try_from(count).map(|_| vertices.len() as u32) else {
                return Err(MeshError::TooMany { count });
            };
            groups.append(&mesh.groups, triangles.len());
            vertices.extend(mesh.vertices);
            let moved = mesh.triangles.iter().map(|t| t.map(|v| v + offset));
            triangles.extend(moved);
        }
        Ok(Self::new(vertices, triangles)?.with_groups(groups))
    }

    /// The same mesh, its facets named; names beyond the last facet are passed over.
    pub(crate) fn with_groups(self, groups: Groups) -> Self {
        Self { groups, ..self }
    }

    /// The objects and groups of the file that the facets came from.
    pub fn groups(&self) -> &Groups {
        &self.groups
    }

    /// The vertices, mm.
    pub fn vertices(&self) -> &[DVec3] {
        &self.vertices
    }

    /// The triangles, as vertex indices.
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// The three corners of a facet, mm.
    ///
    /// # Panics
    /// If there is no such facet, as slice indexing does.
    #[inline]
    pub fn corners(&self, facet: usize) -> [DVec3; 3] {
        let [a, b, c] = self.triangles[facet];
        let at = |vertex: u32| self.vertices[vertex as usize];
        [at(a), at(b), at(c)]
    }

    /// Half the cross product of two sides: its length is the facet's area in mm².
    pub fn area_vector(&self, facet: usize) -> DVec3 {
        let [a, b, c] = self.corners(facet);
        (b - a).cross(c - a) * 0.5
    }

    /// The box around the mesh: least and greatest corner, mm.
    pub fn bounds(&self) -> (DVec3, DVec3) {
        let start = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        self.vertices
            .iter()
            .fold(start, |(lo, hi), &v| (lo.min(v), hi.max(v)))
    }

    /// Area of all facets, mm².
    pub fn area_mm2(&self) -> f64 {
        (0..self.triangles.len())
            .map(|f| self.area_vector(f).length())
            .sum()
    }

    /// Enclosed volume by the divergence theorem, mm³; exact for a closed mesh.
    pub fn volume_mm3(&self) -> f64 {
        let (lo, hi) = self.bounds();
        let origin = (lo + hi) * 0.5;
        let six_fold = |f| {
            let [a, b, c] = self.corners(f).map(|p| p - origin);
            a.dot(b.cross(c))
        };
        (0..self.triangles.len()).map(six_fold).sum::<f64>() / 6.0
    }
}
