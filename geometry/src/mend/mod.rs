//! Mending: from a mesh that is not sound to one that bounds a solid.
//!
//! [`mend`] welds rims that differ by their file's rounding, turns facets the same way,
//! fills holes, and unites what crosses, overlaps or lies within by the non-zero winding
//! rule: the same rule by which [`crate::layers`] draws outlines, so a mended part has the
//! layers that it had unmended. Cavities stay. Slivers are taken out in the end, where the
//! mesh stays sound. A sound mesh without any comes back as it is.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! use geometry::{DVec3, Mesh, Progress, inspect::Inspection, mend::mend, solids};
//! let block = solids::cuboid(DVec3::splat(2.0))?;
//! let moved = block.clone().map(|p| p + DVec3::X)?;
//! let mended = mend(&Mesh::join([block, moved])?, &Progress::new())?;
//! assert!((mended.mesh.volume_mm3() - 12.0).abs() < 1e-9);
//! assert!(Inspection::of(&mended.mesh).is_sound());
//! # Ok(())
//! # }
//! ```

mod error;
mod fill;
mod slivers;
mod split;
#[cfg(test)]
mod tests;
mod tidy;
mod unite;

pub(crate) use split::where_solids_touch;

use crate::inspect::{Inspection, is_sheet};
use crate::mesh::{Edges, orient};
use crate::{Mesh, Progress};

pub use error::MendError;

/// Slivers stay if taking them out would change the volume by more than this share.
const VOLUME_MOVED: f64 = 5e-7;

/// A mended mesh.
#[derive(Clone, Debug, PartialEq)]
pub struct Mended {
    /// The mesh: closed, every facet facing out, nothing crossing or doubled.
    pub mesh: Mesh,
    /// What was done, a sentence each; empty where nothing was wrong.
    pub done: Vec<String>,
}

/// Mends a mesh. Facets keep the names of the objects that they came from.
///
/// # Errors
/// [`MendError`].
pub fn mend(mesh: &Mesh, progress: &Progress) -> Result<Mended, MendError> {
    progress.stage("Inspecting the mesh");
    let before = Inspection::of(mesh);
    progress.check()?;
    let mut done = Vec::new();
    if before.is_sound() {
        return finished(mesh, &before, done, progress);
    }
    progress.stage("Mending the mesh");
    let mut mesh = closed(mesh, &mut done)?;
    progress.check()?;
    let seen = Inspection::of(&mesh);
    progress.check()?;
    if seen.is_sheet() {
        return Err(MendError::NoSolid);
    }
    if needs_uniting(&seen) {
        progress.stage("Uniting shells");
        mesh = unite::by_winding(&mesh, progress)?;
        done.push("Shells that cross, overlap or lie within each other were united.".into());
    } else if seen.inside_out_shells.count > 0 {
        mesh = mesh.turned_inside_out();
        done.push("The mesh faced inwards and was turned.".into());
    }
    if is_sheet(mesh.volume_mm3(), mesh.area_mm2()) {
        return Err(MendError::NoSolid);
    }
    progress.stage("Looking over what came out");
    let after = Inspection::of(&mesh);
    progress.check()?;
    if !is_mended(&after) {
        let what = after.unmended().into_iter().next().unwrap_or_default();
        return Err(MendError::StillUnsound { what });
    }
    finished(&mesh, &after, done, progress)
}

/// Gives each solid vertices of its own and takes slivers out of a mesh that is sound without
/// that; they stay if it would not be sound after it.
fn finished(
    mesh: &Mesh,
    seen: &Inspection,
    mut done: Vec<String>,
    progress: &Progress,
) -> Result<Mended, MendError> {
    let mesh = where_solids_touch(mesh)?;
    if seen.slivers.count + seen.empty_facets.count == 0 {
        return Ok(Mended { mesh, done });
    }
    let Some((without, count)) =
        slivers::taken_out(&mesh, 0.5 * VOLUME_MOVED * seen.volume_mm3.abs())
    else {
        return Ok(Mended { mesh, done });
    };
    progress.check()?;
    let after = Inspection::of(&without);
    progress.check()?;
    let moved = (after.volume_mm3 / seen.volume_mm3 - 1.0).abs();
    if !is_mended(&after) || moved.is_nan() || moved > VOLUME_MOVED {
        return Ok(Mended { mesh, done });
    }
    done.push(counted(
        count,
        "1 sliver was removed.",
        "slivers were removed.",
    ));
    Ok(Mended {
        mesh: without,
        done,
    })
}

/// Whether nothing is left to mend.
fn is_mended(seen: &Inspection) -> bool {
    seen.is_closed() && !needs_uniting(seen) && seen.inside_out_shells.count == 0
}

/// Whether shells must be cut where they meet.
fn needs_uniting(seen: &Inspection) -> bool {
    let winding = seen.crossings.count() + seen.doubled_shells.count + seen.duplicate_facets.count;
    let crowded = seen.non_manifold_edges.count > seen.touching_edges.count;
    match seen.inside_out_shells.count {
        0 => winding > 0 || crowded || seen.volume_error().abs() > 1e-6,
        // A lone shell only needs to be turned; which of several are hollows, winding tells.
        _ => winding > 0 || crowded || seen.shells.len() > 1,
    }
}

/// A surface whose corners differ in the last digits that its file holds, as some CAD programs
/// write it, closed by welding them, and how many went: no fault that anyone need be asked about.
/// None where nothing is open, or welding alone does not close all of it.
pub fn close_cracks(mesh: &Mesh) -> Option<(Mesh, usize)> {
    let (welded, count) = tidy::weld_rims(mesh)?;
    let closed = Edges::of(&welded).iter().all(|edge| edge.balance() == 0);
    closed.then_some((welded, count))
}

/// What [`close_cracks`] did, in words.
pub fn closed_cracks(count: usize) -> String {
    counted(
        count,
        "1 corner that differed from its neighbour by rounding was welded to it.",
        "corners that differed from their neighbours by rounding were welded to them.",
    )
}

/// Welds, drops, turns and fills, until every edge has as many facets one way as the other.
fn closed(mesh: &Mesh, done: &mut Vec<String>) -> Result<Mesh, MendError> {
    let mut mesh = mesh.clone();
    if let Some((welded, count)) = tidy::weld_rims(&mesh) {
        mesh = welded;
        done.push(counted(
            count,
            "1 corner was welded to its neighbour.",
            "corners were welded to their neighbours.",
        ));
    }
    if let Some((single, count)) = tidy::drop_doubles(&mesh)? {
        mesh = single;
        done.push(counted(
            count,
            "1 facet that was there twice was dropped.",
            "facets that were there twice were dropped.",
        ));
    }
    if let Some((turned, count)) = orient::alike(&mesh, &Edges::of(&mesh)) {
        mesh = turned;
        done.push(counted(
            count,
            "1 facet was turned to face as its neighbours do.",
            "facets were turned to face as their neighbours do.",
        ));
    }
    if let Some((filled, count)) = fill::holes(&mesh)? {
        mesh = filled;
        done.push(counted(count, "1 hole was filled.", "holes were filled."));
    }
    Ok(mesh)
}

fn counted(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => one.to_owned(),
        _ => format!("{count} {many}"),
    }
}
