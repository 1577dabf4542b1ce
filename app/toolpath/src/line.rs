//! One line: its bytes, and the words they spell.
//!
//! NIST 3.3: an optional `/` (block delete), an optional line number, then words, comments in
//! round brackets and the end of the line; letters of either case; blanks anywhere. Printers
//! add (common practice, no source) comments after `;`, a checksum after `*`, words that are
//! a bare letter (`G28 X`), lines that are no words at all (named commands), and commands
//! whose rest is text (`M117 Hello`).

use memchr::{memchr, memrchr};

use crate::number;

/// A letter and its number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Word {
    /// The letter, in upper case.
    pub letter: u8,
    /// The number; `None` for a bare letter and for a number that can't be held.
    pub value: Option<f64>,
    /// Byte in the line at which the letter stands.
    pub at: u32,
    /// First byte of the number.
    pub from: u32,
    /// One past the last byte of the number; equal to `from` if there is none.
    pub to: u32,
}

/// What kind of line it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Nothing but blanks and comments.
    Quiet,
    /// Words.
    Words,
    /// No words: a named command, a `%`, or what isn't G-code.
    Opaque,
    /// Left out on demand: it begins with `/` (block delete, NIST 3.3.1).
    Skipped,
    /// The rest of a comment too long to be held at once.
    CommentRest,
}

/// A checksum: `*` and the exclusive or of every byte before it (common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checksum {
    /// Byte in the line at which the `*` stands.
    pub at: u32,
    /// One past its last digit.
    pub to: u32,
    /// Whether the number is right.
    pub right: bool,
}

/// What was understood of a line, apart from its words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Parsed {
    pub form: Form,
    pub comment: Option<(u32, u32)>,
    /// The comment began with `;` and so runs to the end of the line.
    pub comment_runs_on: bool,
    pub checksum: Option<Checksum>,
    /// First byte that is no word, comment or checksum.
    pub unread: Option<u32>,
}

/// One line of a toolpath, borrowed from its reader.
#[derive(Clone, Copy, Debug)]
pub struct Line<'a> {
    pub(crate) bytes: &'a [u8],
    pub(crate) body: usize,
    pub(crate) words: &'a [Word],
    pub(crate) parsed: Parsed,
    pub(crate) number: u64,
    pub(crate) offset: u64,
    pub(crate) goes_on: bool,
}

impl<'a> Line<'a> {
    /// Every byte of it, its end of line included.
    pub fn bytes(&self) -> &'a [u8] {
        self.bytes
    }

    /// Its bytes without the end of line.
    pub fn body(&self) -> &'a [u8] {
        self.bytes.get(..self.body).unwrap_or_default()
    }

    /// Its end of line: `\n`, `\r\n`, `\r`, or nothing at the end of a file.
    pub fn end(&self) -> &'a [u8] {
        self.bytes.get(self.body..).unwrap_or_default()
    }

    /// Its words, in order.
    pub fn words(&self) -> &'a [Word] {
        self.words
    }

    /// The bytes of a word's number, as they stand.
    pub fn number_text(&self, word: &Word) -> &'a [u8] {
        self.bytes
            .get(word.from as usize..word.to as usize)
            .unwrap_or_default()
    }

    /// What kind of line it is.
    pub fn form(&self) -> Form {
        self.parsed.form
    }

    /// The text of its last comment, without the marks.
    pub fn comment(&self) -> Option<&'a [u8]> {
        let (from, to) = self.parsed.comment?;
        self.bytes.get(from as usize..to as usize)
    }

    /// Its checksum.
    pub fn checksum(&self) -> Option<Checksum> {
        self.parsed.checksum
    }

    /// What of it is no word, comment or checksum.
    pub fn unread(&self) -> Option<&'a [u8]> {
        self.body().get(self.parsed.unread? as usize..)
    }

    /// Its place in the file, from 1 (not its `N` word).
    pub fn number(&self) -> u64 {
        self.number
    }

    /// Bytes of the file before it.
    pub fn offset(&self) -> u64 {
        self.offset
    }

    /// Its line number, if its first word is `N`.
    pub fn line_number(&self) -> Option<&'a Word> {
        self.words.first().filter(|w| w.letter == b'N')
    }

    /// Whether the next line is the rest of this one's comment.
    pub fn goes_on(&self) -> bool {
        self.goes_on
    }

    /// Takes one line apart. `words` is cleared first and lent for its words; the reader does
    /// this with its own, this is for lines made by hand.
    pub fn parse(text: &'a [u8], words: &'a mut Vec<Word>) -> Self {
        let body = text.len() - ending(text);
        let parsed = parse(text.get(..body).unwrap_or(text), words);
        Self {
            bytes: text,
            body,
            words,
            parsed,
            number: 1,
            offset: 0,
            goes_on: false,
        }
    }
}

/// Length of the end of line that a text carries.
pub(crate) fn ending(text: &[u8]) -> usize {
    match text {
        [.., b'\r', b'\n'] => 2,
        [.., b'\n' | b'\r'] => 1,
        _ => 0,
    }
}

/// Commands whose rest is text or a file name (common practice, no source).
fn takes_text(letter: u8, value: Option<f64>) -> bool {
    let Some(code) = value.filter(|_| letter == b'M') else {
        return false;
    };
    [23.0, 28.0, 30.0, 32.0, 117.0, 118.0, 928.0].contains(&code)
}

/// Takes a line without its end apart.
pub(crate) fn parse(body: &[u8], words: &mut Vec<Word>) -> Parsed {
    let mut parsed = parse_words(body, words);
    let numbered = words.first().is_some_and(|w| w.letter == b'N');
    if numbered && parsed.checksum.is_none() && !parsed.comment_runs_on {
        // After text the words don't lead to it.
        parsed.checksum = memrchr(b'*', body).and_then(|at| checksum(body, at));
    }
    parsed
}

/// The checksum whose `*` stands at `at`, if digits follow and then nothing.
fn checksum(body: &[u8], at: usize) -> Option<Checksum> {
    let found = number::read(body, at + 1);
    let sum = body.get(..at)?.iter().fold(0_u8, |sum, b| sum ^ b);
    let rest = number::skip_blanks(body, found.to);
    let last = matches!(body.get(rest), None | Some(b';' | b'('));
    (last && found.to > found.from).then_some(Checksum {
        at: at as u32,
        to: found.to as u32,
        right: found.value == Some(f64::from(sum)),
    })
}

fn parse_words(body: &[u8], words: &mut Vec<Word>) -> Parsed {
    words.clear();
    let mut parsed = Parsed {
        form: Form::Quiet,
        comment: None,
        comment_runs_on: false,
        checksum: None,
        unread: None,
    };
    let mut i = number::skip_blanks(body, 0);
    match body.get(i) {
        Some(b'/') => {
            parsed.form = Form::Skipped;
            return parsed;
        }
        Some(b'%') => {
            parsed.form = Form::Opaque;
            return parsed;
        }
        _ => {}
    }
    // Commands seen; until one is, a bare letter is the start of a name.
    let mut commands = 0_u32;
    while let Some(&byte) = body.get(i) {
        match byte {
            // Only a comment may follow the checksum.
            _ if parsed.checksum.is_some() && !matches!(byte, b' ' | b'\t' | b';' | b'(') => {
                parsed.unread = Some(i as u32);
                break;
            }
            b'A'..=b'Z' | b'a'..=b'z' => {
                let letter = byte & !0x20;
                let found = number::read(body, i + 1);
                let bare = found.to == found.from;
                if commands == 0 && (bare || body.get(found.to) == Some(&b'_')) {
                    return opaque(words, parsed);
                }
                words.push(Word {
                    letter,
                    value: found.value,
                    at: i as u32,
                    from: found.from as u32,
                    to: found.to as u32,
                });
                commands += u32::from(letter != b'N');
                i = if bare { i + 1 } else { found.to };
                if takes_text(letter, found.value) {
                    break;
                }
            }
            b' ' | b'\t' => i += 1,
            b';' => {
                parsed.comment = Some((i as u32 + 1, body.len() as u32));
                parsed.comment_runs_on = true;
                break;
            }
            b'(' => match body.get(i..).and_then(|rest| memchr(b')', rest)) {
                Some(length) => {
                    parsed.comment = Some((i as u32 + 1, (i + length) as u32));
                    i += length + 1;
                }
                None => {
                    parsed.comment = Some((i as u32 + 1, body.len() as u32));
                    parsed.unread = Some(i as u32);
                    break;
                }
            },
            b'*' if words.first().is_some_and(|w| w.letter == b'N') => match checksum(body, i) {
                Some(found) => {
                    parsed.checksum = Some(found);
                    i = found.to as usize;
                }
                None => {
                    parsed.unread = Some(i as u32);
                    break;
                }
            },
            _ => {
                if commands == 0 {
                    return opaque(words, parsed);
                }
                parsed.unread = Some(i as u32);
                break;
            }
        }
    }
    if commands > 0 {
        parsed.form = Form::Words;
    }
    parsed
}

/// A line that spells no words, apart from a line number.
fn opaque(words: &mut Vec<Word>, parsed: Parsed) -> Parsed {
    words.retain(|w| w.letter == b'N' && w.value.is_some());
    words.truncate(1);
    Parsed {
        form: Form::Opaque,
        ..parsed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spelt(text: &str) -> Vec<(char, Option<f64>)> {
        let mut words = Vec::new();
        Line::parse(text.as_bytes(), &mut words)
            .words()
            .iter()
            .map(|w| (w.letter as char, w.value))
            .collect()
    }

    fn form(text: &str) -> Form {
        Line::parse(text.as_bytes(), &mut Vec::new()).form()
    }

    #[test]
    fn nist_3_3_blanks_and_case_mean_nothing() {
        // The document's own example.
        let expected = vec![('G', Some(0.0)), ('X', Some(0.1234)), ('Y', Some(7.0))];
        assert_eq!(spelt("g0x +0. 12 34y 7"), expected);
        assert_eq!(spelt("g0 x+0.1234 y7"), expected);
        assert_eq!(spelt("G0X.1234Y7"), expected);
    }

    #[test]
    fn nist_3_3_4_comments_stand_anywhere_between_words() {
        assert_eq!(
            spelt("G1(to the edge)X5 (and) Y6"),
            vec![('G', Some(1.0)), ('X', Some(5.0)), ('Y', Some(6.0))]
        );
        let mut words = Vec::new();
        let line = Line::parse(b"G80 M5 (stop)\r\n", &mut words);
        assert_eq!(line.comment(), Some(&b"stop"[..]));
        assert_eq!(line.end(), b"\r\n");
        let line = Line::parse(b"G1 X1 ; a (b) *7", &mut words);
        assert_eq!(line.comment(), Some(&b" a (b) *7"[..]));
        assert_eq!(line.words().len(), 2);
        let line = Line::parse(b"G1 X1 (never closed", &mut words);
        assert_eq!(line.unread(), Some(&b"(never closed"[..]));
    }

    #[test]
    fn nist_3_3_1_block_delete_and_line_numbers() {
        assert_eq!(form("/G1 X5"), Form::Skipped);
        assert_eq!(form(" / G1 X5"), Form::Skipped);
        let mut words = Vec::new();
        let line = Line::parse(b"N0010 G1 X5", &mut words);
        assert_eq!(line.line_number().and_then(|w| w.value), Some(10.0));
    }

    #[test]
    fn nist_3_3_2_parameters_and_expressions_are_left_alone() {
        let mut words = Vec::new();
        let line = Line::parse(b"G1 X#5 Y[1 + acos[0]]", &mut words);
        assert_eq!(line.unread(), Some(&b"#5 Y[1 + acos[0]]"[..]));
        assert_eq!(form("#3=15 #3=6"), Form::Opaque);
        assert_eq!(form("%"), Form::Opaque);
    }

    #[test]
    fn named_commands_and_text_are_no_words() {
        for text in [
            "START_PRINT BED=60",
            "EXCLUDE X1",
            "T1_PARK X5",
            "M1_X",
            "hello",
            "\u{e9}",
        ] {
            assert_eq!(form(text), Form::Opaque, "{text}");
        }
        assert_eq!(spelt("M117 G1 X5"), vec![('M', Some(117.0))]);
        assert_eq!(spelt("M23 part.gco"), vec![('M', Some(23.0))]);
        assert_eq!(
            spelt("G28 X y"),
            vec![('G', Some(28.0)), ('X', None), ('Y', None)]
        );
        assert_eq!(form("  \t "), Form::Quiet);
        assert_eq!(form("(a)(b);c"), Form::Quiet);
    }

    #[test]
    fn no_exponents() {
        assert_eq!(
            spelt("G1 X1e999"),
            vec![('G', Some(1.0)), ('X', Some(1.0)), ('E', Some(999.0))]
        );
    }

    #[test]
    fn checksums() {
        // 'N3 T0' xors to 57: the example that hosts commonly give, from memory; and by hand:
        // 0x4e ^ 0x33 ^ 0x20 ^ 0x54 ^ 0x30 = 0x39.
        let mut words = Vec::new();
        let line = Line::parse(b"N3 T0*57\n", &mut words);
        assert_eq!(line.checksum().map(|c| c.right), Some(true));
        assert_eq!(line.unread(), None);
        let line = Line::parse(b"N3 T0*56 ; wrong", &mut words);
        assert_eq!(line.checksum().map(|c| c.right), Some(false));
        assert_eq!(line.comment(), Some(&b" wrong"[..]));
        let line = Line::parse(b"N3 M117 5*4*44\r\n", &mut words);
        assert_eq!(line.checksum().map(|c| (c.at, c.right)), Some((11, true)));
        let line = Line::parse(b"N4 START A=1*0", &mut words);
        assert_eq!(
            (line.form(), line.checksum().is_some()),
            (Form::Opaque, true)
        );
        assert_eq!(line.line_number().and_then(|w| w.value), Some(4.0));
        // Nothing but a comment is read after it.
        let line = Line::parse(b"N5 G1 E3*2 (c) Y1", &mut words);
        assert_eq!((line.words().len(), line.unread()), (3, Some(&b"Y1"[..])));
        // Without a line number it is no checksum.
        assert!(Line::parse(b"G1 X5*57", &mut words).checksum().is_none());
    }
}
