//! CIEDE2000 near one colour, as a straight map that least squares can use.

use nalgebra::Matrix3;

use super::{
    Lab,
    ciede2000::{Stretched, chroma_weight, hue_weight, lightness_weight, rotation, stretch},
};

/// Turns a small CIELAB difference from one colour into three numbers whose length is ΔE00.
///
/// It is the formula of CIEDE2000 with the weights held at that colour, which is exact in the
/// limit of small differences and has no kink at grey.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalMetric {
    at: Lab,
    rows: [[f64; 3]; 3],
}

impl LocalMetric {
    /// The metric around a colour.
    pub fn at(colour: Lab) -> Self {
        let stretch = stretch(colour.chroma());
        let stretched = Stretched::of(colour, stretch);
        let (c, h) = (stretched.chroma, stretched.hue());
        let (s_c, s_h) = (chroma_weight(c), hue_weight(c, h));
        let chroma = [0.0, h.cos * stretch / s_c, h.sin / s_c];
        let hue = [0.0, -h.sin * stretch / s_h, h.cos / s_h];
        let turned = rotation(c, h) / 2.0;
        // dc² + dh² + R dc dh = (dc + R/2 dh)² + (1 − R²/4) dh².
        let rest = (1.0 - turned * turned).max(0.0).sqrt();
        let mut rows = [[1.0 / lightness_weight(colour.l), 0.0, 0.0], chroma, hue];
        for i in 0..3 {
            rows[1][i] += turned * hue[i];
            rows[2][i] *= rest;
        }
        Self { at: colour, rows }
    }

    /// The colour that differs from this one by so much along one of the three axes (0 for
    /// lightness, then two across it), and not at all along the others.
    pub fn moved(&self, axis: usize, by: f64) -> Option<Lab> {
        let inverse = Matrix3::from(self.rows).transpose().try_inverse()?;
        let delta = inverse.column_iter().nth(axis)? * by;
        Some(Lab {
            l: self.at.l + delta.x,
            a: self.at.a + delta.y,
            b: self.at.b + delta.z,
        })
    }

    /// The difference of another colour from this one.
    pub fn difference(&self, other: Lab) -> [f64; 3] {
        let delta = [
            other.l - self.at.l,
            other.a - self.at.a,
            other.b - self.at.b,
        ];
        super::xyz::times(&self.rows, delta)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ciede2000;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn small_differences_have_the_length_of_ciede2000(
            l in 5.0..95.0, a in -80.0..80.0, b in -80.0..80.0,
            dl in -0.1..0.1, da in -0.1..0.1, db in -0.1..0.1,
        ) {
            let colour = Lab { l, a, b };
            prop_assume!(colour.chroma() > 3.0);
            let other = Lab { l: l + dl, a: a + da, b: b + db };
            let d = LocalMetric::at(colour).difference(other);
            let length = (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt();
            let exact = ciede2000(colour, other);
            prop_assert!((length - exact).abs() < 0.02 * exact + 1e-4, "{length} {exact}");
        }
    }

    #[test]
    fn moved_by_one_along_each_axis() {
        let metric = LocalMetric::at(Lab {
            l: 40.0,
            a: 20.0,
            b: -50.0,
        });
        for axis in 0..3 {
            let moved = metric.moved(axis, 1.0).expect("a colour");
            for (i, d) in metric.difference(moved).into_iter().enumerate() {
                let expected = if i == axis { 1.0 } else { 0.0 };
                assert!((d - expected).abs() < 1e-9, "{axis} {i}: {d}");
            }
        }
        assert!(metric.moved(3, 1.0).is_none());
    }

    #[test]
    fn grey_has_a_metric_as_well() {
        let grey = Lab {
            l: 60.0,
            a: 0.0,
            b: 0.0,
        };
        let other = Lab {
            l: 60.0,
            a: 0.01,
            b: 0.0,
        };
        let d = LocalMetric::at(grey).difference(other);
        let length = (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt();
        assert!((length - ciede2000(grey, other)).abs() < 1e-4);
    }
}
