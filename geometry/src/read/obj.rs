//! Wavefront OBJ: vertices and faces; normals, texture and materials are passed over.
//!
//! Source: Wavefront Technologies, Advanced Visualizer manual, appendix B1 (Object Files).
//! Own code, since the registry's library keeps several copies of the mesh in single
//! precision and refuses a file for one comment that is not UTF-8.

use glam::DVec3;

use super::build::Builder;
use super::text::{Lines, number, shown, words};
use super::{Facts, Format, Problem, Source};

/// Reads an OBJ file.
pub(super) fn read(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut lines = Lines::new(&mut source.file);
    let mut reader = Reader {
        builder,
        numbers: Vec::new(),
        positions: Vec::new(),
        corners: Vec::new(),
        objects: 0,
        object: String::new(),
        curved: 0,
    };
    let mut bytes = 0;
    while let Some(line) = lines.next(true)? {
        bytes += line.len() as u64;
        let outcome = reader.line(line);
        let line = lines.number;
        if line.is_multiple_of(65_536) {
            source.progress.check()?;
            source.progress.set(bytes as f32 / source.length as f32);
        }
        outcome.map_err(|problem| match problem {
            Problem::Broken { format, what } => Problem::Broken {
                format,
                what: format!("line {line}: {what}"),
            },
            other => other,
        })?;
    }
    let mut facts = Facts {
        objects: reader.objects.max(1),
        ..Facts::default()
    };
    if reader.curved > 0 {
        facts.notes.push(format!(
            "{} curved surfaces were skipped; export them as a mesh.",
            reader.curved
        ));
    }
    Ok(facts)
}

struct Reader<'a> {
    builder: &'a mut Builder,
    /// The welded number of each vertex of the file.
    numbers: Vec<u32>,
    /// The positions of each vertex, kept once there is a polygon to cut.
    positions: Vec<DVec3>,
    /// The face at hand, as vertices of the file.
    corners: Vec<usize>,
    objects: usize,
    /// The name of the object at hand.
    object: String,
    curved: usize,
}

fn broken(what: String) -> Problem {
    Problem::broken(Format::Obj, what)
}

impl Reader<'_> {
    fn line(&mut self, line: &[u8]) -> Result<(), Problem> {
        let mut words = words(line);
        match words.next() {
            Some(b"v") => self.vertex(words),
            Some(b"f" | b"fo") => self.face(words),
            Some(b"o") => {
                self.objects += 1;
                self.object = name(words);
                self.builder.begin(&self.object, "");
                Ok(())
            }
            Some(b"g") => {
                let group = name(words);
                self.builder.begin(&self.object, &group);
                Ok(())
            }
            Some(b"surf") => {
                self.curved += 1;
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn vertex<'w>(&mut self, mut words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        let mut next = || {
            let word = words.next();
            let word = word.ok_or_else(|| broken("a vertex needs three numbers".into()))?;
            number(word).ok_or_else(|| broken(format!("{} is not a finite number", shown(word))))
        };
        let position = DVec3::new(next()?, next()?, next()?);
        self.numbers.push(self.builder.vertex(position)?);
        self.positions.push(position);
        Ok(())
    }

    fn face<'w>(&mut self, words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        self.corners.clear();
        for word in words.take_while(|w| !w.starts_with(b"#")) {
            let corner = corner(word, self.numbers.len())?;
            self.corners.push(corner);
        }
        match *self.corners {
            [a, b, c] => {
                let facet = [self.number(a)?, self.number(b)?, self.number(c)?];
                self.builder.facet(facet)
            }
            [] | [_] | [_, _] => Err(broken("a face needs three corners or more".into())),
            _ => self.polygon(),
        }
    }

    fn number(&self, vertex: usize) -> Result<u32, Problem> {
        let number = self.numbers.get(vertex).copied();
        number.ok_or_else(|| no_such(vertex as i64 + 1, self.numbers.len()))
    }

    fn polygon(&mut self) -> Result<(), Problem> {
        let mut face = Vec::with_capacity(self.corners.len());
        let mut places = Vec::with_capacity(self.corners.len());
        for &corner in &self.corners {
            face.push(self.number(corner)?);
            places.extend(self.positions.get(corner));
        }
        self.builder.face(&face, &places)
    }
}

/// The rest of a line as a name.
fn name<'w>(words: impl Iterator<Item = &'w [u8]>) -> String {
    let words: Vec<_> = words.map(String::from_utf8_lossy).collect();
    words.join(" ")
}

fn no_such(named: i64, count: usize) -> Problem {
    broken(format!(
        "the face names vertex {named}, but there are {count} so far"
    ))
}

/// A corner such as `7`, `7/1/3` or `-1`: the number of a vertex from 1, or back from the
/// last one.
fn corner(word: &[u8], count: usize) -> Result<usize, Problem> {
    let first = word.split(|&b| b == b'/').next().unwrap_or(word);
    let named: i64 = std::str::from_utf8(first)
        .ok()
        .and_then(|text| text.parse().ok())
        .ok_or_else(|| broken(format!("{} is not a vertex number", shown(word))))?;
    let index = match named {
        1.. => named - 1,
        _ => (count as i64).saturating_add(named),
    };
    match usize::try_from(index) {
        Ok(index) if index < count && named != 0 => Ok(index),
        _ => Err(no_such(named, count)),
    }
}
