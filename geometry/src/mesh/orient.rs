//! Turning facets so that neighbours face the same way.

use std::sync::Arc;

use super::edges::{Edge, Edges};
use crate::Mesh;

/// Turns facets so that neighbours across a side that two facets share run the same way:
/// those with the lesser area in each connected piece. Tells how many; none where all do.
///
/// A surface with one side only, as a Möbius band has, is left with a seam, which filling
/// closes.
pub(crate) fn alike(mesh: &Mesh, edges: &Edges) -> Option<(Mesh, usize)> {
    let disagree = |e: &Edge<'_>| matches!(e.uses, [a, b] if a.forward() == b.forward());
    if !edges.iter().any(|e| disagree(&e)) {
        return None;
    }
    let count = mesh.triangles().len();
    let mut neighbours = vec![Vec::new(); count];
    for edge in edges.iter() {
        if let [a, b] = edge.uses {
            let opposed = a.forward() == b.forward();
            neighbours[a.facet() as usize].push((b.facet(), opposed));
            neighbours[b.facet() as usize].push((a.facet(), opposed));
        }
    }
    let mut turned: Vec<Option<bool>> = vec![None; count];
    let mut flips = 0;
    for first in 0..count {
        if turned[first].is_some() {
            continue;
        }
        let mut piece = vec![first as u32];
        turned[first] = Some(false);
        let mut next = 0;
        while let Some(&facet) = piece.get(next) {
            next += 1;
            let own = turned[facet as usize].unwrap_or_default();
            for &(other, opposed) in &neighbours[facet as usize] {
                if turned[other as usize].is_none() {
                    turned[other as usize] = Some(own != opposed);
                    piece.push(other);
                }
            }
        }
        let area = |f: &u32| mesh.area_vector(*f as usize).length();
        let is_turned = |f: &&u32| turned[**f as usize] == Some(true);
        let of_turned: f64 = piece.iter().filter(is_turned).map(area).sum();
        let of_all: f64 = piece.iter().map(area).sum();
        let other_way = of_turned > 0.5 * of_all;
        for &facet in &piece {
            let way = turned[facet as usize].unwrap_or_default() != other_way;
            turned[facet as usize] = Some(way);
            flips += usize::from(way);
        }
    }
    let mut facets = mesh.clone();
    let triangles = Arc::make_mut(&mut facets.triangles);
    for (corners, turned) in triangles.iter_mut().zip(&turned) {
        if *turned == Some(true) {
            corners.swap(0, 1);
        }
    }
    Some((facets, flips))
}
