//! RON text as tokens with their byte offsets. Lenient: any text gives tokens, for the
//! parser proper has its say about errors elsewhere.

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// `(`, `[` or `{`.
    Open,
    /// `)`, `]` or `}`.
    Close,
    /// `,`.
    Comma,
    /// `:`.
    Colon,
    /// A name, number, text or character.
    Word,
    /// A comment.
    Comment,
}

/// A token and where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Token<'t> {
    pub kind: Kind,
    /// Byte offset of its first character.
    pub start: usize,
    pub text: &'t str,
}

/// All tokens of a text, in order.
pub(super) fn tokens(text: &str) -> Vec<Token<'_>> {
    let mut found = Vec::new();
    let mut rest = text.trim_start();
    while let Some(first) = rest.chars().next() {
        let (kind, length) = token(rest, first);
        let (own, after) = rest.split_at_checked(length).unwrap_or((rest, ""));
        found.push(Token {
            kind,
            start: text.len() - rest.len(),
            text: own,
        });
        rest = after.trim_start();
    }
    found
}

/// Kind and length in bytes of the token at the head of a text that begins with `first`.
fn token(text: &str, first: char) -> (Kind, usize) {
    match first {
        '(' | '[' | '{' => (Kind::Open, 1),
        ')' | ']' | '}' => (Kind::Close, 1),
        ',' => (Kind::Comma, 1),
        ':' => (Kind::Colon, 1),
        '"' => (Kind::Word, quoted(text, '"')),
        '\'' => (Kind::Word, quoted(text, '\'')),
        '/' if text.starts_with("//") => (Kind::Comment, text.find('\n').unwrap_or(text.len())),
        '/' if text.starts_with("/*") => (Kind::Comment, block_comment(text)),
        _ => (Kind::Word, raw_string(text).unwrap_or_else(|| word(text))),
    }
}

/// Length of a text or character in quotation marks, with its escapes.
fn quoted(text: &str, mark: char) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            c if c == mark => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// Length of `r"…"` or `r#"…"#`, if there is one here.
fn raw_string(text: &str) -> Option<usize> {
    let head = text.strip_prefix("br").or_else(|| text.strip_prefix('r'))?;
    let plain = head.trim_start_matches('#');
    let hashes = head.len() - plain.len();
    let body = plain.strip_prefix('"')?;
    let end = format!("\"{}", "#".repeat(hashes));
    let before = text.len() - body.len();
    Some(match body.find(&end) {
        Some(at) => before + at + end.len(),
        None => text.len(),
    })
}

/// Length of a block comment, which may hold others.
fn block_comment(text: &str) -> usize {
    let mut depth = 0usize;
    let mut rest = text;
    while let Some(at) = rest.find(['/', '*']) {
        rest = rest.get(at..).unwrap_or_default();
        if let Some(inner) = rest.strip_prefix("/*") {
            depth += 1;
            rest = inner;
        } else if let Some(outer) = rest.strip_prefix("*/") {
            depth -= 1;
            rest = outer;
            if depth == 0 {
                return text.len() - rest.len();
            }
        } else {
            rest = rest.get(1..).unwrap_or_default();
        }
    }
    text.len()
}

/// Length of a name or number: up to the next mark or space.
fn word(text: &str) -> usize {
    let ends = |c: char| c.is_whitespace() || "()[]{},:\"".contains(c);
    match text.char_indices().skip(1).find(|(_, c)| ends(*c)) {
        Some((at, _)) => at,
        None => text.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(text: &str) -> Vec<&str> {
        tokens(text).into_iter().map(|t| t.text).collect()
    }

    #[test]
    fn texts_comments_and_brackets_are_told_apart() {
        assert_eq!(
            texts("A(b: \"x ) \\\" (\", /* a /* b */ c */ c: [-1.5e3, r#\"]\"#]) // end"),
            [
                "A",
                "(",
                "b",
                ":",
                "\"x ) \\\" (\"",
                ",",
                "/* a /* b */ c */",
                "c",
                ":",
                "[",
                "-1.5e3",
                ",",
                "r#\"]\"#",
                "]",
                ")",
                "// end"
            ]
        );
    }

    #[test]
    fn broken_texts_end_at_the_end() {
        for text in [
            "\"open",
            "/* open",
            "r#\"open",
            "'",
            "/",
            "*/",
            "é\u{3000}(",
        ] {
            let length: usize = texts(text).iter().map(|t| t.len()).sum();
            assert!(length <= text.len());
        }
    }
}
