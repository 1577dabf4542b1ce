//! The plane's map into a picture: a homography by the direct linear transform with normalised
//! points (Hartley, *IEEE Transactions on Pattern Analysis and Machine Intelligence* 19, 580,
//! 1997; from memory), the least squares of all points.

use nalgebra::{DMatrix, Matrix3, SymmetricEigen, Vector3};

/// A point of a plane or a picture.
pub type Point = (f64, f64);

/// Maps points of one plane on to another's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Homography(pub(crate) Matrix3<f64>);

impl Homography {
    /// The best one for pairs of points; `None` for fewer than four, or for points in a line.
    pub fn fit(pairs: &[(Point, Point)]) -> Option<Self> {
        if pairs.len() < 4 {
            return None;
        }
        let from = normalising(pairs.iter().map(|pair| pair.0))?;
        let to = normalising(pairs.iter().map(|pair| pair.1))?;
        let mut sums = DMatrix::<f64>::zeros(9, 9);
        for (a, b) in pairs {
            let (a, b) = (apply(&from, *a)?, apply(&to, *b)?);
            for row in [
                [-a.0, -a.1, -1.0, 0.0, 0.0, 0.0, b.0 * a.0, b.0 * a.1, b.0],
                [0.0, 0.0, 0.0, -a.0, -a.1, -1.0, b.1 * a.0, b.1 * a.1, b.1],
            ] {
                let row = nalgebra::DVector::from_row_slice(&row);
                sums += &row * row.transpose();
            }
        }
        let eigen = SymmetricEigen::new(sums);
        let mut order: Vec<(usize, f64)> = eigen.eigenvalues.iter().copied().enumerate().collect();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        let [(least, _), (_, second), .., (_, most)] = order.as_slice() else {
            return None;
        };
        // Two vanishing values: more than one map fits.
        if !most.is_finite() || *second <= 1e-12 * most {
            return None;
        }
        let h = eigen.eigenvectors.column(*least);
        let h = Matrix3::from_row_iterator(h.iter().copied());
        let whole = to.try_inverse()? * h * from;
        let scale = whole.m33;
        let whole = if scale.abs() > 1e-12 {
            whole / scale
        } else {
            whole
        };
        whole.iter().all(|v| v.is_finite()).then_some(Self(whole))
    }

    /// Where a point comes to lie; `None` on the horizon.
    pub fn map(&self, point: Point) -> Option<Point> {
        apply(&self.0, point)
    }
}

fn apply(matrix: &Matrix3<f64>, (x, y): Point) -> Option<Point> {
    let mapped = matrix * Vector3::new(x, y, 1.0);
    let out = (mapped.x / mapped.z, mapped.y / mapped.z);
    (out.0.is_finite() && out.1.is_finite()).then_some(out)
}

/// Moves points about their middle and to a mean distance of √2.
fn normalising(points: impl Iterator<Item = Point> + Clone) -> Option<Matrix3<f64>> {
    let count = points.clone().count() as f64;
    let (x, y) = points
        .clone()
        .fold((0.0, 0.0), |(x, y), p| (x + p.0 / count, y + p.1 / count));
    let far = points.map(|p| (p.0 - x).hypot(p.1 - y)).sum::<f64>() / count;
    let scale = std::f64::consts::SQRT_2 / far;
    scale.is_finite().then(|| {
        Matrix3::new(
            scale,
            0.0,
            -scale * x,
            0.0,
            scale,
            -scale * y,
            0.0,
            0.0,
            1.0,
        )
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn exact_points_are_met(
            a in -0.3..0.3_f64, b in -0.3..0.3_f64, p in -1e-3..1e-3_f64, q in -1e-3..1e-3_f64,
        ) {
            let truth = Matrix3::new(1.0 + a, b, 300.0, -b, 1.0 - a, 200.0, p, q, 1.0);
            let places = [(0.0, 0.0), (180.0, 0.0), (180.0, 250.0), (0.0, 250.0), (90.0, 100.0)];
            let pairs = places.map(|place| (place, apply(&truth, place).unwrap()));
            let found = Homography::fit(&pairs).unwrap();
            for (from, to) in pairs {
                let mapped = found.map(from).unwrap();
                prop_assert!((mapped.0 - to.0).hypot(mapped.1 - to.1) < 1e-6);
            }
        }
    }

    #[test]
    fn points_in_a_line_have_none() {
        let pairs: Vec<_> = (0..6)
            .map(|i| ((f64::from(i), 0.0), (f64::from(i), 1.0)))
            .collect();
        assert!(Homography::fit(&pairs).is_none());
        assert!(Homography::fit(&pairs[..3]).is_none());
    }
}
