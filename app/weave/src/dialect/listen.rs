//! Lines back into blends: what a firmware of the dialect would make of them.

use std::collections::BTreeMap;

use blend::Shares;
use toolpath::{Form as LineForm, Line};

use super::document::{Dialect, Form};
use super::speak::DialectError;
use super::template::Template;

/// What a line says about the blend.
#[derive(Clone, Debug, PartialEq)]
pub enum Heard {
    /// Nothing.
    Nothing,
    /// A step on the way to a change: a share set, a slot committed.
    Noted,
    /// From here on, this blend.
    Change(Shares),
    /// It looks like a change, but no blend comes of it.
    Unclear(String),
}

/// Follows the blend through a file.
#[derive(Clone, Debug)]
pub struct Listener {
    ear: Ear,
    components: usize,
    /// What shares add up to, and by how much rounding may make that differ.
    whole: f64,
    grain: f64,
}

#[derive(Clone, Debug)]
enum Ear {
    Slots {
        set: Template,
        commit: Template,
        select: Template,
        component_first: bool,
        first_component: usize,
        shares: Vec<f64>,
        slots: BTreeMap<String, Shares>,
        /// A blend was set or stored, or was to be.
        begun: bool,
    },
    Ratio {
        line: Template,
        between: String,
    },
    Moves {
        letters: Vec<u8>,
    },
}

impl Listener {
    /// Listens to a dialect with so many components.
    ///
    /// # Errors
    /// [`DialectError`].
    pub fn new(dialect: &Dialect, components: usize) -> Result<Self, DialectError> {
        let template = |text: &str| {
            Template::new(text).map_err(|what| DialectError::Broken {
                dialect: dialect.name.clone(),
                what,
            })
        };
        let ear = match &dialect.form {
            Form::Slots {
                set,
                commit,
                select,
                ..
            } => {
                let set = template(set)?;
                let component_first = set.gaps().next() == Some("component");
                Ear::Slots {
                    set,
                    component_first,
                    commit: template(commit)?,
                    select: template(select)?,
                    first_component: dialect.first_component as usize,
                    shares: vec![0.0; components],
                    slots: BTreeMap::new(),
                    begun: false,
                }
            }
            Form::RatioWord { line, between } => Ear::Ratio {
                line: template(line)?,
                between: between.clone(),
            },
            Form::MoveWords { letters } => Ear::Moves {
                letters: letters.bytes().take(components).collect(),
            },
        };
        Ok(Self {
            ear,
            components,
            whole: dialect.whole,
            grain: 10_f64.powi(-(dialect.decimals as i32)) * components as f64,
        })
    }

    /// Hears one line.
    pub fn hear(&mut self, line: &Line<'_>) -> Heard {
        if matches!(
            line.form(),
            LineForm::Quiet | LineForm::CommentRest | LineForm::Skipped
        ) {
            return Heard::Nothing;
        }
        let components = self.components;
        let (whole, grain) = (self.whole, self.grain);
        let change = |shares: Option<Vec<f64>>| change(shares, components, whole, grain);
        match &mut self.ear {
            Ear::Moves { letters } => match on_move(line, letters) {
                Some(shares) => change(shares),
                None => Heard::Nothing,
            },
            Ear::Ratio {
                line: form,
                between,
            } => {
                let Some(text) = command(line) else {
                    return Heard::Nothing;
                };
                match form.read(&text).as_deref() {
                    Some([shares]) => {
                        let shares = shares.split(between.as_str()).map(str::parse::<f64>);
                        change(shares.collect::<Result<Vec<f64>, _>>().ok())
                    }
                    _ => Heard::Nothing,
                }
            }
            Ear::Slots {
                set,
                commit,
                select,
                component_first,
                first_component,
                shares,
                slots,
                begun,
            } => {
                let Some(text) = command(line) else {
                    return Heard::Nothing;
                };
                if let Some([one, two]) = set.read(&text).as_deref() {
                    *begun = true;
                    let (component, share) = match component_first {
                        true => (one, two),
                        false => (two, one),
                    };
                    let index = component.parse::<usize>().ok();
                    let index = index.and_then(|c| c.checked_sub(*first_component));
                    let slot = index.and_then(|i| shares.get_mut(i));
                    return match (slot, share.parse::<f64>()) {
                        (Some(slot), Ok(value)) => {
                            *slot = value;
                            Heard::Noted
                        }
                        _ => Heard::Unclear(text),
                    };
                }
                if let Some([slot]) = commit.read(&text).as_deref() {
                    *begun = true;
                    return match change(Some(shares.clone())) {
                        Heard::Change(blend) => {
                            slots.insert(slot.clone(), blend);
                            Heard::Noted
                        }
                        other => other,
                    };
                }
                match select.read(&text).as_deref() {
                    // A tool that was chosen before any blend is no blend.
                    Some([_]) if !*begun => Heard::Nothing,
                    Some([slot]) => match slots.get(slot) {
                        Some(blend) => Heard::Change(*blend),
                        None => Heard::Unclear(format!("{text}: nothing was stored there")),
                    },
                    _ => Heard::Nothing,
                }
            }
        }
    }
}

/// The line without number, checksum and comment; `None` if that leaves nothing.
fn command(line: &Line<'_>) -> Option<String> {
    let from = line.line_number().map_or(0, |n| n.to as usize);
    let body = line.body();
    let comment = body.iter().position(|b| *b == b';' || *b == b'(');
    let sum = line.checksum().map(|c| c.at as usize);
    let to = [Some(body.len()), comment, sum]
        .into_iter()
        .flatten()
        .min()?;
    let text = String::from_utf8_lossy(body.get(from..to)?)
        .trim()
        .to_owned();
    (!text.is_empty()).then_some(text)
}

/// The shares that a move carries; none if it carries none, or is no move.
fn on_move(line: &Line<'_>, letters: &[u8]) -> Option<Option<Vec<f64>>> {
    let value = |letter: u8| {
        let word = line.words().iter().find(|w| w.letter == letter)?;
        word.value
    };
    let moves = line
        .words()
        .iter()
        .any(|w| w.letter == b'G' && matches!(w.value, Some(v) if (0.0..=3.0).contains(&v)));
    let shares: Vec<Option<f64>> = letters.iter().map(|l| value(*l)).collect();
    if !moves || shares.iter().all(Option::is_none) {
        return None;
    }
    Some(shares.into_iter().collect())
}

/// Shares that must add up to the whole: what a firmware makes of others is its own affair.
fn change(shares: Option<Vec<f64>>, components: usize, whole: f64, grain: f64) -> Heard {
    let Some(shares) = shares.filter(|s| s.len() == components) else {
        return Heard::Unclear("the shares given are no blend".to_owned());
    };
    let sum: f64 = shares.iter().sum();
    if (sum - whole).abs() > grain + 1e-9 {
        return Heard::Unclear(format!("the shares add up to {sum:.3}, not {whole}"));
    }
    match Shares::from_weights(&shares) {
        Ok(blend) if shares.iter().all(|share| *share >= 0.0) => Heard::Change(blend),
        _ => Heard::Unclear("the shares given are no blend".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{BUILT_IN, Speaker};
    use super::*;
    use proptest::prelude::*;
    use toolpath::Reader;

    /// Hears a text line by line and gives the last change.
    fn last(listener: &mut Listener, text: &str) -> Option<Shares> {
        let mut reader = Reader::new(text.as_bytes());
        let mut last = None;
        while let Some(line) = reader.next_line().expect("text") {
            match listener.hear(&line) {
                Heard::Change(blend) => last = Some(blend),
                Heard::Unclear(what) => panic!("{what}"),
                Heard::Nothing | Heard::Noted => {}
            }
        }
        last
    }

    proptest! {
        #[test]
        fn what_is_spoken_is_heard(
            blends in proptest::collection::vec(proptest::array::uniform3(0.01..1.0_f64), 1..40),
        ) {
            let built_in = BUILT_IN.map(|(name, _)| Dialect::built_in(name).expect("built in"));
            let ratio = Dialect::ratio_word("MIX RATIO={shares}").expect("a line");
            for dialect in built_in.into_iter().chain([ratio]) {
                let name = &dialect.name;
                let mut speaker = Speaker::new(&dialect, 3).expect("sound");
                let mut listener = Listener::new(&dialect, 3).expect("sound");
                for weights in &blends {
                    let blend = Shares::from_weights(weights).expect("weights");
                    let Some(lines) = speaker.change(&blend) else { continue };
                    let move_line = format!("G1 X1 E1{} ; a", speaker.words());
                    let text = format!("{lines} ; to the blend\n{move_line}\nM400\n");
                    let heard = last(&mut listener, &text).expect("a change");
                    for (a, b) in heard.as_slice().iter().zip(dialect.rounded(&blend).as_slice()) {
                        prop_assert!((a - b).abs() < 1e-9, "{name}");
                    }
                }
            }
        }
    }

    #[test]
    fn numbered_lines_are_heard_and_nonsense_is_told() {
        let dialect = Dialect::built_in("slots").expect("built in");
        let mut listener = Listener::new(&dialect, 2).expect("sound");
        let text = "N1 M163 S0 P0.25*20\nN2 M163 S1 P0.75*20\nN3 M164 S4*1\nN4 T4*1\n";
        let heard = last(&mut listener, text).expect("a change");
        assert_eq!(heard.as_slice(), [0.25, 0.75]);
        let mut words = Vec::new();
        for text in ["T9", "M163 S7 P1", "M163 S0 Px"] {
            let line = Line::parse(text.as_bytes(), &mut words);
            assert!(matches!(listener.hear(&line), Heard::Unclear(_)), "{text}");
        }
    }

    #[test]
    fn shares_that_do_not_add_up_are_told() {
        let dialect = Dialect::ratio_word("MIX RATIO={shares}").expect("a line");
        let mut listener = Listener::new(&dialect, 2).expect("sound");
        let Form::RatioWord { line: form, .. } = &dialect.form else {
            panic!("another form");
        };
        let mut words = Vec::new();
        for (shares, sound) in [
            ("0.25:0.75", true),
            ("0.333:0.667", true),
            ("0.5:0.83", false),
            ("1:1.5", false),
            ("1.5:-0.5", false),
        ] {
            let text = form.replace("{shares}", shares);
            let line = Line::parse(text.as_bytes(), &mut words);
            let heard = listener.hear(&line);
            assert_eq!(
                matches!(heard, Heard::Change(_)),
                sound,
                "{shares}: {heard:?}"
            );
        }
    }
}
