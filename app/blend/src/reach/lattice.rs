//! Blends in whole steps.

use crate::{MAX_COMPONENTS, Shares};

/// Every blend of `count` components in steps of 1/`steps`, from all of the first component
/// to all of the last.
pub(super) struct Lattice {
    count: usize,
    steps: usize,
    next: Option<[usize; MAX_COMPONENTS]>,
}

impl Lattice {
    pub(super) fn new(count: usize, steps: usize) -> Self {
        let mut first = [0; MAX_COMPONENTS];
        first[0] = steps;
        let some = (1..=MAX_COMPONENTS).contains(&count) && steps > 0;
        Self {
            count,
            steps,
            next: some.then_some(first),
        }
    }

    /// How many blends there are: C(steps + count − 1, count − 1), or `usize::MAX` if that is
    /// too many to tell.
    pub(super) fn size(count: usize, steps: usize) -> usize {
        let mut size: usize = 1;
        for i in 1..count {
            size = match size.checked_mul(steps + i) {
                Some(product) => product / i,
                None => return usize::MAX,
            };
        }
        size
    }

    /// The most steps for which there are at most so many blends.
    pub(crate) fn steps_for(count: usize, most: usize) -> usize {
        (1..=10_000)
            .take_while(|steps| Self::size(count, *steps) <= most)
            .last()
            .unwrap_or(1)
    }
}

impl Iterator for Lattice {
    type Item = Shares;

    fn next(&mut self) -> Option<Shares> {
        let now = self.next?;
        let parts = now.map(|n| n as f64 / self.steps as f64);
        self.next = after(now, self.count);
        Shares::from_weights(&parts[..self.count]).ok()
    }
}

/// The next way of sharing out the steps: one step moves on from the last component but the
/// final one that has any, and what the final one had comes with it.
fn after(mut now: [usize; MAX_COMPONENTS], count: usize) -> Option<[usize; MAX_COMPONENTS]> {
    let last = count - 1;
    let from = now[..last].iter().rposition(|n| *n > 0)?;
    let rest = std::mem::take(&mut now[last]);
    now[from] -= 1;
    now[from + 1] += rest + 1;
    Some(now)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_blend_once() {
        for (count, steps) in [(1, 5), (2, 10), (3, 7), (4, 4), (8, 2)] {
            let all: Vec<Shares> = Lattice::new(count, steps).collect();
            assert_eq!(all.len(), Lattice::size(count, steps), "{count} {steps}");
            for (i, one) in all.iter().enumerate() {
                assert!(all[..i].iter().all(|other| other != one));
                assert!((one.as_slice().iter().sum::<f64>() - 1.0).abs() < 1e-12);
            }
        }
        assert_eq!(Lattice::new(0, 4).count(), 0);
        assert_eq!(Lattice::new(9, 4).count(), 0);
        assert_eq!(Lattice::steps_for(3, 231), 20);
    }
}
