//! What can be wrong with a dialect.

use plan::ron_text::{Document, Path, Problem};
use toolpath::Line;

use super::document::{Dialect, Form, WHERE_TO_LOOK};
use super::template::Template;

/// Letters that already mean something on a move (NIST 3.3.2 and the E axis), so no share's.
const TAKEN: &str = "GMNTXYZEFIJKRP";

/// Heat, motors off, end of program, and files: nothing that changes a blend
/// (common practice, no source).
const FORBIDDEN_M: [f64; 19] = [
    0., 1., 2., 17., 18., 24., 28., 30., 82., 83., 84., 104., 106., 109., 112., 140., 141., 190.,
    303.,
];

/// Words that a template must and may hold.
struct Gaps {
    needed: &'static [&'static str],
}

impl Document for Dialect {
    const KIND: &'static str = "dialect file";
    const VERSION: u32 = 1;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        problems(self)
    }
}

fn problems(dialect: &Dialect) -> Vec<Problem> {
    let mut found = Vec::new();
    let top = |name, what: &str| Problem::new(Path::field(name), what);
    if dialect.name.trim().is_empty() || dialect.name.chars().any(char::is_control) {
        found.push(top("name", "a dialect needs a name, on one line"));
    }
    if dialect.note.chars().any(char::is_control) {
        found.push(top("note", "the note must be one line"));
    }
    if dialect.whole != 1.0 && dialect.whole != 100.0 {
        found.push(top(
            "whole",
            "shares add up to 1 or to 100; write 1.0 or 100.0",
        ));
    }
    if dialect.decimals > 6 || dialect.whole_units() < 10 {
        found.push(top(
            "decimals",
            "a share needs decimals for at least tenths, and at most 6",
        ));
    }
    if dialect.first_component > 1 {
        found.push(top("first_component", "components count from 0 or from 1"));
    }
    form(&dialect.form, &mut found);
    found
}

fn form(form: &Form, found: &mut Vec<Problem>) {
    match form {
        Form::Slots {
            set,
            commit,
            select,
            first_slot,
            slots,
        } => {
            let needed = Gaps {
                needed: &["component", "share"],
            };
            line("set", set, &needed, found);
            let slot = Gaps { needed: &["slot"] };
            line("commit", commit, &slot, found);
            line("select", select, &slot, found);
            if !(2..=1000).contains(slots) || *first_slot > 1000 {
                found.push(Problem::new(
                    at("slots"),
                    "give 2 to 1000 slots: the one in use is never overwritten",
                ));
            }
        }
        Form::RatioWord {
            line: text,
            between,
        } => {
            let needed = Gaps {
                needed: &["shares"],
            };
            match text.trim().is_empty() {
                true => found.push(Problem::new(at("line"), WHERE_TO_LOOK)),
                false => line("line", text, &needed, found),
            }
            let clear = between
                .chars()
                .all(|c| c.is_ascii_punctuation() && !"{}.+-;()*\"".contains(c));
            if between.len() != 1 || !clear {
                found.push(Problem::new(
                    at("between"),
                    "put one sign between two shares, such as : or , that is not part of a number \
                     or a comment",
                ));
            }
        }
        Form::MoveWords { letters } => move_letters(letters, found),
    }
}

fn move_letters(letters: &str, found: &mut Vec<Problem>) {
    let mut seen = String::new();
    for letter in letters.chars() {
        let what = if !letter.is_ascii_uppercase() {
            format!("`{letter}` is not a capital letter")
        } else if TAKEN.contains(letter) {
            format!("{letter} already has a meaning on a move; take another letter")
        } else if seen.contains(letter) {
            format!("{letter} is here twice")
        } else {
            seen.push(letter);
            continue;
        };
        found.push(Problem::new(at("letters"), what));
    }
    if letters.is_empty() {
        found.push(Problem::new(
            at("letters"),
            "give a letter for each component",
        ));
    }
}

fn at(field: &'static str) -> Path {
    Path::field("form").then(field)
}

/// A template must have its gaps and make a line that changes nothing but the blend.
fn line(field: &'static str, text: &str, gaps: &Gaps, found: &mut Vec<Problem>) {
    let mut say = |what: String| found.push(Problem::new(at(field), what));
    let template = match Template::new(text) {
        Ok(template) => template,
        Err(what) => return say(what),
    };
    for needed in gaps.needed {
        match template.gaps().filter(|gap| gap == needed).count() {
            0 => say(format!("the gap {{{needed}}} is missing")),
            1 => {}
            _ => say(format!("the gap {{{needed}}} is here twice")),
        }
    }
    for gap in template.gaps().filter(|gap| !gaps.needed.contains(gap)) {
        let known = gaps.needed.join("}, {");
        say(format!(
            "the gap {{{gap}}} is unknown here; use {{{known}}}"
        ));
    }
    if text.chars().any(|c| c.is_control() || ";()*%/".contains(c)) {
        say("a template is one line, without comments, checksums, or the signs % and /".to_owned());
    } else if let Some(what) = harm(&template.fill(|_| "1".to_owned())) {
        say(what);
    }
}

/// Why a line must not be put into a toolpath.
fn harm(text: &str) -> Option<String> {
    let mut words = Vec::new();
    let line = Line::parse(text.as_bytes(), &mut words);
    if line.body().iter().all(u8::is_ascii_whitespace) {
        return Some("the line is empty".to_owned());
    }
    for word in line.words() {
        let value = word.value.unwrap_or(0.0);
        let letter = char::from(word.letter);
        match letter {
            'G' => return Some(format!("G{value} does not change a blend; it may move")),
            'N' => {
                return Some(
                    "leave out line numbers; they are added where the file needs them".to_owned(),
                );
            }
            'M' if FORBIDDEN_M.contains(&value) => {
                return Some(format!("M{value} does something other than change a blend"));
            }
            _ => {}
        }
    }
    let moves = |l: u8| b"XYZE".contains(&l);
    let first = line.words().first();
    if first.is_some_and(|w| moves(w.letter)) {
        return Some(
            "a line that begins with a letter of position or filament may move".to_owned(),
        );
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::document::{BUILT_IN, TO_FILL_IN};
    use super::*;

    fn said(old: &str, new: &str, name: &str) -> String {
        let mut all = BUILT_IN.iter().chain([&TO_FILL_IN]);
        let text = all.find(|b| b.0 == name).expect("built in").1;
        assert!(text.contains(old), "{old}");
        match Dialect::from_ron(&text.replace(old, new)) {
            Ok(_) => "nothing".to_owned(),
            Err(error) => error.to_string(),
        }
    }

    #[test]
    fn faults_are_told_with_their_line() {
        for (name, old, new, what) in [
            (
                "slots",
                "P{share}",
                "P",
                "line 14, column 14: the gap {share} is missing",
            ),
            ("slots", "P{share}", "P{share} R{share}", "twice"),
            (
                "slots",
                "P{share}",
                "P{share} R{rate}",
                "the gap {rate} is unknown",
            ),
            ("slots", "T{slot}", "T{slot", "no }"),
            ("slots", "T{slot}", "G1 E{slot}", "may move"),
            ("slots", "T{slot}", "X{slot}", "may move"),
            ("slots", "T{slot}", "M104 S{slot}", "something other"),
            ("slots", "T{slot}", "T{slot} ; now", "without comments"),
            ("slots", "slots: 16", "slots: 1", "2 to 1000"),
            ("slots", "whole: 1.0", "whole: 2.0", "1 or to 100"),
            ("slots", "decimals: 3", "decimals: 0", "tenths"),
            (
                "slots",
                "first_component: 0",
                "first_component: 7",
                "from 0 or from 1",
            ),
            ("slots", "version: 1", "version: 2", "version 2"),
            ("ratio-word", "\":\"", "\".\"", "one sign"),
            ("ratio-word", "\":\"", "\"\"", "one sign"),
            (
                "ratio-word",
                "line: \"\"",
                "line: \"MIX 1\"",
                "{shares} is missing",
            ),
            ("move-words", "ABCD", "ABX", "X already has a meaning"),
            ("move-words", "ABCD", "ABA", "A is here twice"),
            ("move-words", "ABCD", "", "a letter for each"),
            ("move-words", "ABCD", "ab", "not a capital"),
        ] {
            let told = said(old, new, name);
            assert!(told.contains(what), "{new}: {told}");
        }
        assert_eq!(said("T{slot}", "MIX_SELECT N{slot}", "slots"), "nothing");
    }
}
