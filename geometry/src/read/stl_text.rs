//! STL in words, however its lines are broken.
//!
//! Own code, since the registry's library wants every facet on seven lines and reads numbers
//! in single precision. Normals are passed over: they are often broken, and the order of the
//! corners says the same. Source: 3D Systems, StereoLithography Interface Specification,
//! 1989, as commonly described.

use glam::DVec3;

use super::build::Builder;
use super::text::{Lines, number, shown, words};
use super::{Facts, Format, Problem, Source};

/// Reads text STL.
pub(super) fn read(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut lines = Lines::new(&mut source.file);
    let mut reader = Reader {
        builder,
        place: Place::Outside,
        numbers: Vec::with_capacity(3),
        corners: Vec::new(),
        facets: 0,
        solids: 0,
        name: Vec::new(),
    };
    let mut bytes = 0u64;
    while let Some(line) = lines.next(false)? {
        bytes += line.len() as u64 + 1;
        let outcome = words(line).try_for_each(|word| reader.word(word));
        reader.line_ends();
        let line = lines.number;
        if line.is_multiple_of(65_536) {
            source.progress.check()?;
            source.progress.set(bytes as f32 / source.length as f32);
        }
        let facet = reader.facets + 1;
        outcome.map_err(|problem| match problem {
            Problem::Broken { what, .. } => broken(format!("facet {facet}, line {line}: {what}")),
            other => other,
        })?;
    }
    reader.finish()
}

fn broken(what: impl Into<String>) -> Problem {
    Problem::broken(Format::StlText, what)
}

/// Where in the file the next word stands.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    /// Between solids.
    Outside,
    /// In the name of a solid, up to the line's end or a facet.
    Name,
    /// After `endsolid`, where the name may come again.
    EndName,
    /// Within a solid, between facets.
    Solid,
    /// In a facet, before `outer loop`: the normal.
    Normal,
    /// In a facet's loop, between corners.
    Loop,
    /// In a corner.
    Vertex,
    /// In a facet, after its loop.
    AfterLoop,
}

struct Reader<'a> {
    builder: &'a mut Builder,
    place: Place,
    /// Coordinates of the corner at hand.
    numbers: Vec<f64>,
    /// Corners of the facet at hand.
    corners: Vec<(u32, DVec3)>,
    facets: usize,
    solids: usize,
    /// Of the solid at hand.
    name: Vec<u8>,
}

impl Reader<'_> {
    fn word(&mut self, word: &[u8]) -> Result<(), Problem> {
        let is = |keyword: &[u8]| word.eq_ignore_ascii_case(keyword);
        match self.place {
            Place::Vertex => self.coordinate(word)?,
            Place::Outside | Place::EndName if is(b"solid") => self.solid(),
            Place::Name | Place::Solid | Place::Outside | Place::EndName if is(b"facet") => {
                self.named();
                self.place = Place::Normal;
            }
            Place::Name | Place::Solid if is(b"endsolid") => {
                self.named();
                self.place = Place::EndName;
            }
            // A file made of others, the ends of which were lost.
            Place::Solid if is(b"solid") => self.solid(),
            Place::Name => {
                self.name.extend_from_slice(word);
                self.name.push(b' ');
            }
            Place::EndName => {}
            Place::Normal if is(b"loop") => self.place = Place::Loop,
            // 'normal', three numbers, 'outer'.
            Place::Normal if !is(b"vertex") && !is(b"endfacet") => {}
            Place::Loop if is(b"vertex") => self.place = Place::Vertex,
            Place::Loop if is(b"endloop") => self.place = Place::AfterLoop,
            Place::AfterLoop if is(b"endfacet") => self.facet()?,
            _ => return Err(broken(format!("{} does not belong here", shown(word)))),
        }
        Ok(())
    }

    fn line_ends(&mut self) {
        match self.place {
            Place::Name => {
                self.named();
                self.place = Place::Solid;
            }
            Place::EndName => self.place = Place::Outside,
            _ => {}
        }
    }

    fn solid(&mut self) {
        self.solids += 1;
        self.name.clear();
        self.place = Place::Name;
    }

    /// The name of a solid is whole.
    fn named(&mut self) {
        if self.place == Place::Name {
            self.builder.begin(&String::from_utf8_lossy(&self.name), "");
        }
    }

    fn coordinate(&mut self, word: &[u8]) -> Result<(), Problem> {
        let value = number(word)
            .ok_or_else(|| broken(format!("{} is not a finite number", shown(word))))?;
        self.numbers.push(value);
        if let [x, y, z] = *self.numbers {
            let place = DVec3::new(x, y, z);
            self.corners.push((self.builder.vertex(place)?, place));
            self.numbers.clear();
            self.place = Place::Loop;
        }
        Ok(())
    }

    fn facet(&mut self) -> Result<(), Problem> {
        match *self.corners {
            [(a, _), (b, _), (c, _)] => self.builder.facet([a, b, c])?,
            [] | [_] | [_, _] => return Err(broken("it has fewer than three corners")),
            _ => {
                let (numbers, places): (Vec<u32>, Vec<DVec3>) =
                    self.corners.iter().copied().unzip();
                self.builder.face(&numbers, &places)?;
            }
        }
        self.corners.clear();
        self.facets += 1;
        self.place = Place::Solid;
        Ok(())
    }

    fn finish(self) -> Result<Facts, Problem> {
        let mut facts = Facts {
            objects: self.solids.max(1),
            ..Facts::default()
        };
        match self.place {
            Place::Outside | Place::EndName => {}
            Place::Solid | Place::Name => facts.notes.push(format!(
                "The file has no last line 'endsolid': if it was cut short, facets after {} are \
                 missing.",
                self.facets
            )),
            _ => {
                return Err(broken(format!(
                    "it ends in the middle of facet {}; copy or export it again",
                    self.facets + 1
                )));
            }
        }
        Ok(facts)
    }
}
