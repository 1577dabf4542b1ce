//! Standard errors of the two volumes.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

/// The covariance of the first two of some fitted values, from the slopes of all residuals by
/// all values and the residuals: first so many groups of `each` residuals, one group a reading,
/// then those that draw values to what is usual.
///
/// It is the sandwich form, in which every reading brings its own scatter (H. White, "A
/// Heteroskedasticity-Consistent Covariance Matrix Estimator and a Direct Test for
/// Heteroskedasticity", Econometrica 48(4), 1980, from memory), taken as it would be if the fit
/// did not follow that reading (J. MacKinnon, H. White, Journal of Econometrics 29, 1985, from
/// memory): few readings stand where a change is steep, and the fit bends to them.
pub(super) fn sandwich(
    slopes: &DMatrix<f64>,
    residuals: &DVector<f64>,
    groups: usize,
    each: usize,
) -> Option<Matrix2<f64>> {
    let bread = (slopes.transpose() * slopes).cholesky()?.inverse();
    let drawn = slopes.rows(groups * each, slopes.nrows() - groups * each);
    let mut filling = drawn.transpose() * drawn;
    for group in 0..groups {
        let rows = slopes.rows(group * each, each);
        let residuals = residuals.rows(group * each, each);
        let free = DMatrix::identity(each, each) - rows * &bread * rows.transpose();
        let residuals = match free.lu().solve(&residuals) {
            Some(found) if found.iter().all(|v| v.is_finite()) => found,
            _ => residuals.into_owned(),
        };
        let pull = rows.transpose() * residuals;
        filling += &pull * pull.transpose();
    }
    let whole = &bread * filling * &bread;
    Some(whole.fixed_view::<2, 2>(0, 0).into_owned())
}

/// From few parts, errors are less sure: what holds two thirds of Student's distribution with
/// three degrees of freedom, against the normal one (W. Gosset, 1908, from memory).
const FEW: f64 = 1.2;

/// The covariance of two values from fits that leave out a part of the readings each, such as
/// all about one change: what such a part has in common then counts once and not as often as
/// there are readings (B. Efron, *The Jackknife, the Bootstrap and Other Resampling Plans*,
/// 1982, from memory). None for fewer than three.
pub(super) fn jackknife(found: &[Vector2<f64>]) -> Option<Matrix2<f64>> {
    if found.len() < 3 {
        return None;
    }
    let count = found.len() as f64;
    let mean = found.iter().sum::<Vector2<f64>>() / count;
    let squares: Matrix2<f64> = found
        .iter()
        .map(|f| (f - mean) * (f - mean).transpose())
        .sum();
    Some(squares * ((count - 1.0) / count * FEW * FEW))
}

/// The covariance of being off by a vector.
pub(super) fn off_by(off: Vector2<f64>) -> Matrix2<f64> {
    off * off.transpose()
}

/// Standard errors of the first value, the second, and their sum.
pub(super) fn of_sum(covariance: &Matrix2<f64>) -> [f64; 3] {
    let sum = covariance[(0, 0)] + covariance[(1, 1)] + 2.0 * covariance[(0, 1)];
    [covariance[(0, 0)], covariance[(1, 1)], sum].map(|v| v.max(0.0).sqrt())
}

/// The larger of two covariances, value by value and for the sum.
pub(super) fn larger(one: [f64; 3], other: Option<[f64; 3]>) -> [f64; 3] {
    let other = other.unwrap_or(one);
    std::array::from_fn(|i| one[i].max(other[i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line through readings of one size of error has the errors of the textbook:
    /// s²(XᵀX)⁻¹.
    #[test]
    fn even_scatter_gives_the_errors_of_a_line() {
        let count = 4000;
        let mut seed = 12345u64;
        let mut noise = || {
            seed = seed
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (seed >> 33) as f64 / f64::from(1u32 << 31) - 0.5
        };
        let slopes = DMatrix::from_fn(count, 2, |i, j| match j {
            0 => 1.0,
            _ => i as f64 / count as f64,
        });
        let residuals = DVector::from_fn(count, |_, _| noise());
        let found = sandwich(&slopes, &residuals, count, 1).expect("a covariance");
        let plain = (slopes.transpose() * &slopes)
            .try_inverse()
            .expect("inverse")
            / 12.0;
        for (i, j) in [(0, 0), (1, 1), (0, 1)] {
            assert!((found[(i, j)] / plain[(i, j)] - 1.0).abs() < 0.1);
        }
    }
}
