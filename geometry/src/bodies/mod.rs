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
mod error;
mod partition;
mod pieces;
mod rind;
mod settle;
mod skin;
#[cfg(test)]
mod tests;
mod wall;

use glam::DVec3;

use crate::surface::{Adjacency, cut_by_planes};
use crate::{Progress, Surface};

pub use error::CutError;
pub use partition::Partition;
pub use pieces::{Merged, Piece};
pub use skin::{Core, Skin};

use partition::{AIR, CORE, CORE_SLAB, Face, slab, slab_of};
use rind::Rind;
use wall::{wall, wall_across};

/// A vertex this near to a plane lies on it, mm, as where skins are cut.
const ON_MM: f64 = 1e-6;

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
    // A large part's arrays are no longer held than they are needed.
    drop((adjacency, skin.triangles, skin.label, settled.painted));
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
