//! Filling holes.

use std::collections::HashMap;

use glam::DVec3;

use super::MendError;
use crate::Mesh;
use crate::mesh::{Edges, polygon};

/// Closes a mesh: along every side that more facets have one way than the other, a face
/// begins. Tells how many faces were put in; none where the mesh is closed.
///
/// What is missing along all sides together always makes up closed lines, since every facet
/// has a closed one. Each line is cut where it meets itself, and every piece becomes a face,
/// seen along its mean normal.
pub(super) fn holes(mesh: &Mesh) -> Result<Option<(Mesh, usize)>, MendError> {
    let rims = rims(&Edges::of(mesh));
    if rims.is_empty() {
        return Ok(None);
    }
    let mut facets = mesh.triangles().to_vec();
    for rim in &rims {
        let places: Vec<DVec3> = rim.iter().map(|&v| mesh.vertices()[v as usize]).collect();
        let number = |i: usize| rim[i];
        let cut = polygon::triangles(&places, |t| facets.push(t.map(number)));
        if cut.is_err() {
            // So tangled a rim is closed all the same, and what crosses is united later.
            facets.extend((2..rim.len()).map(|i| [rim[0], rim[i - 1], rim[i]]));
        }
    }
    let filled = Mesh::new(mesh.vertices().to_vec(), facets)?;
    Ok(Some((
        filled.with_groups(mesh.groups().clone()),
        rims.len(),
    )))
}

/// Closed lines of vertices, each once in a line, along which facets are missing; in the
/// direction in which the missing facets run.
fn rims(edges: &Edges) -> Vec<Vec<u32>> {
    let mut leaving = HashMap::<u32, Vec<u32>>::new();
    let mut starts = Vec::new();
    for edge in edges.iter() {
        let balance = edge.balance();
        // A side that facets run forwards along lacks one that runs backwards.
        let (from, to) = match balance > 0 {
            true => (edge.to, edge.from),
            false => (edge.from, edge.to),
        };
        for _ in 0..balance.unsigned_abs() {
            leaving.entry(from).or_default().push(to);
            starts.push(from);
        }
    }
    let mut rims = Vec::new();
    for start in starts {
        let mut line = Vec::new();
        let mut place = HashMap::<u32, usize>::new();
        let mut at = start;
        while let Some(next) = leaving.get_mut(&at).and_then(Vec::pop) {
            place.insert(at, line.len());
            line.push(at);
            at = next;
            if let Some(&met) = place.get(&at) {
                let rim: Vec<u32> = line.drain(met..).collect();
                for v in &rim {
                    place.remove(v);
                }
                rims.push(rim);
            }
        }
    }
    rims
}
