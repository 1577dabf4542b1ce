//! Blends as lines.

use blend::Shares;

use super::document::{Dialect, Form};
use super::template::Template;

/// Why a dialect can't serve a plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DialectError {
    /// Not enough letters.
    #[error(
        "the dialect `{dialect}` has letters for {letters} components, and the plan has {needed}; \
         add letters to its file"
    )]
    Letters {
        /// Name of the dialect.
        dialect: String,
        /// Letters it has.
        letters: usize,
        /// Components of the plan.
        needed: usize,
    },
    /// Not enough slots.
    #[error(
        "the dialect `{dialect}` has {slots} slots for {needed} blends; store fewer (--tools \
         {slots}), or raise the slots in its file"
    )]
    Slots {
        /// Name of the dialect.
        dialect: String,
        /// Slots it has.
        slots: usize,
        /// Blends to be stored.
        needed: usize,
    },
    /// A template that should not have passed the check.
    #[error("the dialect `{dialect}` is broken: {what}")]
    Broken {
        /// Name of the dialect.
        dialect: String,
        /// What is wrong.
        what: String,
    },
}

/// Turns a sequence of blends into lines or words, and remembers what the firmware knows.
#[derive(Clone, Debug)]
pub struct Speaker<'a> {
    dialect: &'a Dialect,
    voice: Voice,
    current: Option<Vec<u64>>,
}

#[derive(Clone, Debug)]
enum Voice {
    Slots {
        set: Template,
        commit: Template,
        select: Template,
        first_slot: u32,
        /// The blend in each slot and when it was last selected.
        slots: Vec<Option<(Vec<u64>, u64)>>,
        clock: u64,
    },
    Ratio {
        line: Template,
        between: String,
    },
    Moves {
        letters: Vec<char>,
    },
}

impl<'a> Speaker<'a> {
    /// Speaks a dialect for so many components.
    ///
    /// # Errors
    /// [`DialectError`].
    pub fn new(dialect: &'a Dialect, components: usize) -> Result<Self, DialectError> {
        let template = |text: &str| {
            Template::new(text).map_err(|what| DialectError::Broken {
                dialect: dialect.name.clone(),
                what,
            })
        };
        let voice = match &dialect.form {
            Form::Slots {
                set,
                commit,
                select,
                first_slot,
                slots,
            } => Voice::Slots {
                set: template(set)?,
                commit: template(commit)?,
                select: template(select)?,
                first_slot: *first_slot,
                slots: vec![None; *slots as usize],
                clock: 0,
            },
            Form::RatioWord { line, between } => Voice::Ratio {
                line: template(line)?,
                between: between.clone(),
            },
            Form::MoveWords { letters } => {
                let letters: Vec<char> = letters.chars().collect();
                if letters.len() < components {
                    return Err(DialectError::Letters {
                        dialect: dialect.name.clone(),
                        letters: letters.len(),
                        needed: components,
                    });
                }
                Voice::Moves { letters }
            }
        };
        Ok(Self {
            dialect,
            voice,
            current: None,
        })
    }

    /// The blend in use as the dialect says it; `None` before the first.
    pub fn current(&self) -> Option<Shares> {
        let units: Vec<f64> = self.current.as_ref()?.iter().map(|u| *u as f64).collect();
        Shares::from_weights(&units).ok()
    }

    /// The line that chooses the blend in use again after someone else has chosen a tool; `None`
    /// if nothing is to be said again.
    pub fn again(&self) -> Option<String> {
        let current = self.current.as_ref()?;
        match &self.voice {
            Voice::Slots {
                select,
                first_slot,
                slots,
                ..
            } => {
                let holds = |slot: &Option<(Vec<u64>, u64)>| {
                    slot.as_ref().is_some_and(|(blend, _)| blend == current)
                };
                let index = slots.iter().position(holds)?;
                Some(select.fill(|_| (*first_slot as usize + index).to_string()))
            }
            Voice::Ratio { .. } | Voice::Moves { .. } => None,
        }
    }

    /// The lines that change to a blend, without an end to the last; `None` if it is in use
    /// already as far as the dialect can tell blends apart. A dialect on moves has no lines,
    /// and gives an empty text for a change.
    pub fn change(&mut self, shares: &Shares) -> Option<String> {
        let units = self.dialect.units(shares);
        if self.current.as_ref() == Some(&units) {
            return None;
        }
        let dialect = self.dialect;
        let lines = match &mut self.voice {
            Voice::Slots {
                set,
                commit,
                select,
                first_slot,
                slots,
                clock,
            } => {
                *clock += 1;
                let slot = slot_for(slots, &units, self.current.as_ref());
                let number = (*first_slot as usize + slot).to_string();
                let mut lines = Vec::new();
                let known = slots.get(slot).and_then(Option::as_ref);
                if known.is_none_or(|(held, _)| *held != units) {
                    for (i, share) in units.iter().enumerate() {
                        let component = (dialect.first_component as usize + i).to_string();
                        let share = dialect.share_text(*share);
                        lines.push(set.fill(|gap| match gap {
                            "share" => share.clone(),
                            _ => component.clone(),
                        }));
                    }
                    lines.push(commit.fill(|_| number.clone()));
                }
                lines.push(select.fill(|_| number.clone()));
                if let Some(held) = slots.get_mut(slot) {
                    *held = Some((units.clone(), *clock));
                }
                lines.join("\n")
            }
            Voice::Ratio { line, between } => {
                let shares: Vec<String> = units.iter().map(|u| dialect.share_text(*u)).collect();
                line.fill(|_| shares.join(between))
            }
            Voice::Moves { .. } => String::new(),
        };
        self.current = Some(units);
        Some(lines)
    }

    /// The words that a move with filament carries for the blend in use, each after a blank;
    /// empty for a dialect of lines.
    pub fn words(&self) -> String {
        match (&self.voice, &self.current) {
            (Voice::Moves { letters }, Some(units)) => letters
                .iter()
                .zip(units)
                .map(|(letter, share)| format!(" {letter}{}", self.dialect.share_text(*share)))
                .collect(),
            _ => String::new(),
        }
    }
}

/// The slot that holds a blend, or else an empty one, or else the one selected longest ago, but
/// never the one in use.
fn slot_for(
    slots: &[Option<(Vec<u64>, u64)>],
    units: &Vec<u64>,
    current: Option<&Vec<u64>>,
) -> usize {
    let holds = |slot: &Option<(Vec<u64>, u64)>| slot.as_ref().is_some_and(|(b, _)| b == units);
    if let Some(held) = slots.iter().position(holds) {
        return held;
    }
    let age = |slot: &Option<(Vec<u64>, u64)>| match slot {
        None => 0,
        Some((blend, _)) if Some(blend) == current => u64::MAX,
        Some((_, selected)) => *selected,
    };
    let oldest = slots.iter().enumerate().min_by_key(|(_, slot)| age(slot));
    oldest.map_or(0, |(index, _)| index)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shares(first: f64) -> Shares {
        Shares::new(&[first, 1.0 - first]).expect("a blend")
    }

    #[test]
    fn slots_are_filled_selected_and_the_oldest_is_used_again() {
        let mut dialect = Dialect::built_in("slots").expect("built in");
        if let Form::Slots { slots, .. } = &mut dialect.form {
            *slots = 2;
        }
        let mut speaker = Speaker::new(&dialect, 2).expect("sound");
        let first = speaker.change(&shares(0.25)).expect("a change");
        assert_eq!(first, "M163 S0 P0.250\nM163 S1 P0.750\nM164 S0\nT0");
        assert!(
            speaker
                .change(&shares(0.5))
                .expect("a change")
                .ends_with("M164 S1\nT1")
        );
        assert_eq!(speaker.change(&shares(0.25)).as_deref(), Some("T0"));
        assert!(
            speaker
                .change(&shares(0.75))
                .expect("a change")
                .ends_with("M164 S1\nT1")
        );
        assert_eq!(speaker.change(&shares(0.750_01)), None);
        assert!(speaker.words().is_empty());
    }

    #[test]
    fn words_on_moves() {
        let dialect = Dialect::built_in("move-words").expect("built in");
        let mut speaker = Speaker::new(&dialect, 2).expect("sound");
        assert_eq!(speaker.change(&shares(1.0)).as_deref(), Some(""));
        assert_eq!(speaker.words(), " A1.000 B0.000");
        let error = Speaker::new(&dialect, 5).expect_err("too few letters");
        assert!(
            error
                .to_string()
                .contains("4 components, and the plan has 5")
        );
    }
}
