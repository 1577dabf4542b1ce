//! PLY in words and in bytes of either order: vertex positions and faces, and if asked their
//! colours; all other elements and properties are passed over. A face's own colour counts before
//! those of its vertices. Whole numbers are parts of their greatest value, floats go from 0 to 1:
//! common practice, no source.
//!
//! Source: G. Turk, The PLY Polygon File Format, Stanford University, 1994. Own code, since
//! the registry's library keeps every property of every vertex in a map of its own.

use std::io::{self, BufRead, Read};

use glam::DVec3;

use super::build::{Builder, FaceLook};
use super::text::{number, shown, words};
use super::{Facts, Format, Problem, Source};

/// The most corners of one face.
const MOST_CORNERS: f64 = 1e6;
/// The longest header that is read, bytes.
const MOST_HEADER: u64 = 1 << 20;

fn broken(what: impl Into<String>) -> Problem {
    Problem::broken(Format::Ply, what)
}

/// Reads a PLY file.
pub(super) fn read(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let (header, header_bytes) = Header::read(&mut source.file)?;
    let body_bytes = source.length.saturating_sub(header_bytes);
    header.check_counts(body_bytes)?;
    let mut scalars = Scalars {
        inner: &mut source.file,
        coding: header.coding,
        word: Vec::new(),
    };
    let mut body = Body {
        has_looks: builder.looks().is_some(),
        colours: Vec::new(),
        own_colour: None,
        face_colours: Vec::new(),
        builder,
        numbers: Vec::new(),
        positions: Vec::new(),
        places: Vec::new(),
        face: Vec::new(),
        row: Vec::new(),
        list: Vec::new(),
        vertices_to_come: header.vertex_count(),
        early: Vec::new(),
    };
    // Each takes at least a byte of the file, so the sum is no longer than that.
    let rows: u64 = header.elements.iter().map(|e| e.count).sum();
    let mut done = 0u64;
    for element in &header.elements {
        for row in 0..element.count {
            body.row(element, &mut scalars)
                .map_err(|problem| located(problem, element, row))?;
            done += 1;
            if done.is_multiple_of(65_536) {
                source.progress.check()?;
                source.progress.set(done as f32 / rows as f32);
            }
        }
    }
    body.early_faces()?;
    Ok(Facts {
        objects: 1,
        ..Facts::default()
    })
}

/// Adds to an error in which row it is.
fn located(problem: Problem, element: &Element, row: u64) -> Problem {
    let (name, row) = (&element.name, row + 1);
    match problem {
        Problem::Io(error) if error.kind() == io::ErrorKind::UnexpectedEof => broken(format!(
            "the file ends in {name} {row} of {}; it was cut short, so copy or export it again",
            element.count
        )),
        Problem::Broken { what, .. } => broken(format!("{name} {row}: {what}")),
        other => other,
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Coding {
    Text,
    LittleEndian,
    BigEndian,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Kind {
    fn named(word: &[u8]) -> Result<Self, Problem> {
        Ok(match word {
            b"char" | b"int8" => Self::I8,
            b"uchar" | b"uint8" => Self::U8,
            b"short" | b"int16" => Self::I16,
            b"ushort" | b"uint16" => Self::U16,
            b"int" | b"int32" => Self::I32,
            b"uint" | b"uint32" => Self::U32,
            b"float" | b"float32" => Self::F32,
            b"double" | b"float64" => Self::F64,
            _ => return Err(broken(format!("{} is not a PLY number type", shown(word)))),
        })
    }

    fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Axis {
    X,
    Y,
    Z,
}

impl Axis {
    fn of(self, position: &mut DVec3, value: f64) {
        match self {
            Self::X => position.x = value,
            Self::Y => position.y = value,
            Self::Z => position.z = value,
        }
    }
}

/// What a property is to us.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Role {
    /// A coordinate of a vertex.
    Coordinate(Axis),
    /// The corners of a face.
    Corners,
    /// A part of a colour: 0 red, 1 green, 2 blue.
    Colour(usize),
    Other,
}

#[derive(Debug)]
struct Property {
    /// Of the count, if it is a list.
    list: Option<Kind>,
    kind: Kind,
    role: Role,
}

#[derive(Debug)]
struct Element {
    name: String,
    count: u64,
    properties: Vec<Property>,
}

/// Which part of a colour a property is.
fn part(name: &[u8]) -> Option<usize> {
    match name {
        b"red" | b"r" | b"diffuse_red" => Some(0),
        b"green" | b"g" | b"diffuse_green" => Some(1),
        b"blue" | b"b" | b"diffuse_blue" => Some(2),
        _ => None,
    }
}

/// A part of a colour from 0 to 1.
fn share(value: f64, kind: Kind) -> f32 {
    let most = match kind {
        Kind::I8 | Kind::U8 => 255.0,
        Kind::I16 | Kind::U16 => 65535.0,
        Kind::I32 | Kind::U32 => f64::from(u32::MAX),
        Kind::F32 | Kind::F64 => 1.0,
    };
    (value / most).clamp(0.0, 1.0) as f32
}

impl Element {
    fn is_vertex(&self) -> bool {
        self.name == "vertex"
    }

    /// The fewest bytes that a row takes.
    fn least_bytes(&self, coding: Coding) -> u64 {
        let of_property = |p: &Property| match coding {
            // A digit and what parts it from the next.
            Coding::Text => 2,
            _ => p.list.unwrap_or(p.kind).bytes(),
        };
        let sum: usize = self.properties.iter().map(of_property).sum();
        sum.max(1) as u64
    }
}

struct Header {
    coding: Coding,
    elements: Vec<Element>,
}

impl Header {
    /// Reads up to and with the line `end_header`, and tells its length in bytes.
    fn read(file: &mut impl BufRead) -> Result<(Self, u64), Problem> {
        let mut header = Self {
            coding: Coding::Text,
            elements: Vec::new(),
        };
        let mut limited = file.take(MOST_HEADER + 1);
        let mut line = Vec::new();
        let (mut bytes, mut number, mut formatted) = (0, 0, false);
        let mut returns_alone = false;
        loop {
            line.clear();
            let count = read_header_line(&mut limited, &mut line, &mut returns_alone)?;
            if count == 0 {
                return Err(broken("the header has no line 'end_header'"));
            }
            bytes += count as u64;
            number += 1;
            if bytes > MOST_HEADER {
                let what = format!("the header is longer than {MOST_HEADER} bytes");
                return Err(broken(what));
            }
            let words: Vec<&[u8]> = words(&line).collect();
            if let [b"end_header", ..] = *words {
                break;
            }
            formatted |= words.first() == Some(&b"format".as_slice());
            header.line(&words).map_err(|problem| match problem {
                Problem::Broken { what, .. } => broken(format!("header line {number}: {what}")),
                other => other,
            })?;
        }
        if !formatted {
            return Err(broken("the header has no line 'format'"));
        }
        header.check_elements()?;
        Ok((header, bytes))
    }

    fn line(&mut self, words: &[&[u8]]) -> Result<(), Problem> {
        match *words {
            [b"format", b"ascii", ..] => self.coding = Coding::Text,
            [b"format", b"binary_little_endian", ..] => self.coding = Coding::LittleEndian,
            [b"format", b"binary_big_endian", ..] => self.coding = Coding::BigEndian,
            [b"format", other, ..] => {
                return Err(broken(format!("{} is not a PLY format", shown(other))));
            }
            [b"element", name, count] => {
                let count = std::str::from_utf8(count).ok().and_then(|c| c.parse().ok());
                self.elements.push(Element {
                    name: String::from_utf8_lossy(name).chars().take(40).collect(),
                    count: count.ok_or_else(|| broken("the element's count is not a number"))?,
                    properties: Vec::new(),
                });
            }
            [b"property", b"list", count, kind, name] => {
                self.property(Some(Kind::named(count)?), Kind::named(kind)?, name)?;
            }
            [b"property", kind, name] => self.property(None, Kind::named(kind)?, name)?,
            [b"element" | b"property" | b"format", ..] => {
                return Err(broken("the line has too few or too many words"));
            }
            // ply, comment, obj_info, and what later versions may bring.
            _ => {}
        }
        Ok(())
    }

    fn property(&mut self, list: Option<Kind>, kind: Kind, name: &[u8]) -> Result<(), Problem> {
        let element = self.elements.last_mut();
        let element = element.ok_or_else(|| broken("a property stands before any element"))?;
        let role = match (element.name.as_str(), list, name) {
            ("vertex", None, b"x") => Role::Coordinate(Axis::X),
            ("vertex", None, b"y") => Role::Coordinate(Axis::Y),
            ("vertex", None, b"z") => Role::Coordinate(Axis::Z),
            ("face" | "tristrips", Some(_), b"vertex_indices" | b"vertex_index") => Role::Corners,
            ("vertex" | "face", None, name) => part(name).map_or(Role::Other, Role::Colour),
            _ => Role::Other,
        };
        element.properties.push(Property { list, kind, role });
        Ok(())
    }

    fn check_elements(&self) -> Result<(), Problem> {
        let find = |name: &str| self.elements.iter().position(|e| e.name == name);
        let has = |i: usize, role| {
            let element = self.elements.get(i);
            element.is_some_and(|e| e.properties.iter().any(|p| p.role == role))
        };
        let vertex = find("vertex").ok_or_else(|| broken("it has no element 'vertex'"))?;
        let axes = [Axis::X, Axis::Y, Axis::Z];
        if !axes.iter().all(|axis| has(vertex, Role::Coordinate(*axis))) {
            return Err(broken("its vertices do not have x, y and z"));
        }
        let shapes = [find("face"), find("tristrips")];
        if shapes == [None, None] {
            return Err(Problem::NoFacets);
        }
        if !shapes
            .iter()
            .flatten()
            .any(|shape| has(*shape, Role::Corners))
        {
            return Err(broken("its faces do not have 'vertex_indices'"));
        }
        Ok(())
    }

    fn vertex_count(&self) -> u64 {
        let vertices = self.elements.iter().filter(|e| e.is_vertex());
        vertices.map(|e| e.count).sum()
    }

    /// Whether the promised rows can be in the rest of the file.
    fn check_counts(&self, mut left: u64) -> Result<(), Problem> {
        // The last line may lack its end.
        left += u64::from(self.coding == Coding::Text);
        for element in &self.elements {
            let Element { name, count, .. } = element;
            let least = element.least_bytes(self.coding);
            let needed = count.saturating_mul(least);
            if needed > left {
                return Err(broken(format!(
                    "its header declares {count} of '{name}', but at most {} fit in the rest of \
                     the file; it was cut short, so copy or export it again",
                    left / least
                )));
            }
            left -= needed;
        }
        Ok(())
    }
}

/// A line that ends with LF, CR LF, or CR alone, as very old files do. If one line ended
/// with CR alone, so do the others: in bytes that follow a header, LF is a value.
fn read_header_line(
    file: &mut impl BufRead,
    line: &mut Vec<u8>,
    returns_alone: &mut bool,
) -> io::Result<usize> {
    let mut count = 0;
    while let Some(&byte) = file.fill_buf()?.first() {
        file.consume(1);
        count += 1;
        match byte {
            b'\n' => break,
            b'\r' if *returns_alone => break,
            b'\r' => {
                *returns_alone = file.fill_buf()?.first() != Some(&b'\n');
                if *returns_alone {
                    break;
                }
            }
            other => line.push(other),
        }
    }
    Ok(count)
}

/// Reads one number after another.
struct Scalars<R> {
    inner: R,
    coding: Coding,
    word: Vec<u8>,
}

impl<R: BufRead> Scalars<R> {
    #[inline]
    fn next(&mut self, kind: Kind) -> Result<f64, Problem> {
        match self.coding {
            Coding::Text => self.text(),
            Coding::LittleEndian => self.bytes(kind, false),
            Coding::BigEndian => self.bytes(kind, true),
        }
    }

    #[inline]
    fn bytes(&mut self, kind: Kind, big: bool) -> Result<f64, Problem> {
        let mut raw = [0; 8];
        let used = raw.get_mut(..kind.bytes()).unwrap_or_default();
        self.inner.read_exact(used)?;
        if big {
            used.reverse();
        }
        let [a, b, c, d, ..] = raw;
        Ok(match kind {
            Kind::I8 => f64::from(a as i8),
            Kind::U8 => f64::from(a),
            Kind::I16 => f64::from(i16::from_le_bytes([a, b])),
            Kind::U16 => f64::from(u16::from_le_bytes([a, b])),
            Kind::I32 => f64::from(i32::from_le_bytes([a, b, c, d])),
            Kind::U32 => f64::from(u32::from_le_bytes([a, b, c, d])),
            Kind::F32 => f64::from(f32::from_le_bytes([a, b, c, d])),
            Kind::F64 => f64::from_le_bytes(raw),
        })
    }

    fn text(&mut self) -> Result<f64, Problem> {
        self.word.clear();
        loop {
            let buffer = self.inner.fill_buf()?;
            if buffer.is_empty() {
                break;
            }
            let skip = match self.word.is_empty() {
                true => buffer
                    .iter()
                    .take_while(|b| b.is_ascii_whitespace())
                    .count(),
                false => 0,
            };
            let rest = buffer.get(skip..).unwrap_or_default();
            let mut words = rest.splitn(2, u8::is_ascii_whitespace);
            let word = words.next().unwrap_or_default();
            self.word.extend_from_slice(word);
            let (length, ended) = (word.len(), words.next().is_some());
            self.inner.consume(skip + length);
            if (ended && !self.word.is_empty()) || self.word.len() > 1000 {
                break;
            }
        }
        if self.word.is_empty() {
            return Err(Problem::Io(io::ErrorKind::UnexpectedEof.into()));
        }
        // Not-a-number in a property that is not used does no harm.
        let parsed = std::str::from_utf8(&self.word)
            .ok()
            .and_then(|w| w.parse().ok());
        number(&self.word)
            .or(parsed)
            .ok_or_else(|| broken(format!("{} is not a number", shown(&self.word))))
    }
}

struct Body<'a> {
    builder: &'a mut Builder,
    /// The welded number of each vertex of the file.
    numbers: Vec<u32>,
    positions: Vec<DVec3>,
    /// Scratch: a face's corners in space and by their welded numbers, its row, a list at hand.
    places: Vec<DVec3>,
    face: Vec<u32>,
    row: Vec<f64>,
    list: Vec<f64>,
    /// Vertices that are still to be read.
    vertices_to_come: u64,
    /// Faces and strips that came before their vertices, in order.
    early: Vec<Early>,
    /// Whether somebody asks for colours.
    has_looks: bool,
    /// The colour of each vertex of the file; empty until one has a colour.
    colours: Vec<[f32; 3]>,
    /// The colour of the face at hand.
    own_colour: Option<[f32; 3]>,
    /// Scratch: the colours of a face's corners.
    face_colours: Vec<[f32; 3]>,
}

/// A face or a strip before its vertices.
struct Early {
    shape: Shape,
    corners: Vec<u32>,
    own_colour: Option<[f32; 3]>,
}

/// What a list of corners draws.
#[derive(Clone, Copy)]
enum Shape {
    Face,
    /// Every corner makes a facet with the two before it; −1 begins a new strip.
    Strip,
}

impl Body<'_> {
    fn row<R: BufRead>(
        &mut self,
        element: &Element,
        scalars: &mut Scalars<R>,
    ) -> Result<(), Problem> {
        let mut position = DVec3::ZERO;
        let mut colour = [f32::NAN; 3];
        self.row.clear();
        for property in &element.properties {
            let count = match property.list {
                Some(kind) => length(scalars.next(kind)?)?,
                None => 1,
            };
            self.list.clear();
            for _ in 0..count {
                let value = scalars.next(property.kind)?;
                self.list.push(value);
            }
            match (property.role, self.list.first()) {
                (Role::Coordinate(axis), Some(&value)) => axis.of(&mut position, value),
                (Role::Corners, _) => std::mem::swap(&mut self.row, &mut self.list),
                (Role::Colour(part), Some(&value)) => {
                    if let Some(slot) = colour.get_mut(part) {
                        *slot = share(value, property.kind);
                    }
                }
                _ => {}
            }
        }
        // A colour that lacks a part is none.
        let whole = self.has_looks && !colour.iter().any(|part| part.is_nan());
        let colour = whole.then_some(colour);
        self.own_colour = colour;
        match element.name.as_str() {
            _ if element.is_vertex() => self.vertex(position, colour),
            "face" => self.shape(Shape::Face),
            "tristrips" => self.shape(Shape::Strip),
            _ => Ok(()),
        }
    }

    /// Draws the row at hand, or keeps it until all vertices are there.
    fn shape(&mut self, shape: Shape) -> Result<(), Problem> {
        if self.vertices_to_come > 0 {
            // Whole numbers beyond these name no vertex, and are found out later.
            let corners = self.row.iter().map(|&corner| match corner {
                c if (0.0..f64::from(u32::MAX)).contains(&c) && c.fract() == 0.0 => c as u32,
                _ => u32::MAX,
            });
            self.early.push(Early {
                shape,
                corners: corners.collect(),
                own_colour: self.own_colour,
            });
            return Ok(());
        }
        match shape {
            Shape::Face => self.face(),
            Shape::Strip => self.strip(),
        }
    }

    /// Draws the faces that came before their vertices.
    fn early_faces(&mut self) -> Result<(), Problem> {
        self.vertices_to_come = 0;
        for early in std::mem::take(&mut self.early) {
            let Early { shape, corners, .. } = early;
            self.own_colour = early.own_colour;
            self.row.clear();
            let corner = |c: u32| if c == u32::MAX { -1.0 } else { f64::from(c) };
            self.row.extend(corners.into_iter().map(corner));
            self.shape(shape)?;
        }
        Ok(())
    }

    fn strip(&mut self) -> Result<(), Problem> {
        let row = std::mem::take(&mut self.row);
        for strip in row.split(|corner| *corner == -1.0) {
            for (i, corners) in strip.windows(3).enumerate() {
                // Every other facet of a strip runs the other way.
                let mut corners = corners.to_vec();
                if i % 2 == 1 {
                    corners.swap(0, 1);
                }
                self.put(&corners)?;
            }
        }
        self.row = row;
        Ok(())
    }

    /// The welded number and the place of a vertex of the file.
    fn number(&self, corner: f64) -> Result<(u32, DVec3), Problem> {
        let whole = corner >= 0.0 && corner.fract() == 0.0;
        // What is beyond all integers is beyond the list, too.
        let index = whole.then_some(corner as usize);
        let found = index.and_then(|i| Some((*self.numbers.get(i)?, *self.positions.get(i)?)));
        found.ok_or_else(|| {
            broken(format!(
                "it names vertex {corner}, but they run from 0 to {}",
                self.numbers.len() as i64 - 1
            ))
        })
    }

    fn vertex(&mut self, position: DVec3, colour: Option<[f32; 3]>) -> Result<(), Problem> {
        if !position.is_finite() {
            return Err(broken("a coordinate is not a finite number"));
        }
        if colour.is_some() || !self.colours.is_empty() {
            self.colours.resize(self.positions.len(), [f32::NAN; 3]);
            self.colours.push(colour.unwrap_or([f32::NAN; 3]));
        }
        self.numbers.push(self.builder.vertex(position)?);
        self.positions.push(position);
        self.vertices_to_come = self.vertices_to_come.saturating_sub(1);
        Ok(())
    }

    fn face(&mut self) -> Result<(), Problem> {
        if self.row.len() < 3 {
            return Err(broken("a face needs three corners or more"));
        }
        let row = std::mem::take(&mut self.row);
        let outcome = self.put(&row);
        self.row = row;
        outcome
    }

    /// Hands a face to the builder.
    fn put(&mut self, corners: &[f64]) -> Result<(), Problem> {
        self.face.clear();
        self.places.clear();
        self.face_colours.clear();
        for &corner in corners {
            let (number, place) = self.number(corner)?;
            self.face.push(number);
            self.places.push(place);
            match self.own_colour {
                Some(own) => self.face_colours.push(own),
                None => self.face_colours.extend(self.colours.get(corner as usize)),
            }
        }
        let mut parts = self.face_colours.iter().flatten();
        let whole = self.face_colours.len() == corners.len() && !parts.any(|part| part.is_nan());
        let look = FaceLook {
            colours: whole.then_some(&self.face_colours),
            ..FaceLook::default()
        };
        self.builder.face_like(&self.face, &self.places, look)
    }
}

/// The length of a list.
fn length(value: f64) -> Result<usize, Problem> {
    match value {
        v if (0.0..=MOST_CORNERS).contains(&v) && v.fract() == 0.0 => Ok(v as usize),
        v => Err(broken(format!("a list cannot have {v} members"))),
    }
}
