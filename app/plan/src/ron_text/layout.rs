//! Puts short lists and structs on one line, so that a plan reads like a table.

use super::tokens::{Kind, Token, tokens};

/// The widest line that a bracket is joined into, in characters.
const WIDTH: usize = 88;

/// Lays out a text that was written with one item a line.
pub(super) fn settle(text: &str) -> String {
    let tokens = tokens(text);
    let ends = closings(&tokens);
    let mut out = String::with_capacity(text.len());
    let mut done = 0; // Byte up to which the text has been copied.
    let piece = |from: usize, to: usize| text.get(from..to).unwrap_or_default();
    let mut i = 0;
    while let Some(token) = tokens.get(i) {
        let end = ends.get(i).copied().flatten();
        let inner = end.and_then(|end| tokens.get(i..=end)).unwrap_or_default();
        if let (Some(end), Some(last)) = (end, inner.last())
            && let Some(flat) = flat(inner)
            && column(&out, piece(done, token.start)) + flat.chars().count() < WIDTH
        {
            out.push_str(piece(done, token.start));
            out.push_str(&flat);
            done = last.start + 1;
            i = end + 1;
        } else {
            let stop = token.start + token.text.len();
            out.push_str(piece(done, stop));
            done = stop;
            i += 1;
        }
    }
    out.push_str(piece(done, text.len()));
    out.push('\n');
    out
}

/// For each opening bracket, the index of its closing one.
fn closings(tokens: &[Token]) -> Vec<Option<usize>> {
    let mut ends = vec![None; tokens.len()];
    let mut open = Vec::new();
    for (i, token) in tokens.iter().enumerate() {
        match token.kind {
            Kind::Open => open.push(i),
            Kind::Close => {
                if let Some(slot) = open.pop().and_then(|start| ends.get_mut(start)) {
                    *slot = Some(i);
                }
            }
            _ => {}
        }
    }
    ends
}

/// A bracket on one line; `None` when it holds a comment, a line break, or is too long anyway.
fn flat(tokens: &[Token]) -> Option<String> {
    let mut line = String::new();
    for (i, token) in tokens.iter().enumerate() {
        if token.kind == Kind::Comment || token.text.contains('\n') || line.len() > WIDTH * 4 {
            return None;
        }
        let next = tokens.get(i + 1).map(|t| t.kind);
        match token.kind {
            Kind::Comma if next == Some(Kind::Close) => {}
            Kind::Comma | Kind::Colon => {
                line.push_str(token.text);
                line.push(' ');
            }
            _ => line.push_str(token.text),
        }
    }
    Some(line)
}

/// The column at which text would go on after `out` and `more`.
fn column(out: &str, more: &str) -> usize {
    let tail = |text: &str| text.rsplit('\n').next().unwrap_or("").chars().count();
    match more.contains('\n') {
        true => tail(more),
        false => tail(out) + more.chars().count(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_brackets_are_joined_and_long_ones_keep_their_lines() {
        let long = "x".repeat(90);
        let text = format!(
            "(\n    /// why\n    a: [\n        1.0,\n        2.0,\n    ],\n    b: (\n        c: \"{long}\",\n        d: (\n            e: 1,\n        ),\n    ),\n)"
        );
        let want = format!(
            "(\n    /// why\n    a: [1.0, 2.0],\n    b: (\n        c: \"{long}\",\n        d: (e: 1),\n    ),\n)\n"
        );
        assert_eq!(settle(&text), want);
    }
}
