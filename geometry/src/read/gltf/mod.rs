//! glTF 2.0, in words and in bytes: the meshes of its scene where its nodes put them, and if asked
//! their base colours, textures and vertex colours.
//!
//! Source: Khronos Group, glTF 2.0 Specification (ISO/IEC 12113:2022), and the extension
//! `KHR_texture_transform`, whose sense of rotation is from memory. Its lengths are metres and its
//! y axis points up: here that axis becomes z, so that parts stand as they were drawn. Own code,
//! since the registry's library takes a file's counts on trust until it is asked to check all of
//! it, and brings readers of pictures. Skins and morphs are passed over.

mod data;
mod document;
mod faults;
mod looks;

use std::io::Read;

use glam::{DAffine3, DMat3, DMat4, DQuat, DVec3, DVec4};

use self::data::{Buffers, Values, file_of, packed};
use self::document::{Document, MeshOf, Node, Primitive};
use self::faults::{broken, shown_name};
use self::looks::Looks;
use super::beside::Beside;
use super::build::Builder;
use super::text::BYTE_ORDER_MARK;
use super::{Facts, Problem, Source, limits};
use crate::Progress;
use crate::unit::Unit;

/// The longest JSON that is read, bytes: buffers may stand in it.
const MOST_JSON: usize = 1 << 30;

/// Extensions that a file may require: those that are read, or that change no base colour.
const KNOWN: [&str; 5] = [
    "KHR_mesh_quantization",
    "KHR_texture_transform",
    "KHR_materials_unlit",
    "KHR_materials_emissive_strength",
    "KHR_materials_ior",
];

/// Whether a file begins as glTF in words does: JSON that speaks of an asset or a scene.
pub(super) fn begins(head: &[u8]) -> bool {
    let head = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(head);
    let head = head.trim_ascii_start();
    head.starts_with(b"{") && {
        let words: [&[u8]; 5] = [
            b"\"asset\"",
            b"\"scene",
            b"\"accessors\"",
            b"\"buffer",
            b"\"nodes\"",
        ];
        words
            .iter()
            .any(|word| memchr::memmem::find(head, word).is_some())
    }
}

/// Reads a glTF file of either kind.
pub(super) fn read(mut source: Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut bytes = Vec::new();
    source.file.read_to_end(&mut bytes)?;
    let (document, chunk) = parsed(&bytes)?;
    check_version(&document)?;
    check_extensions(&document)?;
    let buffers = Buffers::new(chunk.map(<[u8]>::to_vec), &document);
    let mut reader = Reader {
        document: &document,
        buffers,
        looks: builder.looks().is_some().then(Looks::default),
        builder,
        beside: source.beside,
        progress: source.progress,
        left: limits::placed(source.length),
        facts: Facts {
            unit: Some(Unit::Metre),
            ..Facts::default()
        },
        passed_over: 0,
        posed: false,
    };
    reader.scene()?;
    Ok(reader.finish())
}

/// The document of a file of either kind, and the bytes that come with it.
fn parsed(bytes: &[u8]) -> Result<(Document, Option<&[u8]>), Problem> {
    let (json, chunk) = match bytes.starts_with(b"glTF") {
        true => chunks(bytes)?,
        false => (bytes, None),
    };
    if json.len() > MOST_JSON {
        return Err(Problem::Refused("its JSON is longer than 1 GiB".into()));
    }
    let json = json.strip_prefix(BYTE_ORDER_MARK).unwrap_or(json);
    let document: Document =
        serde_json::from_slice(json).map_err(|error| broken(format!("its JSON: {error}")))?;
    Ok((document, chunk))
}

/// Whether a file may be glTF of either kind, by its first bytes.
pub(super) fn may_be(head: &[u8]) -> bool {
    let words = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(head);
    head.starts_with(b"glTF") || words.trim_ascii_start().starts_with(b"{")
}

/// The files beside it that its buffers are in, each once; none if it can't be read.
pub(super) fn buffer_files(bytes: &[u8]) -> Vec<String> {
    let Ok((document, _)) = parsed(bytes) else {
        return Vec::new();
    };
    let mut names: Vec<String> = Vec::new();
    let uris = document.buffers.iter().filter_map(|b| b.uri.as_deref());
    for name in uris.filter_map(file_of) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// The JSON and the bytes of a binary file: section 4.4 of the specification.
fn chunks(bytes: &[u8]) -> Result<(&[u8], Option<&[u8]>), Problem> {
    let number = |at: usize| -> Option<usize> {
        let four = bytes.get(at..at + 4)?.try_into().ok()?;
        Some(u32::from_le_bytes(four) as usize)
    };
    let short = || broken("it ends in the middle; copy or export the file again");
    if number(4) != Some(2) {
        let what = "it is a binary glTF file of another version than 2; export it as 2.0";
        return Err(Problem::Refused(what.into()));
    }
    let chunk = |at: usize| -> Result<(&[u8], &[u8], usize), Problem> {
        let length = number(at).ok_or_else(short)?;
        let kind = bytes.get(at + 4..at + 8).ok_or_else(short)?;
        let end = (at + 8).saturating_add(length);
        let content = bytes.get(at + 8..end).ok_or_else(short)?;
        Ok((kind, content, end.next_multiple_of(4)))
    };
    let (kind, json, mut at) = chunk(12)?;
    if kind != b"JSON" {
        return Err(broken("its first chunk is not JSON"));
    }
    while at < bytes.len() {
        let (kind, content, end) = chunk(at)?;
        if kind == b"BIN\0" {
            return Ok((json, Some(content)));
        }
        at = end;
    }
    Ok((json, None))
}

fn check_version(document: &Document) -> Result<(), Problem> {
    let version = document.asset.min_version.as_deref();
    let version = version.unwrap_or(&document.asset.version);
    match version.split('.').next() {
        Some("2") => Ok(()),
        Some("") | None => Err(broken("it does not say which version of glTF it is")),
        Some(_) => Err(Problem::Refused(format!(
            "it is glTF of version {}; export it as 2.0",
            shown_name(version)
        ))),
    }
}

fn check_extensions(document: &Document) -> Result<(), Problem> {
    for name in &document.extensions_required {
        if name.contains("draco") {
            return Err(packed("Draco"));
        }
        if name.contains("meshopt") {
            return Err(packed("meshopt"));
        }
        // Textures that can't be read leave the shape as it is.
        let harmless = KNOWN.contains(&name.as_str())
            || name.starts_with("KHR_materials_")
            || name.contains("texture");
        if !harmless {
            return Err(Problem::Refused(format!(
                "it needs the extension {}, which is not read; export it without",
                shown_name(name)
            )));
        }
    }
    Ok(())
}

struct Reader<'a> {
    document: &'a Document,
    buffers: Buffers,
    builder: &'a mut Builder,
    looks: Option<Looks>,
    beside: Beside,
    progress: Progress,
    /// Facets and vertices that may still be placed.
    left: u64,
    facts: Facts,
    /// Primitives that are points or lines.
    passed_over: usize,
    /// Whether a skin was passed over.
    posed: bool,
}

impl Reader<'_> {
    fn finish(mut self) -> Facts {
        if self.passed_over > 0 {
            let count = self.passed_over;
            self.facts.notes.push(match count {
                1 => "1 set of points or lines was skipped.".to_owned(),
                _ => format!("{count} sets of points or lines were skipped."),
            });
        }
        if self.posed {
            let what = "Its skeleton was passed over: the part is as it was modelled, not posed.";
            self.facts.notes.push(what.into());
        }
        if let Some(looks) = &mut self.looks {
            self.facts.notes.append(&mut looks.notes);
        }
        self.facts.side_files = self.beside.into_read();
        self.facts
    }

    /// Reads the nodes of the scene that is to be shown.
    fn scene(&mut self) -> Result<(), Problem> {
        let document = self.document;
        let scene = document.scenes.get(document.scene.unwrap_or(0) as usize);
        let roots = match scene {
            Some(scene) => scene.nodes.clone(),
            None => self.roots(),
        };
        let mut met = vec![false; document.nodes.len()];
        let mut to_come: Vec<(u32, DAffine3)> = Vec::new();
        to_come.extend(roots.iter().rev().map(|root| (*root, DAffine3::IDENTITY)));
        while let Some((number, above)) = to_come.pop() {
            let missing = || broken(format!("node {number} is named, but it is not there"));
            let node = document.nodes.get(number as usize).ok_or_else(missing)?;
            // Section 3.5.2: a node has one parent at most.
            let met = met.get_mut(number as usize).ok_or_else(missing)?;
            if std::mem::replace(met, true) {
                return Err(broken(format!(
                    "node {number} is in its tree of nodes twice"
                )));
            }
            self.progress.check()?;
            let here = above * transform(node);
            if let Some(mesh) = node.mesh {
                let missing = || broken(format!("mesh {mesh} is named, but it is not there"));
                let mesh = document.meshes.get(mesh as usize).ok_or_else(missing)?;
                self.posed |= node.skin.is_some();
                self.mesh(node, mesh, here)?;
            }
            to_come.extend(node.children.iter().rev().map(|child| (*child, here)));
        }
        Ok(())
    }

    /// Without a scene, every node that no other has.
    fn roots(&mut self) -> Vec<u32> {
        let nodes = &self.document.nodes;
        let mut is_root = vec![true; nodes.len()];
        for child in nodes.iter().flat_map(|node| &node.children) {
            if let Some(root) = is_root.get_mut(*child as usize) {
                *root = false;
            }
        }
        let numbered = (0..).zip(is_root);
        numbered
            .filter(|(_, root)| *root)
            .map(|(number, _)| number)
            .collect()
    }

    fn mesh(&mut self, node: &Node, mesh: &MeshOf, transform: DAffine3) -> Result<(), Problem> {
        self.facts.objects += 1;
        let name = |name: &Option<Box<str>>| name.as_deref().unwrap_or_default().to_owned();
        self.builder.begin(&name(&node.name), &name(&mesh.name));
        for primitive in &mesh.primitives {
            let keys = primitive.extensions.keys();
            if keys.into_iter().any(|name| name.contains("draco")) {
                return Err(packed("Draco"));
            }
            // The modes of section 5.24.4.
            match primitive.mode.unwrap_or(4) {
                4 => self.primitive(primitive, transform, Shape::Triangles)?,
                5 => self.primitive(primitive, transform, Shape::Strip)?,
                6 => self.primitive(primitive, transform, Shape::Fan)?,
                0..=3 => self.passed_over += 1,
                mode => return Err(broken(format!("a primitive has the unknown mode {mode}"))),
            }
        }
        Ok(())
    }

    fn values(&mut self, accessor: u32) -> Result<Values, Problem> {
        self.buffers
            .values(accessor, self.document, &mut self.beside)
    }

    fn spend(&mut self, count: usize) -> Result<(), Problem> {
        match self.left.checked_sub(count as u64) {
            Some(left) => self.left = left,
            None => {
                let what = "it places its meshes so often that they outgrow the file";
                return Err(Problem::Refused(what.into()));
            }
        }
        Ok(())
    }

    fn primitive(
        &mut self,
        primitive: &Primitive,
        transform: DAffine3,
        shape: Shape,
    ) -> Result<(), Problem> {
        // Without positions there is nothing to draw: section 3.7.2.1.
        let Some(accessor) = primitive.attribute("POSITION") else {
            return Ok(());
        };
        let positions = self.values(accessor)?;
        self.spend(positions.count)?;
        let mut numbers = Vec::with_capacity(positions.count);
        for vertex in 0..positions.count {
            let place = positions.vector::<3>(vertex);
            let [x, y, z] = place.ok_or_else(|| broken("positions do not have three numbers"))?;
            let place = transform.transform_point3(DVec3::new(x.into(), y.into(), z.into()));
            if !place.is_finite() {
                return Err(broken(format!(
                    "vertex {vertex} of a mesh is not at a finite place"
                )));
            }
            // Its y axis points up.
            numbers.push(
                self.builder
                    .vertex(DVec3::new(place.x, -place.z, place.y))?,
            );
        }
        let indices = primitive
            .indices
            .map(|indices| self.values(indices))
            .transpose()?;
        let count = indices
            .as_ref()
            .map_or(positions.count, |indices| indices.count);
        self.spend(count / 3)?;
        let index = |at: usize| match &indices {
            Some(indices) => indices.whole(at).map(|index| index as usize),
            None => Some(at),
        };
        let looks = match &mut self.looks {
            Some(looks) => {
                let mut from = looks::From {
                    document: self.document,
                    buffers: &mut self.buffers,
                    beside: &mut self.beside,
                };
                Some(looks.of_primitive(primitive, &mut from, self.builder)?)
            }
            None => None,
        };
        let mirrored = transform.matrix3.determinant() < 0.0;
        for triangle in 0..shape.triangles(count) {
            let mut corners = [0; 3];
            for (slot, at) in corners.iter_mut().zip(shape.corners(triangle)) {
                *slot = index(at).ok_or_else(|| broken("indices are not whole numbers from 0"))?;
            }
            if mirrored {
                corners.swap(1, 2);
            }
            let mut facet = [0; 3];
            for (slot, vertex) in facet.iter_mut().zip(corners) {
                *slot = *numbers.get(vertex).ok_or_else(|| {
                    broken(format!(
                        "triangle {triangle} of a mesh names vertex {vertex}, but there are {}",
                        numbers.len()
                    ))
                })?;
            }
            self.builder.facet_like(facet, || {
                looks
                    .as_ref()
                    .map(|looks| looks.of(corners))
                    .unwrap_or_default()
            })?;
        }
        Ok(())
    }
}

/// How a list of corners draws triangles: section 3.7.2.1.
#[derive(Clone, Copy)]
enum Shape {
    Triangles,
    Strip,
    Fan,
}

impl Shape {
    fn triangles(self, corners: usize) -> usize {
        match self {
            Self::Triangles => corners / 3,
            Self::Strip | Self::Fan => corners.saturating_sub(2),
        }
    }

    fn corners(self, triangle: usize) -> [usize; 3] {
        match self {
            Self::Triangles => [3 * triangle, 3 * triangle + 1, 3 * triangle + 2],
            Self::Strip => {
                let odd = triangle % 2;
                [triangle, triangle + 1 + odd, triangle + 2 - odd]
            }
            Self::Fan => [triangle + 1, triangle + 2, 0],
        }
    }
}

/// Where a node puts what is in it.
fn transform(node: &Node) -> DAffine3 {
    if let Some(columns) = node.matrix.as_deref() {
        return DAffine3::from_mat4(DMat4::from_cols_array(columns));
    }
    let rotation = node.rotation.as_deref().map_or(DQuat::IDENTITY, |r| {
        let quat = DVec4::from_array(*r).try_normalize();
        quat.map_or(DQuat::IDENTITY, DQuat::from_vec4)
    });
    let scale = node
        .scale
        .as_deref()
        .map_or(DVec3::ONE, |s| DVec3::from_array(*s));
    let moved = node.translation.as_deref();
    DAffine3 {
        matrix3: DMat3::from_quat(rotation) * DMat3::from_diagonal(scale),
        translation: moved.map_or(DVec3::ZERO, |t| DVec3::from_array(*t)),
    }
}
