//! Reading and writing of the project's RON files: strict, and every fault with its line
//! and column.
//!
//! Faults come from two places. RON itself finds unknown fields and wrong types, and knows
//! where it is. Faults between fields (two stops at one place, a blend with a share too
//! many) are found afterwards on the finished value and named by a [`Path`];
//! [`locate`](locate::locate) finds the path's line and column in the text again.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod layout;
mod locate;
mod path;
mod tokens;

use std::fmt;

use ron::Options;
use ron::extensions::Extensions;
use ron::ser::PrettyConfig;
use ron::ser::path_meta::Field;
use serde::Serialize;
use serde::de::DeserializeOwned;

use locate::Places;
pub use locate::{Spot, locate};
pub use path::{Path, Step};

/// The most faults of one text that are told.
pub const MOST_FAULTS: usize = 100;

/// Longer texts, bytes, are not read again for what stands behind the first fault.
const LONGEST_READ_AGAIN: usize = 1 << 20;

/// Something wrong in a document, before anyone has looked where it stands in a text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct Problem {
    /// The value at fault.
    pub path: Path,
    /// What is wrong and what to do about it.
    pub what: String,
}

impl Problem {
    /// A problem at a path.
    pub fn new(path: Path, what: impl Into<String>) -> Self {
        let what = what.into();
        Self { path, what }
    }
}

/// A problem and where it stands in the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The file it stands in; empty for the text that was read itself.
    pub file: String,
    /// Line and column.
    pub spot: Spot,
    /// What is wrong and what to do about it.
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.file.is_empty() {
            write!(f, "{}: ", self.file)?;
        }
        write!(f, "{}: {}", self.spot, self.what)
    }
}

/// A text that can't be read: at least one fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextError {
    /// The faults, in the order of the text.
    pub faults: Vec<Fault>,
}

impl TextError {
    /// The same faults, said to stand in a named file.
    #[must_use]
    pub fn in_file(mut self, file: &str) -> Self {
        for fault in self.faults.iter_mut().filter(|f| f.file.is_empty()) {
            file.clone_into(&mut fault.file);
        }
        self
    }
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for TextError {}

/// A document that knows its own version and what can be wrong with it.
pub trait Document: Serialize + DeserializeOwned {
    /// What a person calls such a file: "plan", "machine file".
    const KIND: &'static str;
    /// The version that this program writes.
    const VERSION: u32;
    /// The oldest version that it still reads; a document read from it has this program's
    /// version.
    const OLDEST: u32 = Self::VERSION;

    /// The version that it says it has.
    fn version(&self) -> u32;

    /// Everything wrong with it, in the order of its fields; empty when it is sound.
    fn problems(&self) -> Vec<Problem>;

    /// Comments to write above fields.
    fn comments() -> Field {
        Field::empty()
    }
}

/// Reads a document.
///
/// # Errors
/// [`TextError`] with every fault that could be found, each with line and column.
pub fn read<D: Document>(text: &str) -> Result<D, TextError> {
    let places = Places::of(text);
    check_version::<D>(&places)?;
    let document: D = options()
        .from_str(text)
        .map_err(|error| all_faults::<D>(text, error))?;
    if document.version() != D::VERSION {
        // A number, or its name, was written in a way that only the grammar sees through.
        let spot = places.locate(&Path::field("version"));
        return Err(of_version::<D>(spot, document.version()));
    }
    let problems = document.problems();
    if !problems.is_empty() {
        return Err(placed(text, problems));
    }
    check_numbers(&places)?;
    Ok(document)
}

/// The grammar knows numbers that have no end, and one that is none; nothing is made of those.
/// Documents tell of those they have more to say about themselves.
fn check_numbers(places: &Places) -> Result<(), TextError> {
    let faults: Vec<Fault> = places
        .endless_numbers()
        .take(MOST_FAULTS)
        .map(|(spot, word)| Fault {
            file: String::new(),
            spot,
            what: format!("'{word}' is not a finite number; write one"),
        })
        .collect();
    match faults.is_empty() {
        true => Ok(()),
        false => Err(TextError { faults }),
    }
}

/// The problems of a document, each with its place in the text that the document came from.
pub fn placed(text: &str, problems: Vec<Problem>) -> TextError {
    let places = Places::of(text);
    let more = problems.len().saturating_sub(MOST_FAULTS);
    let mut faults: Vec<Fault> = problems
        .into_iter()
        .take(MOST_FAULTS)
        .map(|problem| Fault {
            file: String::new(),
            spot: places.locate(&problem.path),
            what: problem.what,
        })
        .collect();
    faults.sort_by_key(|f| (f.spot.line, f.spot.column));
    if let (Some(last), 1..) = (faults.last_mut(), more) {
        last.what
            .push_str(&format!(" (and {more} more errors; fix these first)"));
    }
    TextError { faults }
}

/// Writes a document with its comments; short lists and structs stay on one line.
///
/// # Errors
/// Only what the serializer itself reports, in words.
pub fn write<D: Document>(document: &D) -> Result<String, ron::Error> {
    let mut config = PrettyConfig::new().new_line("\n").indentor("    ");
    config.path_meta = Some(D::comments());
    let text = options().to_string_pretty(document, config)?;
    Ok(layout::settle(&text))
}

/// One line of RON that is the same for the same value: what hashes are taken over.
///
/// # Errors
/// Only what the serializer itself reports.
pub fn canonical<T: Serialize>(value: &T) -> Result<String, ron::Error> {
    options().to_string(value)
}

/// Whether the text has a field of this name at its top.
pub(crate) fn has_field(text: &str, name: &'static str) -> bool {
    Places::of(text).word_at(&Path::field(name)).is_some()
}

/// `Some(…)` need not be written, and `Stroke((…))` is `Stroke(…)`: what a person expects.
fn options() -> Options {
    Options::default()
        .with_default_extension(Extensions::IMPLICIT_SOME)
        .with_default_extension(Extensions::UNWRAP_VARIANT_NEWTYPES)
}

/// A later version may hold fields that are unknown here, so its number is looked for first.
fn check_version<D: Document>(places: &Places) -> Result<(), TextError> {
    let Some((spot, word)) = places.word_at(&Path::field("version")) else {
        return Ok(()); // A missing version is reported as any missing field is.
    };
    match word.parse::<u32>() {
        Ok(version) if !(D::OLDEST..=D::VERSION).contains(&version) => {
            Err(of_version::<D>(spot, version))
        }
        _ => Ok(()),
    }
}

fn of_version<D: Document>(spot: Spot, version: u32) -> TextError {
    let kind = D::KIND;
    let known = match D::OLDEST == D::VERSION {
        true => format!("version {}", D::VERSION),
        false => format!("versions {} to {}", D::OLDEST, D::VERSION),
    };
    let advice = match version > D::VERSION {
        true => "use a newer program",
        false => "write it again from an example",
    };
    let what =
        format!("this {kind} has version {version}, and this program reads {known}; {advice}");
    one(spot, what)
}

fn one(spot: Spot, what: String) -> TextError {
    TextError {
        faults: vec![Fault {
            file: String::new(),
            spot,
            what,
        }],
    }
}

/// The grammar stops at the first list of numbers that makes no sense, such as shares that do not
/// add up. For what stands behind it, that list is taken for a plain one and the text read again.
fn all_faults<D: Document>(text: &str, first: ron::error::SpannedError) -> TextError {
    let (mut text, mut error) = (text.to_owned(), first);
    let mut faults = Vec::new();
    loop {
        let is_value = matches!(error.code, ron::Error::Message(_));
        let told = from_ron(error);
        let spot = told.faults.first().map(|fault| fault.spot);
        faults.extend(told.faults);
        let again = is_value && faults.len() < MOST_FAULTS && text.len() < LONGEST_READ_AGAIN;
        let Some(plain) = spot.filter(|_| again).and_then(|s| plain_list_at(&text, s)) else {
            break;
        };
        text = plain;
        match options().from_str::<D>(&text) {
            Ok(document) => {
                faults.extend(placed(&text, document.problems()).faults);
                break;
            }
            Err(next) => error = next,
        }
    }
    faults.sort_by_key(|f| (f.spot.line, f.spot.column));
    faults.truncate(MOST_FAULTS);
    TextError { faults }
}

/// The text with the list of numbers that ends at a place made one of which the first is 1 and
/// the others are 0; nothing else moves.
fn plain_list_at(text: &str, spot: Spot) -> Option<String> {
    let before: usize = text
        .split_inclusive('\n')
        .take(spot.line.checked_sub(1)?)
        .map(str::len)
        .sum();
    let line = text.get(before..)?;
    let column = spot.column.checked_sub(1)?;
    let within: usize = line.chars().take(column).map(char::len_utf8).sum();
    // The place is the bracket's own or behind it.
    let place = before + within;
    let place = match text.get(place..)?.starts_with(']') {
        true => place + 1,
        false => place,
    };
    let end = text.get(..place)?.rfind(']')?;
    let start = text.get(..end)?.rfind('[')? + 1;
    let between = text.get(end + 1..place)?;
    let numbers = text.get(start..end)?;
    let is_number = |c: char| c.is_ascii_alphanumeric() || " \t\r\n.,+-_".contains(c);
    let count = numbers.split(',').filter(|n| !n.trim().is_empty()).count();
    if count == 0 || !numbers.chars().all(is_number) || between.contains(['[', '(', ':']) {
        return None;
    }
    let plain = format!("1{}", ",0".repeat(count - 1));
    let width = numbers.len();
    let plain = format!("{plain:<width$}");
    if plain == numbers || plain.len() != width {
        return None;
    }
    Some(format!("{}{plain}{}", text.get(..start)?, text.get(end..)?))
}

fn from_ron(error: ron::error::SpannedError) -> TextError {
    let spot = Spot {
        line: error.span.start.line,
        column: error.span.start.col,
    };
    one(spot, in_words(&error.code))
}

/// RON's own complaints in words a newcomer can act upon.
fn in_words(code: &ron::Error) -> String {
    use ron::Error as E;
    match code {
        E::NoSuchStructField {
            expected, found, ..
        } => format!(
            "there is no field `{found}` here; {}",
            known("fields", expected)
        ),
        E::NoSuchEnumVariant {
            expected, found, ..
        } => format!("`{found}` is unknown here; {}", known("words", expected)),
        E::MissingStructField { field, .. } => {
            format!("the field `{field}` is missing; add it before this bracket")
        }
        E::DuplicateStructField { field, .. } => {
            format!("the field `{field}` is here twice; remove one")
        }
        E::ExpectedFloat => "a number is needed here, such as 0.2".to_owned(),
        E::ExpectedInteger => "a whole number is needed here, such as 2".to_owned(),
        E::ExpectedString => "a text in \"quotation marks\" is needed here".to_owned(),
        E::ExpectedBoolean => "true or false is needed here".to_owned(),
        E::ExpectedArray => "a list in [square brackets] is needed here".to_owned(),
        E::ExpectedArrayEnd => "a comma or the list's closing ] is missing before this".to_owned(),
        E::ExpectedStructLikeEnd => {
            "a comma or the closing ) is missing before this, or there is one element too many"
                .to_owned()
        }
        E::ExpectedComma => "a comma is missing before this".to_owned(),
        E::ExpectedMapColon => "a colon is missing between the field and its value".to_owned(),
        E::Eof => "the text ends too early; a bracket is not closed".to_owned(),
        E::TrailingCharacters => {
            "there is more text after the end; a bracket is closed too early".to_owned()
        }
        E::ExceededRecursionLimit => "this is nested too deeply; simplify it".to_owned(),
        other => other.to_string(),
    }
}

fn known(what: &str, names: &[&str]) -> String {
    match names {
        [] => format!("no {what} belong here"),
        names => format!("the {what} known here are {}", names.join(", ")),
    }
}
