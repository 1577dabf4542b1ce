//! One XML model part of a 3MF package.

use std::collections::HashMap;
use std::io::BufRead;

use glam::{DAffine3, DMat3, DVec3};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::attributes::{attribute, id, whole};
use super::faults::{broken, io_in_words};
use super::paint::{Paint, Property, colour, coordinate};
use crate::Progress;
use crate::read::Problem;
use crate::read::text::{number, shown, words};
use crate::unit::Unit;

/// The end of the start part's relationship type: core specification, appendix C.
const START_TYPE: &str = "/3dmodel";
/// Extensions whose shapes are read, or whose absence changes no shape, by the prefix that
/// the specifications use.
const HARMLESS: [&str; 4] = ["p", "m", "s", "t"];

/// An object, perhaps in another part of the package.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ObjectId {
    pub(super) part: Option<String>,
    pub(super) id: u32,
}

/// A build item or a component: an object and where it goes.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) object: ObjectId,
    pub(super) transform: DAffine3,
    /// False where a build item is marked as not for printing.
    pub(super) printable: bool,
}

/// An object: its shape, its name, and whether it is part of what is made.
pub(super) struct Object {
    pub(super) body: Body,
    pub(super) name: String,
    /// Whether it only holds the part up, or is not for printing at all.
    pub(super) is_support: bool,
    /// How it looks where its triangles say nothing.
    pub(super) look: Option<Property>,
}

/// What an object is made of.
pub(super) enum Body {
    Mesh {
        vertices: Vec<DVec3>,
        triangles: Vec<[u32; 3]>,
        /// How triangles look, by the number of each; those that are not here look as the object.
        looks: Vec<Property>,
    },
    Components(Vec<Item>),
}

/// One model part.
pub(super) struct Model {
    pub(super) unit: Unit,
    pub(super) objects: HashMap<u32, Object>,
    pub(super) items: Vec<Item>,
    pub(super) paints: HashMap<u32, Paint>,
    required: Vec<String>,
}

impl Model {
    /// Names of other parts that its components and items are in.
    pub(super) fn other_parts(&self) -> impl Iterator<Item = String> {
        let of_components = self.objects.values().flat_map(|object| match &object.body {
            Body::Components(components) => components.as_slice(),
            Body::Mesh { .. } => &[],
        });
        let all = of_components.chain(&self.items);
        all.filter_map(|item| item.object.part.clone())
    }

    /// A note on extensions that the file calls necessary and that are not read.
    pub(super) fn unread_extensions(&self) -> Option<String> {
        let unread: Vec<&str> = self
            .required
            .iter()
            .map(String::as_str)
            .filter(|prefix| !HARMLESS.contains(prefix))
            .collect();
        (!unread.is_empty()).then(|| {
            format!(
                "The file asks for 3MF extensions that are not read here ({}); shapes that \
                 need them are missing or plain.",
                unread.join(", ")
            )
        })
    }

    /// Parses the XML. Elements are known by their local names and by what they are in, so
    /// that extensions' elements of the same name elsewhere do no harm.
    pub(super) fn parse(
        source: impl BufRead,
        with_looks: bool,
        progress: &Progress,
    ) -> Result<Self, Problem> {
        let mut reader = Reader::from_reader(source);
        let mut parser = Parser {
            with_looks,
            ..Parser::default()
        };
        let mut buffer = Vec::new();
        let mut events = 0usize;
        loop {
            buffer.clear();
            let position = reader.buffer_position();
            let at = |problem: Problem| match problem {
                Problem::Broken { format, what } => Problem::Broken {
                    format,
                    what: format!("at byte {position}: {what}"),
                },
                other => other,
            };
            events += 1;
            if events.is_multiple_of(65_536) {
                progress.check()?;
            }
            match reader.read_event_into(&mut buffer) {
                Ok(Event::Start(tag)) => parser.open(&tag, false).map_err(at)?,
                Ok(Event::Empty(tag)) => parser.open(&tag, true).map_err(at)?,
                Ok(Event::End(_)) => parser.close(),
                Ok(Event::Eof) => break,
                Ok(_) => {}
                Err(quick_xml::Error::Io(error)) => {
                    let message = error.to_string();
                    return Err(io_in_words(std::io::Error::new(error.kind(), message)));
                }
                Err(error) => return Err(at(broken(format!("its XML: {error}")))),
            }
        }
        parser.finish()
    }
}

/// The place in the model that the parser is at, as far as it matters.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    Model,
    Resources,
    Object,
    Mesh,
    Vertices,
    Triangles,
    Components,
    Build,
    /// A group of colours, of base materials or of places on a texture.
    Paint,
    Elsewhere,
}

#[derive(Default)]
struct Parser {
    places: Vec<Place>,
    unit: Option<Unit>,
    seen_model: bool,
    required: Vec<String>,
    objects: HashMap<u32, Object>,
    items: Vec<Item>,
    object: Option<u32>,
    name: String,
    is_support: bool,
    vertices: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    components: Vec<Item>,
    /// Whether somebody asks how triangles look.
    with_looks: bool,
    looks: Vec<Property>,
    look: Option<Property>,
    paints: HashMap<u32, Paint>,
    /// The group at hand.
    paint: Option<(u32, Paint)>,
}

impl Parser {
    fn open(&mut self, tag: &BytesStart<'_>, empty: bool) -> Result<(), Problem> {
        let name = tag.local_name();
        let name: &[u8] = name.as_ref();
        let within = self.places.last().copied();
        let place = match (within, name) {
            (None, b"model") => {
                self.model(tag)?;
                Place::Model
            }
            (Some(Place::Model), b"resources") => Place::Resources,
            (Some(Place::Model), b"build") => Place::Build,
            (Some(Place::Resources), b"object") => {
                self.object = Some(id(tag, b"id")?);
                self.name = attribute(tag, b"name")?.unwrap_or_default();
                // Core specification, 4.1 and ST_ObjectType.
                self.is_support = attribute(tag, b"type")?
                    .is_some_and(|t| matches!(&*t, "support" | "solidsupport" | "other"));
                self.look = Property::of_object(tag)?.filter(|_| self.with_looks);
                Place::Object
            }
            (Some(Place::Object), b"mesh") => Place::Mesh,
            (Some(Place::Object), b"components") => Place::Components,
            (Some(Place::Mesh), b"vertices") => Place::Vertices,
            (Some(Place::Mesh), b"triangles") => Place::Triangles,
            (Some(Place::Vertices), b"vertex") => {
                self.vertices.push(position(tag)?);
                Place::Elsewhere
            }
            (Some(Place::Triangles), b"triangle") => {
                if self.with_looks {
                    let number = self.triangles.len() as u32;
                    self.looks.extend(Property::of_triangle(tag, number)?);
                }
                self.triangles.push(corners(tag)?);
                Place::Elsewhere
            }
            (Some(Place::Components), b"component") => {
                self.components.push(item(tag)?);
                Place::Elsewhere
            }
            (Some(Place::Build), b"item") => {
                self.items.push(item(tag)?);
                Place::Elsewhere
            }
            (Some(Place::Resources), _) if self.with_looks => {
                self.paint = Paint::begun(name, tag)?;
                Place::Paint
            }
            (Some(Place::Paint), _) => {
                match &mut self.paint {
                    Some((_, Paint::Colours(all))) => all.extend(colour(name, tag)?),
                    Some((_, Paint::Places { all, .. })) => all.extend(coordinate(name, tag)?),
                    _ => {}
                }
                Place::Elsewhere
            }
            _ => Place::Elsewhere,
        };
        match empty {
            true => self.leave(place),
            false => self.places.push(place),
        }
        Ok(())
    }

    fn close(&mut self) {
        if let Some(place) = self.places.pop() {
            self.leave(place);
        }
    }

    fn leave(&mut self, place: Place) {
        if place == Place::Paint {
            self.paints.extend(self.paint.take());
        }
        if place != Place::Object {
            return;
        }
        let Some(id) = self.object.take() else {
            return;
        };
        let components = std::mem::take(&mut self.components);
        let vertices = std::mem::take(&mut self.vertices);
        let triangles = std::mem::take(&mut self.triangles);
        let body = match components.is_empty() {
            false => Body::Components(components),
            true => Body::Mesh {
                vertices,
                triangles,
                looks: std::mem::take(&mut self.looks),
            },
        };
        let object = Object {
            body,
            name: std::mem::take(&mut self.name),
            is_support: self.is_support,
            look: self.look.take(),
        };
        self.objects.insert(id, object);
    }

    fn model(&mut self, tag: &BytesStart<'_>) -> Result<(), Problem> {
        self.seen_model = true;
        for attribute in tag.attributes().with_checks(false) {
            let attribute = attribute.map_err(|e| broken(format!("its XML: {e}")))?;
            let value: &[u8] = attribute.value.as_ref();
            match attribute.key.as_ref() {
                b"unit" => self.unit = Some(unit(value)?),
                b"requiredextensions" => {
                    let prefixes = words(value).map(|w| String::from_utf8_lossy(w).into_owned());
                    self.required.extend(prefixes);
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn finish(self) -> Result<Model, Problem> {
        if !self.seen_model {
            return Err(broken("it holds no element 'model'"));
        }
        if !self.places.is_empty() {
            return Err(broken(
                "it ends in the middle; copy or export the file again",
            ));
        }
        Ok(Model {
            // Core specification, 3.4: the default.
            unit: self.unit.unwrap_or(Unit::Millimetre),
            objects: self.objects,
            items: self.items,
            paints: self.paints,
            required: self.required,
        })
    }
}

/// Core specification, ST_Unit.
fn unit(value: &[u8]) -> Result<Unit, Problem> {
    Ok(match value {
        b"micron" => Unit::Micron,
        b"millimeter" => Unit::Millimetre,
        b"centimeter" => Unit::Centimetre,
        b"inch" => Unit::Inch,
        b"foot" => Unit::Foot,
        b"meter" => Unit::Metre,
        other => return Err(broken(format!("{} is not a unit of 3MF", shown(other)))),
    })
}

fn position(tag: &BytesStart<'_>) -> Result<DVec3, Problem> {
    let (mut x, mut y, mut z) = (None, None, None);
    for attribute in tag.attributes().with_checks(false) {
        let attribute = attribute.map_err(|e| broken(format!("its XML: {e}")))?;
        let value: &[u8] = attribute.value.as_ref();
        let axis = match attribute.key.as_ref() {
            b"x" => &mut x,
            b"y" => &mut y,
            b"z" => &mut z,
            _ => continue,
        };
        let number = number(value.trim_ascii());
        let number =
            number.ok_or_else(|| broken(format!("{} is not a finite number", shown(value))))?;
        *axis = Some(number);
    }
    match (x, y, z) {
        (Some(x), Some(y), Some(z)) => Ok(DVec3::new(x, y, z)),
        _ => Err(broken("a vertex lacks x, y or z")),
    }
}

fn corners(tag: &BytesStart<'_>) -> Result<[u32; 3], Problem> {
    let (mut a, mut b, mut c) = (None, None, None);
    for attribute in tag.attributes().with_checks(false) {
        let attribute = attribute.map_err(|e| broken(format!("its XML: {e}")))?;
        let corner = match attribute.key.as_ref() {
            b"v1" => &mut a,
            b"v2" => &mut b,
            b"v3" => &mut c,
            _ => continue,
        };
        *corner = Some(whole(attribute.value.as_ref())?);
    }
    match (a, b, c) {
        (Some(a), Some(b), Some(c)) => Ok([a, b, c]),
        _ => Err(broken("a triangle lacks v1, v2 or v3")),
    }
}

fn item(tag: &BytesStart<'_>) -> Result<Item, Problem> {
    let transform = match attribute(tag, b"transform")? {
        Some(text) => transform(text.as_bytes())?,
        None => DAffine3::IDENTITY,
    };
    Ok(Item {
        object: ObjectId {
            part: attribute(tag, b"path")?,
            id: id(tag, b"objectid")?,
        },
        transform,
        printable: attribute(tag, b"printable")?.is_none_or(|p| !matches!(&*p, "0" | "false")),
    })
}

/// Twelve numbers, the rows of a 4 × 3 matrix that row vectors are multiplied by: core
/// specification, 3.3. Its rows are the columns of ours.
fn transform(value: &[u8]) -> Result<DAffine3, Problem> {
    let numbers: Option<Vec<f64>> = words(value).map(number).collect();
    match numbers.as_deref() {
        Some(&[a, b, c, d, e, f, g, h, i, x, y, z]) => Ok(DAffine3::from_mat3_translation(
            DMat3::from_cols_array(&[a, b, c, d, e, f, g, h, i]),
            DVec3::new(x, y, z),
        )),
        _ => Err(broken("a transform is not twelve finite numbers")),
    }
}

/// The target of the package's relationship to its start part, if it has one.
pub(super) fn start_target(relationships: &str) -> Result<Option<String>, Problem> {
    let mut reader = Reader::from_str(relationships);
    loop {
        match reader.read_event() {
            Ok(Event::Start(tag) | Event::Empty(tag)) => {
                let is_start = attribute(&tag, b"Type")?.is_some_and(|t| t.ends_with(START_TYPE));
                if is_start {
                    return attribute(&tag, b"Target");
                }
            }
            Ok(Event::Eof) => return Ok(None),
            Ok(_) => {}
            Err(error) => return Err(broken(format!("its relationships: {error}"))),
        }
    }
}
