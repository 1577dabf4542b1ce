//! The dialect file.

use blend::Shares;
use plan::{TextError, ron_text};
use serde::{Deserialize, Serialize};

/// The built-in dialects: name and text.
pub const BUILT_IN: [(&str, &str); 2] = [
    ("slots", include_str!("built_in/slots.ron")),
    ("move-words", include_str!("built_in/move-words.ron")),
];

/// The form whose line only the firmware's manual knows: name and text, with the line left empty.
pub const TO_FILL_IN: (&str, &str) = ("ratio-word", include_str!("built_in/ratio-word.ron"));

/// Where to look for a line that is not built in, and how to give it.
pub const WHERE_TO_LOOK: &str = "the form `ratio-word` has no command of its own, because each \
    firmware has another. Look in your firmware's manual, under mixing or tools, for the command \
    that sets the share of each drive. Write it with {shares} where the shares go";

/// One way to tell a firmware which blend to feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dialect {
    /// Version of this format.
    pub version: u32,
    /// Its name.
    pub name: String,
    /// What it does, in a sentence.
    #[serde(default)]
    pub note: String,
    /// What a blend's shares add up to: 1 or 100.
    pub whole: f64,
    /// Decimals of a share.
    pub decimals: u32,
    /// The number of the first component.
    #[serde(default)]
    pub first_component: u32,
    /// The lines.
    pub form: Form,
}

/// The lines that change the blend.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Form {
    /// Shares are set one by one, committed to a slot, and the slot is selected.
    Slots {
        /// For each component; `{component}` and `{share}`.
        set: String,
        /// Stores what was set; `{slot}`.
        commit: String,
        /// Feeds from now on what the slot holds; `{slot}`.
        select: String,
        /// The first slot's number.
        first_slot: u32,
        /// How many slots may be used; 2 at least, since the one in use is never overwritten.
        slots: u32,
    },
    /// One line with all shares in one word.
    RatioWord {
        /// The line; `{shares}`.
        line: String,
        /// What stands between two shares.
        between: String,
    },
    /// Words on every move that feeds filament.
    MoveWords {
        /// A letter for each component.
        letters: String,
    },
}

impl Dialect {
    /// A built-in one; `None` for an unknown name.
    pub fn built_in(name: &str) -> Option<Self> {
        let (_, text) = BUILT_IN.iter().find(|(known, _)| *known == name)?;
        ron_text::read(text).ok()
    }

    /// The form of one line with all shares, with the line that the firmware's manual gives:
    /// `{shares}` stands where the shares go.
    ///
    /// # Errors
    /// What is wrong with the line.
    ///
    /// ```
    /// use weave::dialect::Dialect;
    /// assert!(Dialect::ratio_word("MIX RATIO={shares}").is_ok());
    /// assert!(Dialect::ratio_word("").is_err());
    /// ```
    pub fn ratio_word(line: &str) -> Result<Self, String> {
        let (_, text) = TO_FILL_IN;
        let given = |spoken: &str| spoken.replace("line: \"\"", &format!("line: {line:?}"));
        ron_text::read(&given(text)).map_err(|error: TextError| {
            let what: Vec<&str> = error.faults.iter().map(|f| f.what.as_str()).collect();
            what.join("; ")
        })
    }

    /// Reads a dialect file's text.
    ///
    /// # Errors
    /// [`TextError`] with every fault and its line.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// The shares as the dialect can say them: rounded so that they still add up.
    pub fn rounded(&self, shares: &Shares) -> Shares {
        let units: Vec<f64> = self.units(shares).iter().map(|u| *u as f64).collect();
        Shares::from_weights(&units).unwrap_or(*shares)
    }

    /// Whether it puts words on moves instead of lines between them.
    pub(crate) fn is_on_moves(&self) -> bool {
        matches!(self.form, Form::MoveWords { .. })
    }

    /// Units of the last decimal in the whole.
    pub(super) fn whole_units(&self) -> u64 {
        (self.whole * 10_f64.powi(self.decimals as i32)).round() as u64
    }

    /// Shares in units of the last decimal, by the method of largest remainders, so that they
    /// add up to the whole.
    pub(super) fn units(&self, shares: &Shares) -> Vec<u64> {
        let whole = self.whole_units();
        let exact: Vec<f64> = shares.as_slice().iter().map(|s| s * whole as f64).collect();
        let mut units: Vec<u64> = exact.iter().map(|e| (e + 1e-9).floor() as u64).collect();
        let given: u64 = units.iter().sum();
        let left_over = |exact: &f64| exact - (exact + 1e-9).floor();
        let mut order: Vec<(&mut u64, &f64)> = units.iter_mut().zip(&exact).collect();
        order.sort_by(|(_, a), (_, b)| left_over(b).total_cmp(&left_over(a)));
        let missing = whole.saturating_sub(given) as usize;
        for (unit, _) in order.into_iter().take(missing) {
            *unit += 1;
        }
        units
    }

    /// The text of a share.
    pub(super) fn share_text(&self, units: u64) -> String {
        let scale = 10_f64.powi(self.decimals as i32);
        format!("{:.*}", self.decimals as usize, units as f64 / scale)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_built_in_dialect_reads_and_says_where_it_comes_from() {
        for (name, text) in BUILT_IN {
            let dialect = Dialect::from_ron(text).expect(name);
            assert_eq!(dialect.name, name);
            let said = "common practice, no source. Written from memory";
            assert!(text.contains(said), "{name}");
            assert_eq!(Dialect::built_in(name), Some(dialect));
        }
        assert_eq!(Dialect::built_in("none"), None);
    }

    #[test]
    fn a_line_that_only_the_manual_knows_is_asked_for_and_never_guessed() {
        let (name, text) = TO_FILL_IN;
        assert_eq!(Dialect::built_in(name), None);
        let empty = Dialect::from_ron(text).expect_err("no line").to_string();
        assert!(empty.contains("your firmware's manual"), "{empty}");
        assert!(empty.contains("line 13"), "{empty}");
        let filled = Dialect::ratio_word("MIX RATIO={shares}").expect("a line");
        assert_eq!(filled.name, name);
        for (line, what) in [
            ("", "your firmware's manual"),
            ("MIX", "{shares} is missing"),
            ("M104 S{shares}", "something other"),
            ("MIX \"{shares}\n", "one line"),
        ] {
            let told = Dialect::ratio_word(line).expect_err(line);
            assert!(told.contains(what), "{line}: {told}");
        }
    }

    proptest! {
        #[test]
        fn rounded_shares_add_up_and_stay_near(
            weights in proptest::collection::vec(0.0..1.0_f64, 1..8),
            decimals in 0_u32..5,
            hundred: bool,
        ) {
            prop_assume!(weights.iter().sum::<f64>() > 0.01);
            let mut dialect = Dialect::built_in("slots").expect("built in");
            dialect.decimals = decimals;
            dialect.whole = if hundred { 100.0 } else { 1.0 };
            let shares = Shares::from_weights(&weights).expect("weights");
            let units = dialect.units(&shares);
            prop_assert_eq!(units.iter().sum::<u64>(), dialect.whole_units());
            let step = 1.0 / dialect.whole_units() as f64;
            for (rounded, share) in dialect.rounded(&shares).as_slice().iter().zip(shares.as_slice()) {
                prop_assert!((rounded - share).abs() < step + 1e-9);
            }
        }
    }
}
