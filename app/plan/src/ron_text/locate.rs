//! From a path such as `regions[2].paint` to its line and column in the text.

use std::fmt;

use super::tokens::{Kind, Token, tokens};
use super::{Path, Step};

/// A place in a text, both counted from 1, the column in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Spot {
    /// Line.
    pub line: usize,
    /// Column.
    pub column: usize,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// Where the value at a path stands, or the nearest value around it that is there.
pub fn locate(text: &str, path: &Path) -> Spot {
    Places::of(text).locate(path)
}

/// A text taken apart once, to find any number of paths in it.
pub(super) struct Places<'t> {
    text: &'t str,
    /// Without comments.
    tokens: Vec<Token<'t>>,
    /// For each token the index after it, or after the whole bracket that it opens.
    after: Vec<usize>,
}

impl<'t> Places<'t> {
    pub(super) fn of(text: &'t str) -> Self {
        let mut tokens = tokens(text);
        tokens.retain(|t| t.kind != Kind::Comment);
        let after = after(&tokens);
        Self {
            text,
            tokens,
            after,
        }
    }

    /// As the function [`locate`].
    pub(super) fn locate(&self, path: &Path) -> Spot {
        let mut at = self.top();
        for &step in &path.0 {
            match self.child(at, step) {
                Some(inner) => at = inner,
                None => break,
            }
        }
        self.spot(self.tokens.get(at).map_or(self.text.len(), |t| t.start))
    }

    /// The word at a path, and where it stands; `None` when there is no such value.
    pub(super) fn word_at(&self, path: &Path) -> Option<(Spot, &'t str)> {
        let mut steps = path.0.iter();
        let at = steps.try_fold(self.top(), |at, &step| self.child(at, step))?;
        let token = self.tokens.get(at)?;
        Some((self.spot(token.start), token.text))
    }

    /// The words that stand for a number that is infinite, or for none, or for one too large.
    pub(super) fn endless_numbers(&self) -> impl Iterator<Item = (Spot, &'t str)> + '_ {
        let words = self.tokens.iter().filter(|t| t.kind == Kind::Word);
        let endless = words.filter(|t| is_endless(t.text));
        endless.map(|t| (self.spot(t.start), t.text))
    }

    /// Index of the token with which the document begins, past `#![enable(…)]`.
    fn top(&self) -> usize {
        match self.tokens.first() {
            Some(t) if t.text.starts_with('#') => self.after(1),
            _ => 0,
        }
    }

    fn after(&self, at: usize) -> usize {
        self.after.get(at).copied().unwrap_or(self.tokens.len())
    }

    fn kind(&self, at: usize) -> Option<Kind> {
        self.tokens.get(at).map(|t| t.kind)
    }

    /// Index of the token with which the value at a step begins, within the value that begins
    /// at `at`.
    fn child(&self, mut at: usize, step: Step) -> Option<usize> {
        loop {
            let open = match self.kind(at)? {
                Kind::Open => at,
                Kind::Word if self.kind(at + 1)? == Kind::Open => at + 1,
                _ => return None,
            };
            let first = open + 1;
            let is_list = self.tokens.get(open)?.text == "[";
            match step {
                Step::Index(index) if is_list => return self.items(first).nth(index),
                Step::Field(name) if self.kind(first + 1) == Some(Kind::Colon) => {
                    let is_it = |i: &usize| {
                        let word = self.tokens.get(*i).map(|t| t.text);
                        // A name may be written with `r#` before it.
                        word.is_some_and(|word| word.strip_prefix("r#").unwrap_or(word) == name)
                    };
                    return self.items(first).find(is_it).map(|i| i + 2);
                }
                // A wrapper round one value, such as Fixed([…]) or Stroke((…)): look inside.
                _ => at = self.items(first).next()?,
            }
        }
    }

    /// Indices of the tokens with which the items of a bracket begin; `first` follows its
    /// opening.
    fn items(&self, first: usize) -> impl Iterator<Item = usize> + '_ {
        let mut next = first;
        std::iter::from_fn(move || {
            let here = next;
            if self.kind(here)? == Kind::Close {
                return None;
            }
            let ends = |kind: Kind| matches!(kind, Kind::Comma | Kind::Close);
            while self.kind(next).is_some_and(|kind| !ends(kind)) {
                next = self.after(next);
            }
            if self.kind(next) == Some(Kind::Comma) {
                next += 1;
            }
            Some(here)
        })
    }

    fn spot(&self, offset: usize) -> Spot {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line = before.rsplit('\n').next().unwrap_or(before);
        Spot {
            line: before.matches('\n').count() + 1,
            column: line.chars().count() + 1,
        }
    }
}

fn after(tokens: &[Token]) -> Vec<usize> {
    let mut after: Vec<usize> = (1..=tokens.len()).collect();
    let mut open = Vec::new();
    for (i, token) in tokens.iter().enumerate() {
        match token.kind {
            Kind::Open => open.push(i),
            Kind::Close => {
                if let Some(slot) = open.pop().and_then(|at| after.get_mut(at)) {
                    *slot = i + 1;
                }
            }
            _ => {}
        }
    }
    for at in open {
        if let Some(slot) = after.get_mut(at) {
            *slot = tokens.len();
        }
    }
    after
}

fn is_endless(word: &str) -> bool {
    let plain = word.trim_end_matches("f64").trim_end_matches("f32");
    // Digits may have `_` between them; most words need no copy to be seen through.
    let number = match plain.contains('_') {
        true => plain.replace('_', "").parse::<f64>(),
        false => plain.parse(),
    };
    number.is_ok_and(|number| !number.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "#![enable(implicit_some)]\n// a part\n(\n  version: 1, /* é */ title: \"(,\",\n  regions: [\n    (name: \"a\", paint: Fixed([1, 0])),\n    (name: \"b\", mask: Not(Stroke((radius_mm: 2))), paint: Fade(\n      along: Height, fade: (stops: [(at_mm: 0), (at_mm: 3)])))])";

    fn found(path: &Path) -> (usize, usize) {
        let spot = locate(TEXT, path);
        (spot.line, spot.column)
    }

    #[test]
    fn paths_are_found_through_names_lists_and_wrappers() {
        let regions = Path::field("regions");
        assert_eq!(found(&Path::field("title")), (4, 30));
        assert_eq!(found(&regions.at(0).then("paint").at(1)), (6, 34));
        assert_eq!(
            found(&regions.at(1).then("mask").then("radius_mm")),
            (7, 46)
        );
        let stops = regions.at(1).then("paint").then("fade").then("stops");
        assert_eq!(found(&stops.at(1).then("at_mm")), (8, 57));
    }

    #[test]
    fn brackets_without_end_are_passed_in_one_go() {
        for open in ["(", "[", "{", "a(", "(a: ", "([,"] {
            let text = open.repeat(300_000);
            let spot = locate(&text, &Path::field("version"));
            assert!(spot.line == 1, "{spot}");
        }
    }

    #[test]
    fn a_path_that_is_not_there_gives_what_is_around_it() {
        assert_eq!(found(&Path::field("machine")), (3, 1));
        assert_eq!(found(&Path::field("regions").at(7)), (5, 12));
        assert_eq!(locate("", &Path::field("x")), Spot { line: 1, column: 1 });
    }

    #[test]
    fn numbers_without_an_end_are_found_and_nothing_else() {
        let text = "(a: +NaN, b: -inff64, c: 1e999, d: 1_0e99_9,\n e: Some(inf), f: \"inf\", g: 1.5f32, h: 1e300)";
        let found: Vec<&str> = Places::of(text).endless_numbers().map(|(_, w)| w).collect();
        assert_eq!(found, ["+NaN", "-inff64", "1e999", "1_0e99_9", "inf"]);
    }
}
