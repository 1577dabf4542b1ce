//! The skin of a part in labelled triangles, and the labels of what lies beneath it.

use glam::DVec3;

use crate::surface::stitch;

/// A closed skin in triangles, each with a label.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Skin {
    /// Vertices, mm.
    pub vertices: Vec<DVec3>,
    /// Triangles, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle its label.
    pub label: Vec<u32>,
}

/// The labels of what lies beneath the skin, by height.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Core {
    /// Heights at which the label changes, mm, rising.
    pub planes_mm: Vec<f64>,
    /// Labels from below upwards: one more than there are heights.
    pub labels: Vec<u32>,
}

impl Skin {
    /// Of triangles that came from cutting a closed mesh along the edges of areas: where a
    /// neighbour has a vertex on the side of a triangle, the triangle is cut there.
    pub fn new(vertices: Vec<DVec3>, triangles: Vec<[u32; 3]>, label: Vec<u32>) -> Self {
        let mut both: Vec<([u32; 3], u32)> = triangles.into_iter().zip(label).collect();
        stitch(&vertices, &mut both);
        let (triangles, label) = both.into_iter().unzip();
        Self {
            vertices,
            triangles,
            label,
        }
    }

    /// A vertex, mm.
    pub(super) fn at(&self, vertex: u32) -> DVec3 {
        self.vertices[vertex as usize]
    }

    /// The corners of a triangle, mm.
    pub(super) fn corners(&self, triangle: usize) -> [DVec3; 3] {
        self.triangles[triangle].map(|v| self.at(v))
    }
}

impl Core {
    /// A core of one label.
    pub fn of_one(label: u32) -> Self {
        Self {
            planes_mm: Vec::new(),
            labels: vec![label],
        }
    }

    pub(super) fn label(&self, slab: usize) -> u32 {
        let last = self.labels.last().copied().unwrap_or(0);
        self.labels.get(slab).copied().unwrap_or(last)
    }
}

impl Skin {
    /// Drops triangles that name a vertex twice: their other two sides are one.
    pub(super) fn drop_flat(&mut self) {
        let keep: Vec<bool> = self
            .triangles
            .iter()
            .map(|[a, b, c]| a != b && b != c && c != a)
            .collect();
        let mut kept = keep.iter();
        self.triangles.retain(|_| *kept.next().unwrap_or(&true));
        let mut kept = keep.iter();
        self.label.retain(|_| *kept.next().unwrap_or(&true));
    }
}
