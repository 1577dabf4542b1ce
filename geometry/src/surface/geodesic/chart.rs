//! Skin that is a hill over a plane: near enough to flat that no way along it is long.
//!
//! Seen along a direction `up`, take all skin that hangs together with a stroke's line over the
//! facets' edges within a flat disc about the line (a stadium, for a line of some length). If
//! every facet there faces up, and none has a rim there, then the skin lies over the whole disc
//! exactly once: it covers the disc without folds, and a disc is simply connected. So from each
//! of its points the way that is straight as seen from above leads to the line. How long it is
//! at most is known from the steepest facet, or, where that is not enough, from the steepest
//! along each part of the way ([`Lanes`]). Nothing is measured, only facets are gone through.

use glam::{DVec2, DVec3};

use super::lanes::Lanes;
use crate::surface::Visited;
use crate::{Mesh, Surface};

/// The least cosine of the angle between a facet's normal and up: facets that are steeper may
/// face down by rounding.
const LEAST_COS: f64 = 0.05;

/// A plane under a line on the skin, with the line along its x axis.
pub(crate) struct Chart {
    up: DVec3,
    along: DVec3,
    across: DVec3,
    origin: DVec3,
    /// The line's length, as seen, mm.
    length: f64,
}

/// A flat disc, and what must be so in it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Disc {
    /// All within this radius of the line is looked at, mm.
    pub(crate) radius_mm: f64,
    /// From so far off, as seen, mm ...
    pub(crate) near_mm: f64,
    /// ... no way to the line may be longer than this, mm.
    pub(crate) reach_mm: f64,
}

impl Chart {
    /// Seen along `up`, as far as that is upright on the line from `a` to `b`.
    pub(crate) fn new(a: DVec3, b: DVec3, up: DVec3) -> Option<Self> {
        let up = up.try_normalize()?;
        let seen = (b - a) - up * up.dot(b - a);
        let length = seen.length();
        let along = seen
            .try_normalize()
            .unwrap_or_else(|| up.any_orthonormal_vector());
        Some(Self {
            up,
            along,
            across: up.cross(along),
            origin: a,
            length,
        })
    }

    fn place(&self, p: DVec3) -> DVec2 {
        let p = p - self.origin;
        DVec2::new(p.dot(self.along), p.dot(self.across))
    }

    /// The skin over a disc about the line, from some of its facets on: the facets, if it is a
    /// hill on which no way is too long. If not, the sum of the area vectors of those that were
    /// gone through.
    pub(crate) fn hill(
        &self,
        surface: &Surface,
        from: impl Iterator<Item = u32>,
        disc: Disc,
        visited: &mut Visited,
    ) -> Result<Vec<u32>, DVec3> {
        let mut facets: Vec<u32> = from.filter(|&facet| visited.put(facet)).collect();
        let found = self.go_through(surface, &mut facets, disc.radius_mm, visited);
        facets.iter().for_each(|&facet| visited.take(facet));
        let (sum, least_cos) = found?;
        match disc.near_mm <= disc.reach_mm * least_cos
            || self
                .lanes(surface.mesh(), &facets, disc.near_mm)
                .longest_mm()
                <= disc.reach_mm
        {
            true => Ok(facets),
            false => Err(sum),
        }
    }

    /// Adds the facets that hang together with the first ones within a radius of the line.
    /// Returns the sum of their area vectors and the least cosine of their slopes; only the sum,
    /// as an error, if it is no hill.
    fn go_through(
        &self,
        surface: &Surface,
        facets: &mut Vec<u32>,
        radius_mm: f64,
        visited: &mut Visited,
    ) -> Result<(DVec3, f64), DVec3> {
        let (mesh, adjacency): (&Mesh, _) = (surface.mesh(), surface.adjacency());
        let mut next = 0;
        let (mut sum, mut least_cos) = (DVec3::ZERO, 1.0f64);
        while let Some(&facet) = facets.get(next) {
            next += 1;
            let corners = mesh.corners(facet as usize);
            let area = (corners[1] - corners[0]).cross(corners[2] - corners[0]);
            sum += area;
            let (rises, size) = (area.dot(self.up), area.length());
            if rises < LEAST_COS * size {
                return Err(sum);
            }
            // A facet without area has no slope, and no way is longer for it.
            if size > 0.0 {
                least_cos = least_cos.min(rises / size);
            }
            let places = corners.map(|p| self.place(p));
            for side in 0..3 {
                let ends = [places[side], places[(side + 1) % 3]];
                if !self.comes_within(ends, radius_mm) {
                    continue;
                }
                let mut across = adjacency.across(facet, side);
                match (across.next(), across.next()) {
                    (Some((other, _)), None) => {
                        if visited.put(other) {
                            facets.push(other);
                        }
                    }
                    _ => return Err(sum),
                }
            }
        }
        Ok((sum, least_cos))
    }

    /// The slopes of facets along ways to the line.
    fn lanes(&self, mesh: &Mesh, facets: &[u32], near_mm: f64) -> Lanes {
        let mut lanes = Lanes::new(self.length, near_mm);
        for &facet in facets {
            let corners = mesh.corners(facet as usize);
            let area = (corners[1] - corners[0]).cross(corners[2] - corners[0]);
            if area == DVec3::ZERO {
                continue;
            }
            let slope = -DVec2::new(area.dot(self.along), area.dot(self.across));
            lanes.put(corners.map(|p| self.place(p)), slope / area.dot(self.up));
        }
        lanes
    }

    /// Whether a straight piece comes within a radius of the line; where it is not sure, yes.
    fn comes_within(&self, [a, b]: [DVec2; 2], radius: f64) -> bool {
        if a.y.min(b.y) > radius
            || a.y.max(b.y) < -radius
            || a.x.min(b.x) > self.length + radius
            || a.x.max(b.x) < -radius
        {
            return false;
        }
        // Beyond the ends of the line, only what is near to them counts.
        let near = |centre: DVec2| off_segment(a, b, centre) <= radius;
        let beside = a.x.max(b.x) >= 0.0 && a.x.min(b.x) <= self.length;
        beside || near(DVec2::ZERO) || near(DVec2::new(self.length, 0.0))
    }
}

fn off_segment(a: DVec2, b: DVec2, p: DVec2) -> f64 {
    let ab = b - a;
    let whole = ab.length_squared();
    let share = match whole > 0.0 {
        true => ((p - a).dot(ab) / whole).clamp(0.0, 1.0),
        false => 0.0,
    };
    (a + ab * share).distance(p)
}
