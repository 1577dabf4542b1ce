//! OFF in words: vertices and faces; colours, normals and texture are passed over.
//!
//! Source: The Geometry Center, Geomview manual, section 'OFF Files'. Own code: no kept
//! library of the registry reads it without holding the mesh several times.

use glam::DVec3;

use super::build::Builder;
use super::text::{BYTE_ORDER_MARK, Lines, number, shown, words};
use super::{Facts, Format, Problem, Source};

/// The fewest bytes of a vertex or a face: two digits, parted and ended.
const LEAST_BYTES: u64 = 4;

/// Whether the first word is that of an OFF file, with the letters that tell what vertices
/// have besides their place.
pub(super) fn begins(head: &[u8]) -> bool {
    let head = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(head);
    words(head).next().is_some_and(|word| {
        let letters = word.strip_suffix(b"OFF");
        letters.is_some_and(|l| {
            matches!(
                l,
                b"" | b"C" | b"N" | b"CN" | b"ST" | b"STC" | b"STN" | b"STCN" | b"4" | b"n"
            )
        })
    })
}

fn broken(what: impl Into<String>) -> Problem {
    Problem::broken(Format::Off, what)
}

/// Reads an OFF file.
pub(super) fn read(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut lines = Lines::new(&mut source.file);
    let mut reader = Reader {
        builder,
        expects: Expects::Keyword,
        vertices: 0,
        faces: 0,
        length: source.length,
        numbers: Vec::new(),
        positions: Vec::new(),
    };
    let mut bytes = 0u64;
    while let Some(line) = lines.next(false)? {
        bytes += line.len() as u64 + 1;
        let outcome = reader.line(line);
        let line = lines.number;
        if line.is_multiple_of(65_536) {
            source.progress.check()?;
            source.progress.set(bytes as f32 / source.length as f32);
        }
        outcome.map_err(|problem| match problem {
            Problem::Broken { what, .. } => broken(format!("line {line}: {what}")),
            other => other,
        })?;
    }
    if reader.vertices + reader.faces > 0 || reader.expects != Expects::Rows {
        return Err(broken(
            "it ends before the last vertex or face; copy or export it again",
        ));
    }
    Ok(Facts {
        objects: 1,
        ..Facts::default()
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Expects {
    Keyword,
    Counts,
    Rows,
}

struct Reader<'a> {
    builder: &'a mut Builder,
    expects: Expects,
    /// Vertices and faces yet to come.
    vertices: u64,
    faces: u64,
    /// Of the file, bytes.
    length: u64,
    /// The welded number and the place of each vertex.
    numbers: Vec<u32>,
    positions: Vec<DVec3>,
}

impl Reader<'_> {
    fn line(&mut self, line: &[u8]) -> Result<(), Problem> {
        let line = line.split(|b| *b == b'#').next().unwrap_or(line);
        let mut words = words(line).peekable();
        if words.peek().is_none() {
            return Ok(());
        }
        if self.expects == Expects::Keyword {
            match words.next() {
                Some(b"4OFF" | b"nOFF") => {
                    return Err(Problem::Refused(
                        "its vertices are not in three dimensions".into(),
                    ));
                }
                _ if words.peek() == Some(&b"BINARY".as_slice()) => {
                    return Err(Problem::Refused(
                        "it is a binary OFF file; export it as text, or as STL".into(),
                    ));
                }
                _ => self.expects = Expects::Counts,
            }
            if words.peek().is_none() {
                return Ok(());
            }
        }
        match self.expects {
            Expects::Rows if self.vertices > 0 => self.vertex(words),
            Expects::Rows if self.faces > 0 => self.face(words),
            Expects::Rows => Ok(()),
            _ => self.counts(words),
        }
    }

    fn counts<'w>(&mut self, mut words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        let mut next = || whole(words.next().unwrap_or_default());
        (self.vertices, self.faces) = (next()?, next()?);
        let needed = self
            .vertices
            .saturating_add(self.faces)
            .saturating_mul(LEAST_BYTES);
        if needed > self.length.saturating_add(LEAST_BYTES) {
            return Err(broken(format!(
                "it declares {} vertices and {} faces, more than fit in the file; it was cut \
                 short, so copy or export it again",
                self.vertices, self.faces
            )));
        }
        self.expects = Expects::Rows;
        Ok(())
    }

    fn vertex<'w>(&mut self, mut words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        let mut next = || {
            let word = words.next();
            let word = word.ok_or_else(|| broken("a vertex needs three numbers"))?;
            number(word).ok_or_else(|| broken(format!("{} is not a finite number", shown(word))))
        };
        let position = DVec3::new(next()?, next()?, next()?);
        self.numbers.push(self.builder.vertex(position)?);
        self.positions.push(position);
        self.vertices -= 1;
        Ok(())
    }

    fn face<'w>(&mut self, mut words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        let count = whole(words.next().unwrap_or_default())?;
        let (mut numbers, mut places) = (Vec::new(), Vec::new());
        for _ in 0..count {
            let word = words.next();
            let word = word.ok_or_else(|| broken("a face has fewer corners than it says"))?;
            let index = whole(word)?;
            let vertex = usize::try_from(index).ok();
            let found = vertex.and_then(|v| Some((self.numbers.get(v)?, self.positions.get(v)?)));
            let (&vertex, &place) = found.ok_or_else(|| {
                broken(format!(
                    "the face names vertex {index}, but they run from 0 to {}",
                    self.numbers.len() as i64 - 1
                ))
            })?;
            numbers.push(vertex);
            places.push(place);
        }
        self.faces -= 1;
        match *numbers {
            [a, b, c] => self.builder.facet([a, b, c]),
            // Points and lines, which the format has as well.
            [_] | [_, _] => Ok(()),
            [] => Err(broken("a face has no corners")),
            _ => self.builder.face(&numbers, &places),
        }
    }
}

fn whole(word: &[u8]) -> Result<u64, Problem> {
    let text = std::str::from_utf8(word).ok();
    let parsed = text.and_then(|t| t.parse().ok());
    parsed.ok_or_else(|| broken(format!("{} is not a whole number from 0", shown(word))))
}
