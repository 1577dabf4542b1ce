//! Vertices that several solids share, one for each.

use super::MendError;
use crate::Mesh;
use crate::mesh::{Edges, around};

/// The same surface with every vertex that belongs to several fans of facets doubled, so that
/// solids that touch share none, and every side has two facets.
pub(crate) fn where_solids_touch(mesh: &Mesh) -> Result<Mesh, MendError> {
    let facets = mesh.triangles();
    let mut fans = Fans((0..3 * facets.len() as u32).collect());
    let corner = |facet: u32, vertex: u32| {
        let place = facets[facet as usize].iter().position(|v| *v == vertex);
        3 * facet + place.unwrap_or(0) as u32
    };
    for edge in Edges::of(mesh).iter() {
        let mut join = |[a, b]: [u32; 2]| {
            for end in [edge.from, edge.to] {
                fans.join(corner(a, end), corner(b, end));
            }
        };
        match edge.uses {
            [_] => {}
            [a, b] => join([a.facet(), b.facet()]),
            _ => around::pairs(mesh, edge).into_iter().for_each(join),
        }
    }
    // A vertex keeps its number for its first fan; the others get new ones.
    let mut vertices = mesh.vertices().to_vec();
    let mut first_fan = vec![u32::MAX; vertices.len()];
    let mut number_of = std::collections::HashMap::<u32, u32>::new();
    let mut split = facets.to_vec();
    for (i, vertex) in split.as_flattened_mut().iter_mut().enumerate() {
        let fan = fans.root(i as u32);
        let first = &mut first_fan[*vertex as usize];
        if *first == u32::MAX {
            *first = fan;
        }
        if *first != fan {
            *vertex = *number_of.entry(fan).or_insert_with(|| {
                vertices.push(vertices[*vertex as usize]);
                vertices.len() as u32 - 1
            });
        }
    }
    if number_of.is_empty() {
        return Ok(mesh.clone());
    }
    Ok(Mesh::new(vertices, split)?.with_groups(mesh.groups().clone()))
}

/// Disjoint sets of corners: Tarjan and van Leeuwen 1984, with path halving.
struct Fans(Vec<u32>);

impl Fans {
    fn root(&mut self, mut corner: u32) -> u32 {
        loop {
            let above = self.0[corner as usize];
            if above == corner {
                return corner;
            }
            let next = self.0[above as usize];
            self.0[corner as usize] = next;
            corner = next;
        }
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}
