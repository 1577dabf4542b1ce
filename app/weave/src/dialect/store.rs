//! Blends stored once, for tools that a print step changes between.

use blend::Shares;

use super::document::{Dialect, Form};
use super::speak::{DialectError, Speaker};
use super::template::Template;

/// How a dialect gives a tool its blend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stored {
    /// Lines for the start script, once for each tool: the number that selects it, and the lines.
    AtStart(Vec<(u32, Vec<String>)>),
    /// It stores nothing: a line for each tool, to stand in the script that changes to it.
    AtChange(Vec<String>),
    /// It stores nothing, and says the blend on every move: the words for each tool, which no
    /// script can give.
    OnMoves(Vec<String>),
}

impl Dialect {
    /// The lines that store blends, the first in the first slot.
    ///
    /// # Errors
    /// [`DialectError`]: too few slots or letters.
    pub fn stored(&self, blends: &[Shares]) -> Result<Stored, DialectError> {
        let components = blends.iter().map(Shares::count).max().unwrap_or(0);
        match &self.form {
            Form::Slots {
                set,
                commit,
                first_slot,
                slots,
                ..
            } => {
                if blends.len() > *slots as usize {
                    return Err(DialectError::Slots {
                        dialect: self.name.clone(),
                        slots: *slots as usize,
                        needed: blends.len(),
                    });
                }
                let template = |text: &str| {
                    Template::new(text).map_err(|what| DialectError::Broken {
                        dialect: self.name.clone(),
                        what,
                    })
                };
                let (set, commit) = (template(set)?, template(commit)?);
                let numbers = *first_slot..;
                let all = numbers.zip(blends).map(|(slot, shares)| {
                    let units = self.units(shares);
                    let mut lines: Vec<String> = (self.first_component..)
                        .zip(&units)
                        .map(|(component, units)| {
                            set.fill(|gap| match gap {
                                "share" => self.share_text(*units),
                                _ => component.to_string(),
                            })
                        })
                        .collect();
                    lines.push(commit.fill(|_| slot.to_string()));
                    (slot, lines)
                });
                Ok(Stored::AtStart(all.collect()))
            }
            Form::RatioWord { .. } => {
                let line = |shares| Ok(Speaker::new(self, components)?.change(shares));
                let lines = blends
                    .iter()
                    .map(|b| line(b).map(Option::unwrap_or_default));
                Ok(Stored::AtChange(lines.collect::<Result<_, _>>()?))
            }
            Form::MoveWords { .. } => {
                let words = |shares| {
                    let mut speaker = Speaker::new(self, components)?;
                    speaker.change(shares);
                    Ok(speaker.words().trim().to_owned())
                };
                let all = blends.iter().map(words);
                Ok(Stored::OnMoves(all.collect::<Result<_, _>>()?))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn blends() -> Vec<Shares> {
        let pairs = [(0.25, 0.75), (1.0, 0.0)];
        let blend = |(a, b): (f64, f64)| Shares::new(&[a, b]).expect("a blend");
        pairs.into_iter().map(blend).collect()
    }

    #[test]
    fn slots_are_set_and_committed_once_each() {
        let dialect = Dialect::built_in("slots").expect("built in");
        let Ok(Stored::AtStart(lines)) = dialect.stored(&blends()) else {
            panic!("they are stored");
        };
        assert_eq!(lines[0].1, ["M163 S0 P0.250", "M163 S1 P0.750", "M164 S0"]);
        assert_eq!(
            lines[1],
            (
                1,
                vec![
                    "M163 S0 P1.000".into(),
                    "M163 S1 P0.000".into(),
                    "M164 S1".into()
                ]
            )
        );
        let many = vec![blends()[0]; 17];
        let refused = dialect.stored(&many).expect_err("16 slots");
        assert!(refused.to_string().contains("16"));
    }

    #[test]
    fn others_have_a_line_or_words_for_each_tool() {
        let dialect = Dialect::ratio_word("MIX RATIO={shares}").expect("a line");
        let lines = ["0.250:0.750", "1.000:0.000"].map(|s| format!("MIX RATIO={s}"));
        let lines = lines.to_vec();
        assert_eq!(dialect.stored(&blends()), Ok(Stored::AtChange(lines)));
        let dialect = Dialect::built_in("move-words").expect("built in");
        let words = vec!["A0.250 B0.750".into(), "A1.000 B0.000".into()];
        assert_eq!(dialect.stored(&blends()), Ok(Stored::OnMoves(words)));
    }
}
