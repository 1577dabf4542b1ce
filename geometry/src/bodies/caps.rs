//! Level walls across the core, where its label changes.

use std::collections::BTreeMap;

use glam::DVec3;
use rustc_hash::FxHashMap;

use super::partition::{CORE_SLAB, Face, slab_of};
use super::{Core, CutError};
use crate::Progress;
use crate::mesh::polygon::fill_outlines;

/// For each side by its ends, lesser first: how often it is run along forwards, less backwards.
type Balance = FxHashMap<(u32, u32), i32>;

/// The walls between the slabs of the core. Beneath every plane the slab lacks what would close
/// it; that is its outline there, and it is filled without a new vertex.
pub(super) fn caps(
    vertices: &[DVec3],
    faces: &[Face],
    core: &Core,
    progress: &Progress,
) -> Result<Vec<Face>, CutError> {
    let mut caps = Vec::new();
    for (plane, balance) in open_sides(vertices, faces, core) {
        progress.check()?;
        let height_mm = core.planes_mm.get(plane).copied().unwrap_or(0.0);
        let tangled = CutError::Tangled { height_mm };
        let sides = missing(&balance).ok_or_else(|| tangled.clone())?;
        let filled = fill_outlines(&sides, |v| vertices[v as usize].truncate()).ok_or(tangled)?;
        let slab = CORE_SLAB | plane as u32;
        caps.extend(filled.into_iter().map(|corners| Face {
            corners,
            inside: slab,
            outside: slab + 1,
        }));
    }
    Ok(caps)
}

/// The sides on each plane of the slab beneath it.
fn open_sides(vertices: &[DVec3], faces: &[Face], core: &Core) -> BTreeMap<usize, Balance> {
    let mut found = BTreeMap::<usize, Balance>::new();
    for face in faces {
        for (side, forwards) in [(face.inside, true), (face.outside, false)] {
            let Some(slab) = slab_of(side) else { continue };
            let Some(&plane) = core.planes_mm.get(slab) else {
                continue;
            };
            if core.label(slab) == core.label(slab + 1) {
                continue;
            }
            let on = face.corners.map(|v| vertices[v as usize].z == plane);
            for i in 0..3 {
                let j = (i + 1) % 3;
                if on[i] && on[j] {
                    let (a, b) = (face.corners[i], face.corners[j]);
                    let way = if (a < b) == forwards { 1 } else { -1 };
                    *found
                        .entry(slab)
                        .or_default()
                        .entry((a.min(b), a.max(b)))
                        .or_default() += way;
                }
            }
        }
    }
    found
}

/// The sides that what closes a slab must run along, in order; none if one is wanted twice.
fn missing(balance: &Balance) -> Option<Vec<[u32; 2]>> {
    let mut sides = Vec::new();
    for (&(low, high), &count) in balance {
        match count {
            0 => {}
            1 => sides.push([high, low]),
            -1 => sides.push([low, high]),
            _ => return None,
        }
    }
    sides.sort_unstable();
    Some(sides)
}
