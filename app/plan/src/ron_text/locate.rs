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
    let tokens = plain_tokens(text);
    let mut at = top(&tokens);
    for &step in &path.0 {
        match child(&tokens, at, step) {
            Some(inner) => at = inner,
            None => break,
        }
    }
    spot(text, tokens.get(at).map_or(text.len(), |t| t.start))
}

/// The word at a path, and where it stands; `None` when there is no such value.
pub(super) fn word_at<'t>(text: &'t str, path: &Path) -> Option<(Spot, &'t str)> {
    let tokens = plain_tokens(text);
    let at = path
        .0
        .iter()
        .try_fold(top(&tokens), |at, &step| child(&tokens, at, step))?;
    let token = tokens.get(at)?;
    Some((spot(text, token.start), token.text))
}

fn plain_tokens(text: &str) -> Vec<Token<'_>> {
    let mut tokens = tokens(text);
    tokens.retain(|t| t.kind != Kind::Comment);
    tokens
}

/// Index of the token with which the document begins, past `#![enable(…)]`.
fn top(tokens: &[Token]) -> usize {
    match tokens.first() {
        Some(t) if t.text.starts_with('#') => after(tokens, 1),
        _ => 0,
    }
}

/// Index of the token with which the value at a step begins, within the value that begins
/// at `at`.
fn child(tokens: &[Token], at: usize, step: Step) -> Option<usize> {
    let open = match tokens.get(at)?.kind {
        Kind::Open => at,
        Kind::Word if tokens.get(at + 1)?.kind == Kind::Open => at + 1,
        _ => return None,
    };
    let items = items(tokens, open + 1);
    match step {
        Step::Index(index) if tokens[open].text == "[" => items.get(index).copied(),
        Step::Field(name) if named(tokens, &items) => items
            .into_iter()
            .find(|&i| tokens[i].text == name)
            .map(|i| i + 2),
        // A wrapper round one value, such as Fixed([…]) or Stroke((…)): look inside.
        _ => child(tokens, *items.first()?, step),
    }
}

/// Whether the items are fields with names.
fn named(tokens: &[Token], items: &[usize]) -> bool {
    items
        .first()
        .and_then(|&i| tokens.get(i + 1))
        .is_some_and(|t| t.kind == Kind::Colon)
}

/// Indices of the tokens with which the items of a bracket begin; `first` follows its opening.
fn items(tokens: &[Token], first: usize) -> Vec<usize> {
    let mut found = Vec::new();
    let mut at = first;
    while let Some(token) = tokens.get(at) {
        if token.kind == Kind::Close {
            break;
        }
        found.push(at);
        while tokens.get(at).is_some_and(|t| !ends_item(t.kind)) {
            at = after(tokens, at);
        }
        if tokens.get(at).is_some_and(|t| t.kind == Kind::Comma) {
            at += 1;
        }
    }
    found
}

fn ends_item(kind: Kind) -> bool {
    matches!(kind, Kind::Comma | Kind::Close)
}

/// Index after the token at `at`, or after the whole bracket that it opens.
fn after(tokens: &[Token], at: usize) -> usize {
    let mut depth = 0usize;
    for (i, token) in tokens.iter().enumerate().skip(at) {
        match token.kind {
            Kind::Open => depth += 1,
            Kind::Close => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth == 0 {
            return i + 1;
        }
    }
    tokens.len()
}

fn spot(text: &str, offset: usize) -> Spot {
    let before = &text[..offset];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    Spot {
        line: before.matches('\n').count() + 1,
        column: before[line_start..].chars().count() + 1,
    }
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
    fn a_path_that_is_not_there_gives_what_is_around_it() {
        assert_eq!(found(&Path::field("machine")), (3, 1));
        assert_eq!(found(&Path::field("regions").at(7)), (5, 12));
        assert_eq!(locate("", &Path::field("x")), Spot { line: 1, column: 1 });
    }
}
