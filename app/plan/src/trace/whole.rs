//! A finished part that stands there whole was laid with most of its plastic.
//!
//! A photograph shows a closed skin, and an outline within some tenths of a millimetre of the plan's.
//! With a tenth of its plastic there is no part, and with twice as much not that outline. So a cause
//! must leave about as much plastic as was asked for, at each height that was seen.

use super::forward::Made;

/// How far from what was asked for the plastic of a part is that stands there whole, as a natural
/// logarithm: with three fifths of it, or five thirds, its skin is poor (our assumption, no source).
const WHOLE_OFF: f64 = 0.5;
/// Nothing at all is as bad as this part of it.
const LEAST: f64 = 1e-3;

/// How far off the plastic is at the height where that is furthest, in usual errors.
pub(super) fn off_whole(made: &[Made]) -> f64 {
    let laid = made.iter().filter_map(|made| match made {
        Made::Colour { laid, .. } => Some(*laid),
        Made::Amount(_) => None,
    });
    laid.map(|laid| (laid.max(LEAST).ln() / WHOLE_OFF).abs())
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use blend::{Lab, Shares};

    use super::*;

    #[test]
    fn the_height_with_the_least_or_the_most_plastic_counts() {
        let made = |laid: f64| Made::Colour {
            lab: Lab {
                l: 50.0,
                a: 0.0,
                b: 0.0,
            },
            shares: Shares::SINGLE,
            laid,
        };
        assert_eq!(off_whole(&[]), 0.0);
        assert_eq!(off_whole(&[made(1.0), made(1.0)]), 0.0);
        let of = |laid: &[f64]| off_whole(&laid.iter().map(|l| made(*l)).collect::<Vec<_>>());
        assert!((of(&[1.0, 0.6, 0.9]) - 1.02).abs() < 0.01);
        assert!((of(&[1.0, 0.5]) - of(&[2.0, 1.1])).abs() < 1e-9);
        assert!(of(&[0.1]) > 4.0 && of(&[0.0]).is_finite());
    }
}
