//! A part cut into closed bodies, one for each label of its skin, that share their walls.
//!
//! The skin comes cut so that every triangle has one label ([`Skin`]). What lies beneath, the
//! core, has labels by height ([`Core`]): where the skin has the label of its height, nothing is
//! to be done, and everywhere else a rind of the skin's own label is laid over the core, as deep
//! as is asked for, or as the part has room. Level planes then cut the core.
//!
//! Every wall is one list of triangles with a label on either side, so the two bodies that it
//! parts have the very same vertices and triangles there: no gap and no overlap, and the volumes
//! add up to the skin's but for the rounding of sums. [`Partition`] holds them; [`cut`] makes it.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use std::sync::Arc;
//! use geometry::bodies::{Core, Skin, cut};
//! use geometry::surface::LevelCut;
//! use geometry::{DVec3, Progress, Surface, SurfacePoint, solids};
//!
//! let surface = Surface::new(Arc::new(solids::cuboid(DVec3::new(10.0, 10.0, 20.0))?));
//! let label = |at: SurfacePoint| u32::from(at.point_mm.z > 8.0);
//! let refined = LevelCut::new(&surface, &[8.0]).refine(label, 0.4, &Progress::new())?;
//! let skin = Skin::new(refined.vertices, refined.triangles, refined.class);
//! let core = Core { planes_mm: vec![8.0], labels: vec![0, 1] };
//! let partition = cut(skin, &core, 1.2, &surface, &Progress::new())?;
//! let lower = partition.body(0)?.expect("a body");
//! assert!((lower.volume_mm3() - 800.0).abs() < 1e-9);
//! # Ok(())
//! # }
//! ```

mod around;
mod caps;
mod directions;
mod partition;
mod pieces;
mod rind;
mod settle;
#[cfg(test)]
mod tests;

use glam::DVec3;

use crate::mesh::MeshError;
use crate::surface::{Adjacency, cut_by_planes, stitch};
use crate::{Cancelled, Progress, Surface};

pub use partition::Partition;
pub use pieces::{Merged, Piece};

use partition::{AIR, CORE, Face, slab};
use rind::Rind;

/// A vertex this near to a plane lies on it, mm, as where skins are cut.
const ON_MM: f64 = 1e-6;

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

/// Why a part can't be cut into bodies.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CutError {
    /// The skin has a rim, or facets that disagree about which side is out.
    #[error("the skin is not closed near {place}; mend the mesh first", place = crate::inspect::place_words(*.0))]
    Open(DVec3),
    /// What a plane cuts through is no clean outline.
    #[error(
        "the part can't be cut cleanly at a height of {height_mm} mm; move the edge of the region there a little"
    )]
    Tangled {
        /// The height, mm.
        height_mm: f64,
    },
    /// The rind of a label can't be laid without crossing itself.
    #[error("no sound body can be made beneath it near {place}; give a smaller depth", place = crate::inspect::place_words(*.at_mm))]
    Crowded {
        /// The label.
        label: u32,
        /// Where, mm.
        at_mm: DVec3,
    },
    /// A body that came out is not closed: a fault of this program.
    #[error("the body that came out is not closed near {place}", place = crate::inspect::place_words(*.at_mm))]
    NotClosed {
        /// The label.
        label: u32,
        /// Where, mm.
        at_mm: DVec3,
    },
    /// There is one label for each stretch between heights, or the skin has more than can be held.
    #[error("the part can't be held: {0}")]
    Mesh(#[from] MeshError),
    /// Told to stop.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
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
    fn at(&self, vertex: u32) -> DVec3 {
        self.vertices[vertex as usize]
    }

    /// The corners of a triangle, mm.
    fn corners(&self, triangle: usize) -> [DVec3; 3] {
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

    fn label(&self, slab: usize) -> u32 {
        let last = self.labels.last().copied().unwrap_or(0);
        self.labels.get(slab).copied().unwrap_or(last)
    }
}

/// Cuts a part into bodies. `surface` is the part itself, by which the room beneath the skin is
/// measured. `depth_mm` is how deep the rind reaches, square to the skin: less where the part is
/// thinner than twice that, and where the skin is bent more sharply than it leaves room for.
///
/// # Errors
/// [`CutError`].
pub fn cut(
    mut skin: Skin,
    core: &Core,
    depth_mm: f64,
    surface: &Surface,
    progress: &Progress,
) -> Result<Partition, CutError> {
    progress.stage("Cutting bodies");
    put_on_planes(&mut skin.vertices, &core.planes_mm);
    skin.drop_flat();
    let adjacency = Adjacency::new(skin.vertices.len(), &skin.triangles);
    check_closed(&skin, &adjacency)?;
    let own_slab = |triangle: &[u32; 3]| slab(&skin.vertices, *triangle, true, &core.planes_mm);
    let painted: Vec<bool> = skin
        .triangles
        .iter()
        .zip(&skin.label)
        .map(|(triangle, label)| core.label(own_slab(triangle)) != *label)
        .collect();
    let settled = settle::settle(&skin, painted, depth_mm, &adjacency, surface, progress)?;
    progress.stage("Cutting bodies");
    let faces = faces(&skin, &settled.painted, &settled.rind, &adjacency);
    drop(adjacency);
    let mut vertices = skin.vertices;
    vertices.extend(settled.rind.inner_mm);
    let carried = faces
        .into_iter()
        .map(|f| (f.corners, (f.inside, f.outside)));
    let cut = cut_by_planes(&mut vertices, carried, &core.planes_mm);
    progress.check()?;
    let mut faces: Vec<Face> = cut
        .into_iter()
        .map(|(corners, (inside, outside))| {
            let known = |side: u32, is_inside: bool| match side {
                CORE => CORE_SLAB | slab(&vertices, corners, is_inside, &core.planes_mm) as u32,
                other => other,
            };
            Face {
                corners,
                inside: known(inside, true),
                outside: known(outside, false),
            }
        })
        .collect();
    let caps = caps::caps(&vertices, &faces, core, progress)?;
    faces.extend(caps);
    for face in &mut faces {
        for side in [&mut face.inside, &mut face.outside] {
            if let Some(slab) = slab_of(*side) {
                *side = core.label(slab);
            }
        }
    }
    // What parts a body from itself is no wall.
    faces.retain(|face| face.inside != face.outside);
    Ok(Partition::new(
        vertices,
        faces,
        settled.given_up,
        settled.shallow,
    ))
}

/// Marks a slab of the core until labels are given; labels are smaller.
const CORE_SLAB: u32 = 1 << 30;

/// The slab of a side that is the core's.
fn slab_of(side: u32) -> Option<usize> {
    (side != AIR && side != CORE && side & CORE_SLAB != 0).then_some((side & !CORE_SLAB) as usize)
}

impl Skin {
    /// Drops triangles that name a vertex twice: their other two sides are one.
    fn drop_flat(&mut self) {
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

/// Puts vertices onto planes that they are next to.
fn put_on_planes(vertices: &mut [DVec3], planes_mm: &[f64]) {
    for vertex in vertices {
        let after = planes_mm.partition_point(|&p| p < vertex.z - ON_MM);
        if let Some(&plane) = planes_mm.get(after)
            && (vertex.z - plane).abs() <= ON_MM
        {
            vertex.z = plane;
        }
    }
}

/// Every side must have exactly one other triangle, which runs along it the other way.
fn check_closed(skin: &Skin, adjacency: &Adjacency) -> Result<(), CutError> {
    for (t, corners) in skin.triangles.iter().enumerate() {
        for side in 0..3 {
            let mut across = adjacency.across(t as u32, side);
            let fits = match (across.next(), across.next()) {
                (Some((other, s)), None) => {
                    skin.triangles[other as usize][s] == corners[(side + 1) % 3]
                }
                _ => false,
            };
            if !fits {
                return Err(CutError::Open(skin.at(corners[side])));
            }
        }
    }
    Ok(())
}

/// The skin, the inner side of the rind, and the walls where a label of the rind ends.
fn faces(skin: &Skin, painted: &[bool], rind: &Rind, adjacency: &Adjacency) -> Vec<Face> {
    let mut faces = Vec::with_capacity(skin.triangles.len() + skin.triangles.len() / 4);
    let beneath = |v: u32| skin.vertices.len() as u32 + rind.place[v as usize];
    for (t, &corners) in skin.triangles.iter().enumerate() {
        if !painted[t] {
            faces.push(Face {
                corners,
                inside: CORE,
                outside: AIR,
            });
            continue;
        }
        let label = skin.label[t];
        faces.push(Face {
            corners,
            inside: label,
            outside: AIR,
        });
        faces.push(Face {
            corners: corners.map(beneath),
            inside: CORE,
            outside: label,
        });
        for side in 0..3 {
            let Some(other) = wall_across(skin, painted, adjacency, t, side) else {
                continue;
            };
            let (a, b) = (corners[side], corners[(side + 1) % 3]);
            for corners in wall([a, b], [beneath(a), beneath(b)]) {
                faces.push(Face {
                    corners,
                    inside: label,
                    outside: other,
                });
            }
        }
    }
    faces
}

/// The two triangles of the wall beneath a side of a rind's triangle, facing out of it.
fn wall([a, b]: [u32; 2], [deep_a, deep_b]: [u32; 2]) -> [[u32; 3]; 2] {
    // Cut the same way whichever triangle asks.
    match a < b {
        true => [[b, a, deep_a], [b, deep_a, deep_b]],
        false => [[b, a, deep_b], [a, deep_a, deep_b]],
    }
}

/// What lies beyond a side of a rind's triangle, if a wall is to stand there; each wall is told
/// by one of the two triangles only.
fn wall_across(
    skin: &Skin,
    painted: &[bool],
    adjacency: &Adjacency,
    triangle: usize,
    side: usize,
) -> Option<u32> {
    let (other, _) = adjacency.across(triangle as u32, side).next()?;
    if !painted[other as usize] {
        return Some(CORE);
    }
    let label = skin.label[other as usize];
    (label != skin.label[triangle] && triangle < other as usize).then_some(label)
}
