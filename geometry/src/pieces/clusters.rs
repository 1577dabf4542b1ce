//! Pieces taken together where a mesh is finer than it need be.

use glam::{DVec3, Vec3};

use super::{Links, Pieces};
use crate::Mesh;

/// Of the square of the pieces' size, the area from which a cluster takes no more pieces.
const ENOUGH: f64 = 0.5;

/// Where things are and how large.
pub(super) struct Shapes {
    pub(super) middles: Vec<Vec3>,
    pub(super) area_mm2: Vec<f32>,
    /// How much of the normal is upright, 0 for a wall.
    pub(super) flat: Vec<f32>,
}

impl Shapes {
    fn with_capacity(count: usize) -> Self {
        Self {
            middles: Vec::with_capacity(count),
            area_mm2: Vec::with_capacity(count),
            flat: Vec::with_capacity(count),
        }
    }

    fn push(&mut self, middle: Vec3, area_mm2: f32, flat: f32) {
        self.middles.push(middle);
        self.area_mm2.push(area_mm2);
        self.flat.push(flat);
    }

    /// Of pieces.
    pub(super) fn of_pieces(pieces: &Pieces, mesh: &Mesh) -> Self {
        let mut shapes = Self::with_capacity(pieces.count());
        for facet in 0..mesh.triangles().len() {
            let corners = mesh.corners(facet);
            let vector = mesh.area_vector(facet);
            let area = vector.length();
            let flat = (vector.z / area.max(f64::MIN_POSITIVE)).abs() as f32;
            for piece in pieces.each_of(mesh, facet) {
                let [a, b, c] = piece.weights(0.5, 0.5);
                let middle = corners[0] * a + corners[1] * b + corners[2] * c;
                shapes.push(middle.as_vec3(), (area * piece.share()) as f32, flat);
            }
        }
        shapes
    }
}

/// Pieces together: linked ones that lie within the pieces' size of each other, until they have
/// about the area of a whole piece. A piece of that area stays alone. So what is done piece by
/// piece costs what the skin's area asks for, however fine the mesh.
pub(super) struct Clusters {
    /// The cluster of each piece.
    pub(super) of_piece: Vec<u32>,
    pub(super) shapes: Shapes,
    pub(super) links: Links,
}

impl Clusters {
    pub(super) fn new(pieces: &Pieces, links: &Links, mesh: &Mesh) -> Self {
        let of_pieces = Shapes::of_pieces(pieces, mesh);
        let near = (0.5 * pieces.size_mm()) as f32;
        let enough = (ENOUGH * pieces.size_mm() * pieces.size_mm()) as f32;
        let mut of_piece = vec![u32::MAX; pieces.count()];
        let mut shapes = Shapes::with_capacity(pieces.count());
        let mut members: Vec<u32> = Vec::new();
        for first in 0..pieces.count() {
            if of_piece[first] != u32::MAX {
                continue;
            }
            let number = shapes.area_mm2.len() as u32;
            of_piece[first] = number;
            members.clear();
            members.push(first as u32);
            let (mut at, mut area) = (0, of_pieces.area_mm2[first]);
            while let (true, Some(&here)) = (area < enough, members.get(at)) {
                at += 1;
                for &other in links.of(here as usize) {
                    let place = other as usize;
                    let middles = &of_pieces.middles;
                    if of_piece[place] == u32::MAX
                        && area < enough
                        && middles[place].distance_squared(middles[first]) <= near * near
                    {
                        of_piece[place] = number;
                        area += of_pieces.area_mm2[place];
                        members.push(other);
                    }
                }
            }
            shapes.push_mean(&of_pieces, &members);
        }
        let links = links.between(&of_piece, shapes.area_mm2.len());
        Self {
            of_piece,
            shapes,
            links,
        }
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.shapes.area_mm2.len()
    }
}

impl Shapes {
    /// Adds one thing that is made of several others.
    fn push_mean(&mut self, of: &Self, members: &[u32]) {
        if let [only] = members {
            let only = *only as usize;
            return self.push(of.middles[only], of.area_mm2[only], of.flat[only]);
        }
        let (mut middle, mut area, mut flat) = (DVec3::ZERO, 0.0, 0.0);
        for &member in members {
            let own = f64::from(of.area_mm2[member as usize]);
            area += own;
            middle += of.middles[member as usize].as_dvec3() * own;
            flat += f64::from(of.flat[member as usize]) * own;
        }
        // What has no area is where its first member is.
        let first = members
            .first()
            .map_or(Vec3::ZERO, |m| of.middles[*m as usize]);
        match area > 0.0 {
            true => self.push((middle / area).as_vec3(), area as f32, (flat / area) as f32),
            false => self.push(first, 0.0, 0.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{Surface, solids};

    fn clusters(subdivisions: u32, size_mm: f64) -> (Pieces, Clusters) {
        let surface = Surface::new(Arc::new(solids::icosphere(10.0, subdivisions).unwrap()));
        let pieces = Pieces::new(surface.mesh(), size_mm);
        let links = Links::new(&pieces, &surface);
        let clusters = Clusters::new(&pieces, &links, surface.mesh());
        (pieces, clusters)
    }

    #[test]
    fn whole_pieces_stay_alone() {
        let (pieces, clusters) = clusters(2, 0.2);
        assert!(clusters.count() as f64 > 0.9 * pieces.count() as f64);
    }

    #[test]
    fn a_finer_mesh_has_no_more_clusters() {
        // Facets of 0.0154 mm² and of a quarter of that, where a whole piece has 0.09.
        let [coarse, fine] = [6, 7].map(|subdivisions| clusters(subdivisions, 0.3));
        assert!(fine.0.count() > 3 * coarse.0.count());
        assert!((fine.1.count() as f64) < 1.3 * coarse.1.count() as f64);
        for (pieces, clusters) in [coarse, fine] {
            let area: f32 = clusters.shapes.area_mm2.iter().sum();
            assert!((area / (400.0 * std::f32::consts::PI) - 1.0).abs() < 1e-3);
            assert!(
                clusters
                    .of_piece
                    .iter()
                    .all(|c| (*c as usize) < clusters.count())
            );
            assert_eq!(clusters.of_piece.len(), pieces.count());
            for cluster in 0..clusters.count() {
                let around = clusters.links.of(cluster);
                assert!(!around.is_empty() && !around.contains(&(cluster as u32)));
                for &other in around {
                    assert!(
                        clusters
                            .links
                            .of(other as usize)
                            .contains(&(cluster as u32))
                    );
                    let [a, b] = [cluster, other as usize].map(|c| clusters.shapes.middles[c]);
                    assert!(a.distance(b) < 2.0 * 0.3);
                }
            }
        }
    }
}
