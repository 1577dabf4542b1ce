//! Fades: a blend at each of several stops, and how the shades are spaced between them.

mod ramp;
mod visible_area;

use serde::{Deserialize, Serialize};

use crate::Shares;

pub use ramp::Ramp;
pub use visible_area::VisibleArea;

/// A blend at a place along the fade.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stop {
    /// Where along the fade, mm.
    pub at_mm: f64,
    /// The blend there.
    pub shares: Shares,
}

/// How the shades are spread between two neighbouring stops.
///
/// Every stop keeps its place: the spacing works between one stop and the next, never
/// across one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Spacing {
    /// Shares change evenly with distance.
    #[default]
    Linear,
    /// ΔE00 changes evenly with distance.
    EqualSteps,
    /// ΔE00 changes evenly with visible area: each shade gets the same share of the surface
    /// between the two stops.
    EqualArea,
}

/// Two or more stops in rising order, and the spacing between them.
///
/// Reading one from a file does not check it: the document that holds it does, for it knows
/// where each stop stands in the text. See [`Fade::check`].
///
/// ```
/// use blend::{Fade, Shares, Spacing, Stop};
/// let fade = Fade {
///     stops: vec![
///         Stop { at_mm: 0.0, shares: Shares::new(&[1.0, 0.0]).expect("a sum of 1") },
///         Stop { at_mm: 100.0, shares: Shares::new(&[0.0, 1.0]).expect("a sum of 1") },
///     ],
///     spacing: Spacing::Linear,
/// };
/// assert!(fade.check().is_ok());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fade {
    /// The stops.
    pub stops: Vec<Stop>,
    /// The spacing.
    #[serde(default)]
    pub spacing: Spacing,
}

/// What is wrong with a fade. Stops are counted from 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FadeError {
    /// Fewer than two stops.
    #[error("a fade needs two stops or more, and this has {0}; for one blend use Fixed")]
    TooFew(usize),
    /// A place is infinite or not a number.
    #[error("stop {stop} is at {at_mm} mm; a stop's place must be a finite number of mm")]
    Place {
        /// Which stop.
        stop: usize,
        /// Its place.
        at_mm: f64,
    },
    /// A stop is not above the one before it.
    #[error(
        "stop {stop} is at {at_mm} mm, and stop {before} before it at {before_mm} mm; each stop \
         must be higher than the one before", before = .stop - 1
    )]
    NotRising {
        /// Which stop.
        stop: usize,
        /// Its place.
        at_mm: f64,
        /// The place of the stop before it.
        before_mm: f64,
    },
    /// The stops don't name the same number of components.
    #[error(
        "stop {stop} has {count} shares, but stop 1 has {first}; \
         give every stop one share for each spool"
    )]
    Count {
        /// Which stop.
        stop: usize,
        /// Its number of shares.
        count: usize,
        /// The first stop's.
        first: usize,
    },
}

impl Fade {
    /// Looks for what no fade can have: fewer than two stops, stops that don't rise,
    /// places that are no numbers, stops of unlike component counts.
    ///
    /// # Errors
    /// The first thing wrong, in words.
    pub fn check(&self) -> Result<(), FadeError> {
        if self.stops.len() < 2 {
            return Err(FadeError::TooFew(self.stops.len()));
        }
        let first = self.stops[0].shares.count();
        for (i, stop) in self.stops.iter().enumerate() {
            if !stop.at_mm.is_finite() {
                return Err(FadeError::Place {
                    stop: i + 1,
                    at_mm: stop.at_mm,
                });
            }
            if stop.shares.count() != first {
                return Err(FadeError::Count {
                    stop: i + 1,
                    count: stop.shares.count(),
                    first,
                });
            }
        }
        for (i, pair) in self.stops.windows(2).enumerate() {
            if pair[1].at_mm <= pair[0].at_mm {
                return Err(FadeError::NotRising {
                    stop: i + 2,
                    at_mm: pair[1].at_mm,
                    before_mm: pair[0].at_mm,
                });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        match ron::from_str::<Fade>(text) {
            Ok(fade) => fade.check().expect_err("no fade").to_string(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn written_by_hand() {
        let text = "(stops: [(at_mm: 0, shares: [1, 0]), (at_mm: 50, shares: [0.2, 0.8])], \
                    spacing: EqualSteps)";
        let fade: Fade = ron::from_str(text).expect("a fade");
        assert_eq!(fade.spacing, Spacing::EqualSteps);
        let again = ron::to_string(&fade).expect("text");
        assert_eq!(ron::from_str::<Fade>(&again).expect("a fade"), fade);
    }

    #[test]
    fn wrong_fades_say_where_and_what_to_do() {
        let one = "(stops: [(at_mm: 0, shares: [1, 0])])";
        assert!(refused(one).contains("two stops or more"));
        let same = "(stops: [(at_mm: 5, shares: [1, 0]), (at_mm: 5, shares: [0, 1])])";
        assert!(refused(same).contains("stop 2 is at 5 mm, and stop 1 before it at 5 mm"));
        let unlike = "(stops: [(at_mm: 0, shares: [1, 0]), (at_mm: 5, shares: [1])])";
        assert!(refused(unlike).contains("stop 2 has 1 shares, but stop 1 has 2"));
        let endless = "(stops: [(at_mm: 0, shares: [1, 0]), (at_mm: inf, shares: [0, 1])])";
        assert!(refused(endless).contains("finite number"));
        let sum = "(stops: [(at_mm: 0, shares: [1, 1]), (at_mm: 5, shares: [0, 1])])";
        assert!(refused(sum).contains("add up to 2"));
        let unknown = "(stops: [], spacing: Linear, colour: 3)";
        assert!(refused(unknown).contains("colour"));
    }
}
