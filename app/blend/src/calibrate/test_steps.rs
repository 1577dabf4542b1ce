//! Which blends a test print should hold, and in which order.

use crate::{MAX_COMPONENTS, Shares};

/// The steps of a test print for a number of spools, in the order of printing: `between` steps
/// that mix each pair of spools, each spool alone, and for three spools or more one blend of
/// all.
///
/// Each pair is walked up by every second step and back down by the steps between. So no blend
/// is far from the one before it, and a hotend that lags shows: it pulls the readings one way
/// going up and the other way coming down, where on a plain ladder it would pass for a stronger
/// spool.
///
/// ```
/// use blend::calibrate::test_steps;
/// let shares: Vec<f64> = test_steps(2, 5).iter().map(|s| s.as_slice()[1]).collect();
/// let sixths: Vec<f64> = shares.iter().map(|s| (s * 6.0).round()).collect();
/// assert_eq!(sixths, [0.0, 2.0, 4.0, 6.0, 5.0, 3.0, 1.0]);
/// ```
pub fn test_steps(spools: usize, between: usize) -> Vec<Shares> {
    let spools = spools.min(MAX_COMPONENTS);
    let whole = between + 1;
    let mut steps = Vec::new();
    for one in 0..spools {
        for other in one + 1..spools {
            let up = (0..=whole).step_by(2);
            let down = (0..=whole).rev().filter(|n| n % 2 == 1);
            // An odd number of gaps has its far end on the way down.
            steps.extend(up.chain(down).filter_map(|n| {
                let mut parts = [0.0; MAX_COMPONENTS];
                parts[one] = (whole - n) as f64;
                parts[other] = n as f64;
                Shares::from_weights(&parts[..spools]).ok()
            }));
        }
    }
    if spools > 2 {
        steps.extend(Shares::from_weights(&vec![1.0; spools]));
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_and_every_spool_in_small_moves() {
        for (spools, between) in [(2, 9), (2, 4), (3, 5), (4, 7)] {
            let steps = test_steps(spools, between);
            for i in 0..spools {
                assert!(
                    steps.iter().any(|s| s.as_slice()[i] == 1.0),
                    "{spools} {between}"
                );
            }
            let mixed = |s: &&Shares| s.as_slice().iter().filter(|v| **v > 0.0).count() == 2;
            let pairs = spools * (spools - 1) / 2;
            assert_eq!(steps.iter().filter(mixed).count(), pairs * between);
            for walk in steps[..pairs * (between + 2)].chunks(between + 2) {
                for pair in walk.windows(2) {
                    let moves = pair[0].as_slice().iter().zip(pair[1].as_slice());
                    let longest = moves.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                    assert!(longest < 2.01 / (between + 1) as f64, "{walk:?}");
                }
            }
        }
        assert!(test_steps(0, 5).is_empty());
        assert!(test_steps(1, 5).is_empty());
    }
}
