//! 3MF: a ZIP package of XML models.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3, and Production
//! Extension 1.1 (objects in several model parts). Read are meshes, components, build
//! items, their transforms and the unit, and if asked how triangles look. Nothing is ever
//! unpacked to disk.

mod attributes;
mod faults;
mod model;
mod paint;
mod utf16;

use std::collections::{HashMap, HashSet};
use std::io::{BufReader, Read};

use glam::DAffine3;
use zip::ZipArchive;
use zip::result::ZipError;

use self::faults::{broken, io_in_words};
use self::model::{Body, Item, Model, Object, ObjectId};
use self::paint::{Palette, Property};
use super::build::Builder;
use super::limits::{self, Capped};
use super::source::Bytes;
use super::{Facts, Problem, Source};
use crate::Progress;
use crate::appearance::Look;
use crate::unit::Unit;

/// How deep components may hold components.
const MOST_DEPTH: usize = 16;
/// The longest relationships part that is read, bytes.
const MOST_RELATIONSHIPS: u64 = 1 << 20;
/// Where the start part is when no relationship says so.
const USUAL_START: &str = "3D/3dmodel.model";

/// Reads a 3MF file.
pub(super) fn read(source: Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut package = Package::open(source)?;
    let start = package.start_part()?;
    let models = package.models(&start, builder.looks().is_some())?;
    let Some(root) = models.get(&part_key(&start)) else {
        return Err(broken(format!("its part '{start}' is missing")));
    };
    let mut facts = Facts {
        unit: Some(root.unit),
        ..Facts::default()
    };
    let items = match root.items.is_empty() {
        true => {
            facts.notes.push(
                "The file places nothing on the build plate; all of its objects were read \
                 where they are drawn."
                    .into(),
            );
            all_objects(&models, &start)
        }
        false => root.items.clone(),
    };
    let (items, unprinted): (Vec<Item>, Vec<Item>) = items.into_iter().partition(|i| i.printable);
    facts.notes.extend(root.unread_extensions());
    let palettes = package.palettes(&models, builder, &mut facts.notes);
    let mut placer = Placer {
        models: &models,
        palettes: &palettes,
        builder,
        root_unit: root.unit,
        left: limits::placed(package.packed_bytes),
        objects: 0,
        supports: 0,
        name: String::new(),
    };
    for item in &items {
        placer.name.clear();
        placer.place(&item.object, &start, item.transform, 0)?;
    }
    facts.objects = placer.objects;
    let unprinted = left_out(unprinted.len(), "marked as not for printing");
    let supports = left_out(placer.supports, "supports, or not for printing");
    let left_out: Vec<String> = unprinted.into_iter().chain(supports).collect();
    if placer.builder.is_empty() && !left_out.is_empty() {
        return Err(Problem::AllLeftOut(left_out.join(" ")));
    }
    facts.notes.extend(left_out);
    Ok(facts)
}

/// A note on objects that are not read.
fn left_out(count: usize, why: &str) -> Option<String> {
    match count {
        0 => None,
        1 => Some(format!("1 object was left out: it is {why}.")),
        _ => Some(format!("{count} objects were left out: they are {why}.")),
    }
}

/// The root model's objects that no component uses.
fn all_objects(models: &HashMap<String, Model>, start: &str) -> Vec<Item> {
    let used: HashSet<u32> = models
        .values()
        .flat_map(|m| m.objects.values())
        .flat_map(|object| match &object.body {
            Body::Components(components) => components.as_slice(),
            Body::Mesh { .. } => &[],
        })
        .map(|component| component.object.id)
        .collect();
    let Some(root) = models.get(&part_key(start)) else {
        return Vec::new();
    };
    let mut ids: Vec<u32> = root.objects.keys().copied().collect();
    ids.sort_unstable();
    ids.into_iter()
        .filter(|id| !used.contains(id))
        .map(|id| Item {
            object: ObjectId { part: None, id },
            transform: DAffine3::IDENTITY,
            printable: true,
        })
        .collect()
}

struct Package<'a> {
    archive: ZipArchive<BufReader<Box<dyn Bytes + 'a>>>,
    packed_bytes: u64,
    /// How many bytes may still be unpacked.
    allowance: u64,
    progress: Progress,
}

impl<'a> Package<'a> {
    fn open(source: Source<'a>) -> Result<Self, Problem> {
        let packed_bytes = source.length;
        let mut archive = ZipArchive::new(source.file).map_err(in_words)?;
        let overlap = archive.has_overlapping_files().map_err(in_words)?;
        if overlap {
            let what = "the files in its package overlap, so it may be malicious; don't use it";
            return Err(Problem::Refused(what.into()));
        }
        for index in 0..archive.len() {
            let entry = archive.by_index_data(index).map_err(in_words)?;
            if entry.enclosed_name().is_none() {
                let what = "a name in its package points outside of it";
                return Err(Problem::Refused(what.into()));
            }
        }
        Ok(Self {
            archive,
            packed_bytes,
            allowance: limits::unpacked_bytes(packed_bytes),
            progress: source.progress,
        })
    }

    /// The name of the model to start with, by the package's relationships.
    fn start_part(&mut self) -> Result<String, Problem> {
        let mut text = String::new();
        if let Some(index) = self.named("_rels/.rels") {
            let entry = self.archive.by_index(index).map_err(in_words)?;
            utf16::decoded(BufReader::new(entry.take(MOST_RELATIONSHIPS + 1)))
                .and_then(|mut utf8| utf8.read_to_string(&mut text))
                .map_err(|error| broken(format!("its relationships: {error}")))?;
            if text.len() as u64 > MOST_RELATIONSHIPS {
                let what = format!("its relationships are longer than {MOST_RELATIONSHIPS} bytes");
                return Err(Problem::Refused(what));
            }
        }
        let found = model::start_target(&text)?;
        let start = found.map_or(USUAL_START.to_owned(), |t| part_name(&t));
        match self.named(&start) {
            Some(_) => Ok(start),
            None => Err(broken(format!(
                "its package holds no model (looked for '{start}')"
            ))),
        }
    }

    /// The start model and every model that it refers to.
    fn models(&mut self, start: &str, with_looks: bool) -> Result<HashMap<String, Model>, Problem> {
        let mut models = HashMap::new();
        let mut wanted = vec![start.to_owned()];
        while let Some(name) = wanted.pop() {
            if models.contains_key(&part_key(&name)) {
                continue;
            }
            self.progress.check()?;
            let model = self.model(&name, with_looks)?;
            wanted.extend(model.other_parts().map(|p| part_name(&p)));
            models.insert(part_key(&name), model);
        }
        Ok(models)
    }

    fn model(&mut self, name: &str, with_looks: bool) -> Result<Model, Problem> {
        let Some(index) = self.named(name) else {
            return Err(broken(format!("its part '{name}' is missing")));
        };
        let entry = self.archive.by_index(index).map_err(in_words)?;
        let capped = Capped {
            inner: entry,
            left: &mut self.allowance,
        };
        let utf8 =
            utf16::decoded(BufReader::with_capacity(1 << 16, capped)).map_err(io_in_words)?;
        Model::parse(utf8, with_looks, &self.progress).map_err(|problem| match problem {
            Problem::Broken { format, what } => Problem::Broken {
                format,
                what: format!("{name}: {what}"),
            },
            other => other,
        })
    }

    /// What the models' triangles may look like, if somebody asks.
    fn palettes<'m>(
        &mut self,
        models: &'m HashMap<String, Model>,
        builder: &mut Builder,
        notes: &mut Vec<String>,
    ) -> HashMap<&'m str, Palette<'m>> {
        let Some(looks) = builder.looks() else {
            return HashMap::new();
        };
        let mut models: Vec<(&String, &Model)> = models.iter().collect();
        models.sort_by_key(|(name, _)| *name);
        models
            .into_iter()
            .map(|(name, model)| {
                let read = |part: &str| self.bytes(part);
                let palette = Palette::new(&model.paints, looks, notes, read);
                (name.as_str(), palette)
            })
            .collect()
    }

    /// The bytes of a part of the package.
    fn bytes(&mut self, reference: &str) -> Result<Vec<u8>, Problem> {
        let name = part_name(reference);
        let Some(index) = self.named(&name) else {
            return Err(broken(format!(
                "its part '{}' is missing",
                name.escape_debug()
            )));
        };
        let entry = self.archive.by_index(index).map_err(in_words)?;
        let mut capped = Capped {
            inner: entry,
            left: &mut self.allowance,
        };
        let mut bytes = Vec::new();
        capped.read_to_end(&mut bytes).map_err(io_in_words)?;
        Ok(bytes)
    }

    /// The place of a part in the package. Names that differ in case alone are the same:
    /// Open Packaging Conventions (ECMA-376 part 2), 6.2.2.3.
    fn named(&self, name: &str) -> Option<usize> {
        self.archive.index_for_name(name).or_else(|| {
            let mut names = self.archive.file_names().filter_map(Result::ok);
            let found = names.find(|n| n.eq_ignore_ascii_case(name))?;
            self.archive.index_for_name(&found)
        })
    }
}

/// A part's name in the package, without the slash that references begin with.
fn part_name(reference: &str) -> String {
    reference.trim_start_matches('/').to_owned()
}

/// What a part is kept by: names that differ in case alone are the same.
fn part_key(name: &str) -> String {
    name.to_ascii_lowercase()
}

fn in_words(error: ZipError) -> Problem {
    match error {
        ZipError::Io(error) => io_in_words(error),
        other => broken(format!("its ZIP package: {other}")),
    }
}

/// What decides how the triangles of a mesh look.
struct Painted<'a> {
    palette: Option<&'a Palette<'a>>,
    /// Of triangles with a property of their own, rising.
    looks: &'a [Property],
    object: Option<&'a Property>,
}

/// Puts objects into the builder, each where its transforms say.
struct Placer<'a> {
    models: &'a HashMap<String, Model>,
    /// By the models' names; empty if nobody asks how triangles look.
    palettes: &'a HashMap<&'a str, Palette<'a>>,
    builder: &'a mut Builder,
    root_unit: Unit,
    /// Facets, vertices and components that may still be placed.
    left: u64,
    objects: usize,
    /// Objects that were left out because they are supports.
    supports: usize,
    /// Of the outermost object that has one.
    name: String,
}

impl Placer<'_> {
    fn place(
        &mut self,
        object: &ObjectId,
        from_part: &str,
        transform: DAffine3,
        depth: usize,
    ) -> Result<(), Problem> {
        if depth > MOST_DEPTH {
            let what = format!("its components are nested deeper than {MOST_DEPTH}");
            return Err(Problem::Refused(what));
        }
        let part = object
            .part
            .as_deref()
            .map_or(from_part.to_owned(), part_name);
        let id = object.id;
        let models = self.models;
        let key = part_key(&part);
        let model = models
            .get(&key)
            .ok_or_else(|| broken(format!("its part '{part}' is missing")))?;
        let Object {
            body,
            name,
            is_support,
            look,
        } = model
            .objects
            .get(&id)
            .ok_or_else(|| broken(format!("object {id} is named, but it is not there")))?;
        if *is_support {
            self.supports += 1;
            return Ok(());
        }
        let outermost = self.name.is_empty();
        if outermost {
            self.name.clone_from(name);
        }
        // A model part may have a unit of its own.
        let scale = model.unit.mm() / self.root_unit.mm();
        match body {
            Body::Components(components) => {
                for component in components {
                    // A tree of components that holds no mesh must not grow for ever.
                    self.spend(1)?;
                    let mut inner = component.transform;
                    inner.translation *= scale;
                    let inner = transform * inner;
                    self.place(&component.object, &part, inner, depth + 1)?;
                }
                if outermost {
                    self.name.clear();
                }
                Ok(())
            }
            Body::Mesh {
                vertices,
                triangles,
                looks,
            } => {
                let size = triangles.len().max(vertices.len()).max(1);
                self.spend(size as u64)?;
                self.builder
                    .begin(&self.name, if outermost { "" } else { name });
                if outermost {
                    self.name.clear();
                }
                let painted = Painted {
                    palette: self.palettes.get(key.as_str()),
                    looks,
                    object: look.as_ref(),
                };
                self.mesh(vertices, triangles, &painted, transform, scale)
                    .map_err(|problem| match problem {
                        Problem::Broken { what, .. } => broken(format!("object {id}: {what}")),
                        other => other,
                    })
            }
        }
    }

    fn spend(&mut self, count: u64) -> Result<(), Problem> {
        match self.left.checked_sub(count) {
            Some(left) => self.left = left,
            None => {
                let what = "it places its objects so often that they outgrow the file";
                return Err(Problem::Refused(what.into()));
            }
        }
        Ok(())
    }

    fn mesh(
        &mut self,
        vertices: &[glam::DVec3],
        triangles: &[[u32; 3]],
        painted: &Painted<'_>,
        transform: DAffine3,
        scale: f64,
    ) -> Result<(), Problem> {
        let mut looks = painted.looks.iter().peekable();
        self.objects += 1;
        let mut numbers = Vec::with_capacity(vertices.len());
        for &vertex in vertices {
            let position = transform.transform_point3(vertex * scale);
            if !position.is_finite() {
                return Err(broken("its transform moves a vertex out of all bounds"));
            }
            numbers.push(self.builder.vertex(position)?);
        }
        // A mirroring transform turns facets inside out: core specification, 4.2.1.
        let mirrored = transform.matrix3.determinant() < 0.0;
        for (index, triangle) in triangles.iter().enumerate() {
            let mut facet = [0; 3];
            for (corner, &vertex) in facet.iter_mut().zip(triangle) {
                *corner = *numbers.get(vertex as usize).ok_or_else(|| {
                    let count = numbers.len();
                    broken(format!(
                        "triangle {} names vertex {vertex}, but there are {count}",
                        index + 1
                    ))
                })?;
            }
            if mirrored {
                facet.swap(1, 2);
            }
            let own = looks.next_if(|look| look.triangle as usize == index);
            self.builder.facet_like(facet, || {
                let palette = painted.palette;
                let look = palette.map_or(Look::default(), |p| p.look(own, painted.object));
                if mirrored { look.mirrored() } else { look }
            })?;
        }
        Ok(())
    }
}
