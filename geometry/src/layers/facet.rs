//! One facet between two heights: the closed forms under every volume and area per layer.

use glam::{DVec2, DVec3};

/// What a facet, or a whole mesh, has between two heights.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Between {
    /// Enclosed volume, mm³. Of a single facet: its term in the divergence theorem.
    pub volume_mm3: f64,
    /// Area of skin, mm².
    pub skin_mm2: f64,
}

impl std::ops::AddAssign for Between {
    fn add_assign(&mut self, other: Self) {
        self.volume_mm3 += other.volume_mm3;
        self.skin_mm2 += other.skin_mm2;
    }
}

/// A facet made ready to be cut by heights.
///
/// Both measures come from one shape: at the height `z` the facet is cut in a line whose
/// length rises in proportion from its lowest vertex to its middle one, and falls to its
/// highest. The area is the integral of that length. For the volume, the divergence
/// theorem is used with the field `(x, y, 0) / 2`: it has divergence 1 and no flux through
/// a horizontal cap, so a slab's volume is a sum over its facets alone, and the flux
/// density depends on the height alone, linearly, since a facet is flat. Both integrals
/// are polynomials, written here in factored form so that a thin slab of a tall facet
/// loses no digits.
#[derive(Clone, Copy, Debug)]
pub(super) struct FacetClip {
    low: f64,
    rise: f64,
    /// Height of the middle vertex as a fraction of `rise`.
    bend: f64,
    area: f64,
    /// Area vector's upward part: positive when the facet faces up.
    facing: f64,
    /// Horizontal position times the area vector, at the lowest vertex.
    flux_low: f64,
}

impl FacetClip {
    /// Positions are taken from `axis`, best in the middle of the mesh.
    pub(super) fn new(corners: [DVec3; 3], axis: DVec2) -> Self {
        let [a, b, c] = corners;
        let area_vector = (b - a).cross(c - a) * 0.5;
        let [low, middle, high] = by_height(corners);
        let rise = high.z - low.z;
        Self {
            low: low.z,
            rise,
            bend: (middle.z - low.z) / rise,
            area: area_vector.length(),
            facing: area_vector.z,
            flux_low: (low.truncate() - axis).dot(area_vector.truncate()),
        }
    }

    /// Whether all of the facet lies at one height: then [`FacetClip::between`] is nothing,
    /// and the area is [`FacetClip::flat_skin`].
    pub(super) fn is_flat(&self) -> bool {
        self.rise <= 0.0
    }

    /// Whether its outside is above it.
    pub(super) fn faces_up(&self) -> bool {
        self.facing > 0.0
    }

    /// The whole area, for a flat facet.
    pub(super) fn flat_skin(&self) -> Between {
        Between {
            volume_mm3: 0.0,
            skin_mm2: self.area,
        }
    }

    /// The share between two heights, for a facet that is not flat.
    #[inline]
    pub(super) fn between(&self, bottom_mm: f64, top_mm: f64) -> Between {
        // Heights as fractions of the facet's rise.
        let from = ((bottom_mm - self.low) / self.rise).clamp(0.0, 1.0);
        let to = ((top_mm - self.low) / self.rise).clamp(0.0, 1.0);
        let lean = self.facing * self.rise;
        let (mut width, mut flux) = (0.0, 0.0);
        let (a, b) = (from.min(self.bend), to.min(self.bend));
        if b > a {
            let (zeroth, first) = ramp(a, b, self.bend);
            width += zeroth;
            flux += self.flux_low * zeroth - lean * first;
        }
        // The upper piece is the lower one upside down, measured from the highest vertex.
        let (a, b) = (1.0 - to.max(self.bend), 1.0 - from.max(self.bend));
        if b > a {
            let (zeroth, first) = ramp(a, b, 1.0 - self.bend);
            width += zeroth;
            flux += (self.flux_low - lean) * zeroth + lean * first;
        }
        Between {
            volume_mm3: flux,
            skin_mm2: 2.0 * width * self.area,
        }
    }
}

/// Integrals of `u/end` and `u·u/end` over `a..b`.
#[inline]
fn ramp(a: f64, b: f64, end: f64) -> (f64, f64) {
    let step = (b - a) / end;
    (step * (a + b) / 2.0, step * (a * a + a * b + b * b) / 3.0)
}

/// Corners from the lowest to the highest.
#[inline]
fn by_height([a, b, c]: [DVec3; 3]) -> [DVec3; 3] {
    let (a, b) = if b.z < a.z { (b, a) } else { (a, b) };
    let (b, c) = if c.z < b.z { (c, b) } else { (b, c) };
    let (a, b) = if b.z < a.z { (b, a) } else { (a, b) };
    [a, b, c]
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn corner() -> impl Strategy<Value = DVec3> {
        (-9.0..9.0f64, -9.0..9.0f64, -9.0..9.0f64).prop_map(DVec3::from)
    }

    /// The same by clipping the polygon and taking its area and centroid.
    fn by_polygon(corners: [DVec3; 3], bottom: f64, top: f64) -> Between {
        let keep = |polygon: Vec<DVec3>, side: f64, z: f64| {
            let mut kept = Vec::new();
            for (i, &p) in polygon.iter().enumerate() {
                let q = polygon[(i + 1) % polygon.len()];
                let (dp, dq) = (side * (p.z - z), side * (q.z - z));
                if dp >= 0.0 {
                    kept.push(p);
                }
                if (dp >= 0.0) != (dq >= 0.0) {
                    kept.push(p + (q - p) * (dp / (dp - dq)));
                }
            }
            kept
        };
        let polygon = keep(keep(corners.to_vec(), 1.0, bottom), -1.0, top);
        let mut sum = Between::default();
        for i in 1..polygon.len().saturating_sub(1) {
            let [a, b, c] = [polygon[0], polygon[i], polygon[i + 1]];
            let vector = (b - a).cross(c - a) * 0.5;
            let centroid = (a + b + c) / 3.0;
            sum += Between {
                volume_mm3: 0.5 * centroid.truncate().dot(vector.truncate()),
                skin_mm2: vector.length(),
            };
        }
        sum
    }

    proptest! {
        #[test]
        fn closed_forms_agree_with_clipping(
            a in corner(), b in corner(), c in corner(), z in -9.0..9.0f64, thick in 0.01..9.0f64
        ) {
            let facet = FacetClip::new([a, b, c], DVec2::ZERO);
            let (found, expected) = (
                facet.between(z, z + thick),
                by_polygon([a, b, c], z, z + thick),
            );
            prop_assert!((found.skin_mm2 - expected.skin_mm2).abs() < 1e-10);
            prop_assert!((found.volume_mm3 - expected.volume_mm3).abs() < 1e-9);
        }

        #[test]
        fn slabs_add_up(a in corner(), b in corner(), c in corner(), cut in -9.0..9.0f64) {
            let facet = FacetClip::new([a, b, c], DVec2::ZERO);
            let whole = facet.between(-10.0, 10.0);
            let mut sum = facet.between(-10.0, cut);
            sum += facet.between(cut, 10.0);
            prop_assert!((whole.skin_mm2 - facet.area).abs() <= 1e-14 * facet.area);
            prop_assert!((sum.skin_mm2 - whole.skin_mm2).abs() <= 1e-14 * facet.area);
            prop_assert!((sum.volume_mm3 - whole.volume_mm3).abs() <= 1e-12 * (1.0 + facet.area));
        }
    }

    #[test]
    fn a_facet_with_a_level_side_is_whole_too() {
        let flat_low = [DVec3::ZERO, DVec3::X, DVec3::new(0.0, 0.0, 1.0)];
        let flat_high = [DVec3::Z, DVec3::ZERO, DVec3::new(1.0, 0.0, 1.0)];
        for corners in [flat_low, flat_high] {
            let facet = FacetClip::new(corners, DVec2::ZERO);
            assert!((facet.between(0.0, 1.0).skin_mm2 - 0.5).abs() < 1e-15);
        }
    }
}
