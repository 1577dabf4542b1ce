//! Walls with a label on either side, and the bodies that they bound.

use glam::DVec3;

use super::CutError;
use crate::Mesh;
use crate::mend::where_solids_touch;
use crate::mesh::Edges;

/// The side of a face on which there is nothing.
pub(super) const AIR: u32 = u32::MAX;
/// The side of a face on which the core lies, wherever.
pub(super) const CORE: u32 = u32::MAX - 1;

/// Marks a slab of the core until labels are given; labels are smaller.
pub(super) const CORE_SLAB: u32 = 1 << 30;

/// The slab of a side that is the core's.
pub(super) fn slab_of(side: u32) -> Option<usize> {
    (side != AIR && side != CORE && side & CORE_SLAB != 0).then_some((side & !CORE_SLAB) as usize)
}

/// A triangle, what lies behind it, and what before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Face {
    /// Corners, counter-clockwise seen from the outside.
    pub corners: [u32; 3],
    /// What it is the outer side of.
    pub inside: u32,
    /// What it faces.
    pub outside: u32,
}

/// Area of the skin that could not be given a body of its own, and has that of the core.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GivenUp {
    /// The label that it should have had.
    pub label: u32,
    /// Its area, mm².
    pub area_mm2: f64,
    /// Where the first of it lies, mm.
    pub at_mm: DVec3,
}

/// How much of a label's rind is less than half as deep as was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shallow {
    /// The label.
    pub label: u32,
    /// The area, mm².
    pub area_mm2: f64,
    /// All of the label's rind, mm².
    pub of_mm2: f64,
}

/// A part in bodies: walls with a label on either side.
#[derive(Clone, Debug, PartialEq)]
pub struct Partition {
    pub(super) vertices: Vec<DVec3>,
    pub(super) faces: Vec<Face>,
    given_up: Vec<GivenUp>,
    shallow: Vec<Shallow>,
}

impl Partition {
    pub(super) fn new(
        vertices: Vec<DVec3>,
        faces: Vec<Face>,
        given_up: Vec<GivenUp>,
        shallow: Vec<Shallow>,
    ) -> Self {
        Self {
            vertices,
            faces,
            given_up,
            shallow,
        }
    }

    /// The labels that have a body, rising.
    pub fn labels(&self) -> Vec<u32> {
        let sides = self.faces.iter().flat_map(|f| [f.inside, f.outside]);
        let mut labels: Vec<u32> = sides.filter(|side| *side != AIR).collect();
        labels.sort_unstable();
        labels.dedup();
        labels
    }

    /// Skin that could not be given a body of its own.
    pub fn given_up(&self) -> &[GivenUp] {
        &self.given_up
    }

    /// Where the rind is less than half as deep as was asked for.
    pub fn shallow(&self) -> &[Shallow] {
        &self.shallow
    }

    /// The body of a label: closed, every facet facing out; none if there is none. Where it
    /// touches itself, along an edge or at a corner, vertices are doubled, so that every edge has
    /// two facets.
    ///
    /// # Errors
    /// [`CutError::NotClosed`], which would be a fault of this program.
    pub fn body(&self, label: u32) -> Result<Option<Mesh>, CutError> {
        let (mesh, _) = match self.open_body(label)? {
            Some(found) => found,
            None => return Ok(None),
        };
        let fault = Edges::of(&mesh)
            .iter()
            .find(|edge| edge.balance() != 0)
            .map(|edge| mesh.vertices()[edge.from as usize]);
        if let Some(at_mm) = fault {
            return Err(CutError::NotClosed { label, at_mm });
        }
        where_solids_touch(&mesh)
            .map(Some)
            .map_err(|_| CutError::Mesh(crate::mesh::MeshError::Empty))
    }

    /// The facets of a label, facing out, and for each the wall it is of.
    pub(super) fn open_body(&self, label: u32) -> Result<Option<(Mesh, Vec<u32>)>, CutError> {
        let mut place = vec![u32::MAX; self.vertices.len()];
        let (mut vertices, mut triangles, mut walls) = (Vec::new(), Vec::new(), Vec::new());
        for (wall, face) in self.faces.iter().enumerate() {
            let [a, b, c] = face.corners;
            let corners = if face.inside == label {
                [a, b, c]
            } else if face.outside == label {
                [b, a, c]
            } else {
                continue;
            };
            triangles.push(corners.map(|v| {
                let slot = &mut place[v as usize];
                if *slot == u32::MAX {
                    *slot = vertices.len() as u32;
                    vertices.push(self.vertices[v as usize]);
                }
                *slot
            }));
            walls.push(wall as u32);
        }
        if triangles.is_empty() {
            return Ok(None);
        }
        Ok(Some((Mesh::new(vertices, triangles)?, walls)))
    }

    /// Visible area of a label, mm²: that of its walls to nothing.
    pub fn visible_mm2(&self, label: u32) -> f64 {
        let seen = |f: &&Face| f.inside == label && f.outside == AIR;
        let faces = self.faces.iter().filter(seen);
        faces.map(|f| self.area_mm2(f)).sum()
    }

    /// The mean normal of what of a label is seen, of length 1 where all of it faces one way, and
    /// 0 where it faces all ways alike.
    pub fn faces(&self, label: u32) -> DVec3 {
        let seen = |f: &&Face| f.inside == label && f.outside == AIR;
        let (mut sum, mut area) = (DVec3::ZERO, 0.0);
        for face in self.faces.iter().filter(seen) {
            let [a, b, c] = face.corners.map(|v| self.vertices[v as usize]);
            let vector = (b - a).cross(c - a);
            sum += vector;
            area += vector.length();
        }
        if area > 0.0 { sum / area } else { DVec3::ZERO }
    }

    pub(super) fn area_mm2(&self, face: &Face) -> f64 {
        let [a, b, c] = face.corners.map(|v| self.vertices[v as usize]);
        0.5 * (b - a).cross(c - a).length()
    }
}

/// The slab between planes that a side of a triangle looks into: that of its middle, and where
/// it lies in a plane, the one behind it, or before it.
pub(super) fn slab(
    vertices: &[DVec3],
    corners: [u32; 3],
    behind: bool,
    planes_mm: &[f64],
) -> usize {
    let [a, b, c] = corners.map(|v| vertices[v as usize]);
    let low = a.z.min(b.z).min(c.z);
    let high = a.z.max(b.z).max(c.z);
    if low == high && planes_mm.contains(&low) {
        let up = (b - a).cross(c - a).z > 0.0;
        let beneath = planes_mm.partition_point(|&p| p < low);
        return beneath + usize::from(up != behind);
    }
    planes_mm.partition_point(|&p| p < 0.5 * (low + high))
}
