//! Uniting shells, by the library `manifold-rust`.
//!
//! It cuts all facets where they meet, exactly, finds how often the surface winds about each
//! cell between them, and keeps the walls between cells of winding 0 and others: Zhou,
//! Grinspun, Zorin and Jacobson, Mesh Arrangements for Solid Geometry, 2016.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use glam::DVec3;
use manifold_rust::cancel::CancelToken;
use manifold_rust::manifold::Manifold;
use manifold_rust::types::{Error, MeshGL64, WindingRule};

use super::MendError;
use crate::{Mesh, Progress};

/// How often a wish to stop is looked for.
const BEAT: Duration = Duration::from_millis(50);

/// The surface of where a closed mesh winds about a point any number of times but 0.
pub(super) fn by_winding(mesh: &Mesh, progress: &Progress) -> Result<Mesh, MendError> {
    let (low, high) = mesh.bounds();
    // Near the origin numbers are finer, and the library's own tolerance is.
    let middle = low.midpoint(high);
    let soup = Manifold::from_mesh_gl64_robust(&handed_over(mesh, middle));
    told(soup.status())?;
    let token = CancelToken::new();
    let done = AtomicBool::new(false);
    let united = std::thread::scope(|scope| {
        let look = || {
            while !done.load(Ordering::Acquire) {
                if progress.check().is_err() {
                    token.cancel();
                }
                std::thread::park_timeout(BEAT);
            }
        };
        // Without the thread it can't be cancelled, and the work goes on.
        let watcher = std::thread::Builder::new().spawn_scoped(scope, look).ok();
        let united = soup.rebuild_solid_with_token(WindingRule::Nonzero, Some(&token));
        done.store(true, Ordering::Release);
        if let Some(watcher) = watcher {
            watcher.thread().unpark();
        }
        united
    });
    progress.check()?;
    told(united.status())?;
    if united.is_empty() {
        return Err(MendError::NoSolid);
    }
    handed_back(&united.get_mesh_gl64(-1), mesh, middle)
}

fn handed_over(mesh: &Mesh, middle: DVec3) -> MeshGL64 {
    let moved = mesh.vertices().iter().map(|p| (*p - middle).to_array());
    let corners = mesh.triangles().as_flattened().iter();
    MeshGL64 {
        num_prop: 3,
        vert_properties: moved.flatten().collect(),
        tri_verts: corners.map(|v| u64::from(*v)).collect(),
        // Each facet's number, to find its name again.
        face_id: (0..mesh.triangles().len() as u64).collect(),
        ..MeshGL64::default()
    }
}

/// The mesh as the library gives it back, with the names of the facets that pieces came from.
fn handed_back(united: &MeshGL64, mesh: &Mesh, middle: DVec3) -> Result<Mesh, MendError> {
    let stride = usize::try_from(united.num_prop).unwrap_or(3).max(3);
    let vertices = united.vert_properties.chunks_exact(stride);
    let vertices = vertices.map(|p| DVec3::new(p[0], p[1], p[2]) + middle);
    let corners = united.tri_verts.as_chunks::<3>().0.iter();
    let sources = united.face_id.iter().copied().chain(std::iter::repeat(0));
    let mut facets: Vec<(usize, [u32; 3])> = sources
        .map(|id| id as usize)
        .zip(corners.map(|t| t.map(|v| v as u32)))
        .collect();
    facets.sort_by_key(|(source, _)| *source);
    let (sources, facets): (Vec<usize>, Vec<[u32; 3]>) = facets.into_iter().unzip();
    let groups = mesh.groups().of_kept(&sources);
    Ok(Mesh::new(vertices.collect(), facets)?.with_groups(groups))
}

fn told(status: Error) -> Result<(), MendError> {
    match status {
        Error::NoError => Ok(()),
        other => Err(MendError::NotUnited {
            why: other.to_str().to_owned(),
        }),
    }
}
