//! Things that occur a number of times, and how small a thing still counts.

use glam::DVec3;
use serde::Serialize;

use crate::Mesh;

/// Rim vertices nearer to each other than this, mm, make a crack rather than a hole; it is
/// also the height below which a facet of a part of usual size is a sliver. A tenth of a
/// micron: no printer shows it, and single-precision files cannot hold it for parts of more than a metre.
pub(crate) const CRACK_MM: f64 = 1e-4;

/// A hole narrower than this on the average, mm, is a slit: facets meet there without
/// sharing their corners, and no printer shows it.
pub(crate) const SLIT_MM: f64 = 0.01;

/// Something that occurs a number of times, and the first place where it does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Tally {
    /// How often.
    pub count: usize,
    /// Where first, mm.
    pub first_mm: Option<DVec3>,
}

impl Tally {
    pub(super) fn add(&mut self, place: impl FnOnce() -> DVec3) {
        self.count += 1;
        if self.first_mm.is_none() {
            self.first_mm = Some(place());
        }
    }

    /// With what occurs after it.
    pub(super) fn and(self, later: Self) -> Self {
        Self {
            count: self.count + later.count,
            first_mm: self.first_mm.or(later.first_mm),
        }
    }
}

pub(super) fn centroid(mesh: &Mesh, facet: usize) -> DVec3 {
    let [a, b, c] = mesh.corners(facet);
    (a + b + c) / 3.0
}
