//! Wavefront OBJ: vertices and faces, and if asked the materials, the places on textures, and the
//! colours of vertices.
//!
//! Source: Wavefront Technologies, Advanced Visualizer manual, appendix B1 (Object Files). Colours
//! of vertices follow their place, as `x y z r g b`: common practice, no source.
//! Own code, since the registry's library keeps several copies of the mesh in single
//! precision and refuses a file for one comment that is not UTF-8.

use glam::DVec3;

use super::beside::Beside;
use super::build::{Builder, FaceLook};
use super::mtl::Library;
use super::text::{Lines, number, shown, words};
use super::{Facts, Format, Problem, Source};

/// Reads an OBJ file.
pub(super) fn read(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut lines = Lines::new(&mut source.file);
    let looked_at = builder.looks().is_some();
    let mut reader = Reader {
        builder,
        beside: &mut source.beside,
        looks: looked_at.then(Looks::default),
        notes: Vec::new(),
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
        notes: std::mem::take(&mut reader.notes),
        ..Facts::default()
    };
    facts
        .notes
        .extend(reader.looks.take().and_then(|looks| looks.told()));
    if reader.curved > 0 {
        facts.notes.push(format!(
            "{} curved surfaces were skipped; export them as a mesh.",
            reader.curved
        ));
    }
    let beside = std::mem::replace(&mut source.beside, Beside::new(None));
    facts.side_files = beside.into_read();
    Ok(facts)
}

/// What decides how faces look.
#[derive(Default)]
struct Looks {
    library: Library,
    /// The material at hand.
    material: Option<u32>,
    /// Whether faces name materials that no file has.
    unknown: bool,
    /// The colour of each vertex of the file; not a number where it has none.
    colours: Vec<[f32; 3]>,
    some_colours: bool,
    /// The places on textures, from the left and from the top.
    places: Vec<[f32; 2]>,
    /// Of the face at hand, what its corners have.
    face_colours: Vec<[f32; 3]>,
    face_places: Vec<[f32; 2]>,
}

impl Looks {
    fn told(&self) -> Option<String> {
        let what = "Some faces have materials that no file beside the mesh describes.";
        self.unknown.then(|| what.to_owned())
    }
}

struct Reader<'a> {
    builder: &'a mut Builder,
    beside: &'a mut Beside,
    /// Only if somebody asks how faces look.
    looks: Option<Looks>,
    notes: Vec<String>,
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
            Some(b"vt") => {
                if let Some(looks) = &mut self.looks {
                    let mut next = || words.next().and_then(number).unwrap_or(0.0) as f32;
                    let (u, v) = (next(), next());
                    // It counts from the bottom.
                    looks.places.push([u, 1.0 - v]);
                }
                Ok(())
            }
            Some(b"usemtl") => {
                if let Some(looks) = &mut self.looks {
                    let name = words.collect::<Vec<_>>().join(&b' ');
                    looks.material = looks.library.number(&name);
                    looks.unknown |= looks.material.is_none();
                }
                Ok(())
            }
            Some(b"mtllib") => {
                self.materials(line);
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
        if let Some(looks) = &mut self.looks {
            let rest: Vec<f32> = words.filter_map(number).map(|v| v as f32).collect();
            // A weight may stand before them.
            let colour = match *rest {
                [r, g, b] | [_, r, g, b] => Some([r, g, b]),
                _ => None,
            };
            looks.some_colours |= colour.is_some();
            looks.colours.push(colour.unwrap_or([f32::NAN; 3]));
        }
        self.numbers.push(self.builder.vertex(position)?);
        self.positions.push(position);
        Ok(())
    }

    /// Reads the materials that a line names: the file of that name, spaces and all, or several.
    fn materials(&mut self, line: &[u8]) {
        let (Some(looks), Some(appearance)) = (&mut self.looks, self.builder.looks()) else {
            return;
        };
        let names: Vec<&[u8]> = words(line).skip(1).collect();
        let is_file = |name: &[u8]| name.to_ascii_lowercase().ends_with(b".mtl");
        let several = names.len() > 1 && names.iter().all(|name| is_file(name));
        let whole = names.join(&b' ');
        let names = match several {
            true => names,
            false => vec![whole.as_slice()],
        };
        for name in names {
            let name = String::from_utf8_lossy(name);
            let (beside, notes) = (&mut *self.beside, &mut self.notes);
            looks.library.read(&name, beside, appearance, notes);
        }
    }

    fn face<'w>(&mut self, words: impl Iterator<Item = &'w [u8]>) -> Result<(), Problem> {
        self.corners.clear();
        if let Some(looks) = &mut self.looks {
            looks.face_colours.clear();
            looks.face_places.clear();
        }
        for word in words.take_while(|w| !w.starts_with(b"#")) {
            let corner = corner(word, self.numbers.len())?;
            self.corners.push(corner);
            if let Some(looks) = &mut self.looks {
                looks.corner(word, corner);
            }
        }
        if self.looks.is_some() {
            return self.polygon();
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
        if self.corners.len() < 3 {
            return Err(broken("a face needs three corners or more".into()));
        }
        let mut face = Vec::with_capacity(self.corners.len());
        let mut places = Vec::with_capacity(self.corners.len());
        for &corner in &self.corners {
            face.push(self.number(corner)?);
            places.extend(self.positions.get(corner));
        }
        let look = self.looks.as_ref().map(Looks::of_face);
        self.builder
            .face_like(&face, &places, look.unwrap_or_default())
    }
}

impl Looks {
    /// Takes a corner of the face at hand.
    fn corner(&mut self, word: &[u8], vertex: usize) {
        let colour = self.colours.get(vertex).copied();
        self.face_colours.push(colour.unwrap_or([f32::NAN; 3]));
        let named = word.split(|&b| b == b'/').nth(1).unwrap_or_default();
        let named: Option<i64> = std::str::from_utf8(named).ok().and_then(|t| t.parse().ok());
        let index = match named {
            Some(named @ 1..) => usize::try_from(named - 1).ok(),
            Some(back) => usize::try_from(self.places.len() as i64 + back.max(-1 << 60)).ok(),
            None => None,
        };
        let place = index.and_then(|i| self.places.get(i)).copied();
        self.face_places.push(place.unwrap_or([0.0, 1.0]));
    }

    /// How the face at hand looks: as its material, or as its vertices where it has none.
    fn of_face(&self) -> FaceLook<'_> {
        let whole = self
            .face_colours
            .iter()
            .all(|c| !c.iter().any(|v| v.is_nan()));
        let own = self.some_colours && whole && self.material.is_none();
        FaceLook {
            material: self.material,
            colours: own.then_some(&self.face_colours),
            places: (!self.places.is_empty() && self.material.is_some())
                .then_some(&self.face_places),
        }
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
