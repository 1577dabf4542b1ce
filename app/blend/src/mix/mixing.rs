//! How the spools of a blend meet in the strand that leaves the nozzle.

use serde::{Deserialize, Serialize};

/// How thoroughly a hotend mixes, as one family that runs from stirred to side by side.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub enum Mixing {
    /// One plastic: absorption and scattering add up.
    #[default]
    Stirred,
    /// Streaks too fine to see, each of one spool mainly: `stirring` says how far they have gone
    /// from the spool itself (0) to the whole blend (1).
    PartlyStirred {
        /// From 0 to 1.
        stirring: f64,
    },
    /// Spools beside each other, whose reflectances add up by area: as they are with an exponent
    /// of 1, as their n-th roots where light wanders from one into the other.
    SideBySide {
        /// n, from 1.
        exponent: f64,
    },
}

/// The largest exponent that is taken: roots beyond it are the geometric mean to the eye.
pub(crate) const MOST_EXPONENT: f64 = 20.0;

/// Why numbers are no way of mixing.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum MixingError {
    /// No stirring number.
    #[error("a stirring of {0}; it must be from 0 (side by side) to 1 (one plastic)")]
    Stirring(f64),
    /// No exponent.
    #[error("an exponent of {0}; it must be from 1 to {MOST_EXPONENT}")]
    Exponent(f64),
}

/// As a file has it, before it is checked.
#[derive(Clone, Copy, Serialize, Deserialize)]
#[serde(rename = "Mixing", deny_unknown_fields)]
enum Written {
    Stirred,
    PartlyStirred { stirring: f64 },
    SideBySide { exponent: f64 },
}

impl TryFrom<Written> for Mixing {
    type Error = MixingError;

    fn try_from(written: Written) -> Result<Self, MixingError> {
        match written {
            Written::Stirred => Ok(Self::Stirred),
            Written::PartlyStirred { stirring } if (0.0..=1.0).contains(&stirring) => {
                Ok(Self::PartlyStirred { stirring })
            }
            Written::PartlyStirred { stirring } => Err(MixingError::Stirring(stirring)),
            Written::SideBySide { exponent } if (1.0..=MOST_EXPONENT).contains(&exponent) => {
                Ok(Self::SideBySide { exponent })
            }
            Written::SideBySide { exponent } => Err(MixingError::Exponent(exponent)),
        }
    }
}

impl From<Mixing> for Written {
    fn from(mixing: Mixing) -> Self {
        match mixing {
            Mixing::Stirred => Self::Stirred,
            Mixing::PartlyStirred { stirring } => Self::PartlyStirred { stirring },
            Mixing::SideBySide { exponent } => Self::SideBySide { exponent },
        }
    }
}

impl std::fmt::Display for Mixing {
    /// As it stands in a model's name.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Stirred => write!(f, "stirred (Kubelka–Munk)"),
            Self::PartlyStirred { stirring } => write!(
                f,
                "streaks stirred to {:.0} % (Kubelka–Munk)",
                stirring * 100.0
            ),
            Self::SideBySide { exponent } if *exponent == 1.0 => {
                write!(f, "side by side (reflectances by area)")
            }
            Self::SideBySide { exponent } => {
                write!(f, "side by side (Yule–Nielsen, n = {exponent:.2})")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_keep_them_and_impossible_ones_are_refused() {
        for mixing in [
            Mixing::Stirred,
            Mixing::PartlyStirred { stirring: 0.37 },
            Mixing::SideBySide { exponent: 2.5 },
        ] {
            let text = ron::to_string(&mixing).expect("text");
            assert_eq!(ron::from_str::<Mixing>(&text).expect("mixing"), mixing);
        }
        for text in [
            "PartlyStirred(stirring: 1.5)",
            "PartlyStirred(stirring: NaN)",
            "SideBySide(exponent: 0.5)",
            "SideBySide(exponent: inf)",
            "Shaken",
        ] {
            assert!(ron::from_str::<Mixing>(text).is_err(), "{text}");
        }
    }
}
