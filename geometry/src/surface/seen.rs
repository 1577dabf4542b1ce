//! The skin that can be seen of a part with sealed cavities.

use super::bvh::Bvh;
use crate::Mesh;
use crate::inspect::sealed_facets;

/// What is seen of a mesh of which some is sealed.
pub(super) struct Seen {
    /// Of each facet of the whole, whether it is sealed.
    pub(super) sealed: Vec<bool>,
    /// The facets that are seen.
    pub(super) mesh: Mesh,
    /// Their numbers in the whole.
    pub(super) facets: Vec<u32>,
    pub(super) tree: Bvh,
}

impl Seen {
    /// None where all of the mesh is seen.
    pub(super) fn of(whole: &Mesh) -> Option<Self> {
        let sealed = sealed_facets(whole);
        if !sealed.contains(&true) {
            return None;
        }
        let all = whole.triangles().iter().zip(0u32..).zip(&sealed);
        let seen = all.filter(|(_, sealed)| !**sealed).map(|(facet, _)| facet);
        let (triangles, facets) = seen.unzip();
        // Something outermost is always seen; if not, all counts as seen.
        let mesh = Mesh::new(whole.vertices().to_vec(), triangles).ok()?;
        Some(Self {
            tree: Bvh::new(&mesh),
            sealed,
            mesh,
            facets,
        })
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::{DVec3, Mesh, Surface, solids};

    /// A ball with a cavity in which a smaller ball floats, and another ball beside them.
    #[test]
    fn walls_of_cavities_and_what_floats_in_them_are_not_seen() {
        let ball = |radius, x| {
            let ball = solids::icosphere(radius, 2).expect("a ball");
            ball.map(|p| p + DVec3::X * x).expect("moved")
        };
        let all = [
            ball(9.0, 0.0),
            ball(5.0, 0.0).turned_inside_out(),
            ball(2.0, 0.0),
            ball(2.0, 20.0),
        ];
        let surface = Surface::new(Arc::new(Mesh::join(all).expect("a mesh")));
        let each = 320;
        let sealed: Vec<bool> = (0..4).map(|i| surface.is_sealed(i * each)).collect();
        assert_eq!(sealed, [false, true, true, false]);
        let near = surface.nearest_seen_within(DVec3::X * 5.5, 100.0);
        let near = near.expect("something is seen");
        assert!(near.facet < each && (near.point_mm.length() - 9.0).abs() < 0.2);
        assert!(surface.nearest_seen_within(DVec3::X, 5.0).is_none());
        let beside = surface.nearest_seen_within(DVec3::X * 20.5, 100.0);
        assert!(beside.is_some_and(|p| p.facet >= 3 * each));
    }

    /// Shells that touch or cross are seen, even where the middle of a facet lies within another.
    #[test]
    fn shells_that_touch_or_cross_are_seen() {
        let block = |size: f64, x: f64| {
            let block = solids::cuboid(DVec3::splat(size)).expect("a block");
            block.map(|p| p + DVec3::X * x).expect("moved")
        };
        for x in [4.0, 3.0, 1.0] {
            let both = Mesh::join([block(4.0, 0.0), block(4.0, x)]).expect("a mesh");
            assert!(Surface::new(Arc::new(both)).sealed().is_empty(), "{x}");
        }
    }
}
