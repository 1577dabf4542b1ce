//! Small linear systems.

/// Solves a symmetric system by Gaussian elimination with pivoting; `None` if it has no one
/// solution.
#[expect(
    clippy::indexing_slicing,
    reason = "every index counts up to N, whatever the numbers are"
)]
pub(super) fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    for column in 0..N {
        let pivot =
            (column..N).max_by(|i, j| a[*i][column].abs().total_cmp(&a[*j][column].abs()))?;
        let size = a[pivot][column].abs();
        if size.is_nan() || size < 1e-12 {
            return None;
        }
        a.swap(column, pivot);
        b.swap(column, pivot);
        for row in column + 1..N {
            let factor = a[row][column] / a[column][column];
            let above = a[column];
            for (value, from) in a[row].iter_mut().zip(above).skip(column) {
                *value -= factor * from;
            }
            b[row] -= factor * b[column];
        }
    }
    let mut x = [0.0; N];
    for row in (0..N).rev() {
        let known: f64 = (row + 1..N).map(|k| a[row][k] * x[k]).sum();
        x[row] = (b[row] - known) / a[row][row];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::solve;

    #[test]
    fn a_system_worked_by_hand() {
        let x = solve([[0.0, 2.0], [3.0, 1.0]], [4.0, 5.0]).expect("one solution");
        assert!((x[0] - 1.0).abs() < 1e-12 && (x[1] - 2.0).abs() < 1e-12);
        assert_eq!(solve([[1.0, 2.0], [2.0, 4.0]], [1.0, 2.0]), None);
    }
}
