//! Colour groups, base materials and textures of a 3MF model.
//!
//! Source: 3MF Consortium, 3D Manufacturing Format, Core Specification 1.3, chapter 5 (base
//! materials), and Materials and Properties Extension 1.2.1, chapters 3 (colour groups) and 6
//! (texture groups). That colours are taken in linear light between the corners is from memory of
//! the extension. Composites and layers of several properties are not read.

use std::collections::HashMap;

use quick_xml::events::BytesStart;

use super::attributes::{attribute, id, whole};
use super::faults::broken;
use crate::appearance::{Appearance, Coding, Look, Material, Texture, Wrap};
use crate::read::Problem;
use crate::read::text::{number, shown};

/// The property of a triangle or of an object.
#[derive(Clone, Copy, Debug)]
pub(super) struct Property {
    /// The number of the triangle.
    pub(super) triangle: u32,
    /// The group, and which member of it at each corner.
    pub(super) group: Option<u32>,
    pub(super) members: [u32; 3],
}

impl Property {
    /// How a triangle says that it looks, if it does. Where it names no group, it is the object's.
    pub(super) fn of_triangle(
        tag: &BytesStart<'_>,
        triangle: u32,
    ) -> Result<Option<Self>, Problem> {
        let mut found = [None; 4];
        for attribute in tag.attributes().with_checks(false) {
            let attribute = attribute.map_err(|e| broken(format!("its XML: {e}")))?;
            let slot = match attribute.key.as_ref() {
                b"pid" => 0,
                b"p1" => 1,
                b"p2" => 2,
                b"p3" => 3,
                _ => continue,
            };
            if let Some(slot) = found.get_mut(slot) {
                *slot = Some(whole(attribute.value.as_ref())?);
            }
        }
        let [group, first, second, third] = found;
        // Without a first one, it looks as its object: materials extension, 2.1 of core 4.1.4.1.
        Ok(first.map(|first| Self {
            triangle,
            group,
            members: [first, second.unwrap_or(first), third.unwrap_or(first)],
        }))
    }

    /// How an object says that it looks where its triangles say nothing.
    pub(super) fn of_object(tag: &BytesStart<'_>) -> Result<Option<Self>, Problem> {
        let named = |name: &[u8]| -> Result<Option<u32>, Problem> {
            let value = attribute(tag, name)?;
            value.map(|value| whole(value.as_bytes())).transpose()
        };
        let member = named(b"pindex")?.unwrap_or(0);
        Ok(named(b"pid")?.map(|group| Self {
            triangle: 0,
            group: Some(group),
            members: [member; 3],
        }))
    }
}

/// A resource that says how triangles look.
#[derive(Debug)]
pub(super) enum Paint {
    /// Colours, of a colour group or of base materials; not a number where one has none.
    Colours(Vec<[f32; 3]>),
    /// Places on a texture, from the left and from the bottom.
    Places { texture: u32, all: Vec<[f32; 2]> },
    /// A texture: the part of the package that holds it, and what is beyond its edges.
    Picture { path: String, wrap: [Wrap; 2] },
}

impl Paint {
    /// The resource that an element begins, if it is one of these.
    pub(super) fn begun(name: &[u8], tag: &BytesStart<'_>) -> Result<Option<(u32, Self)>, Problem> {
        let paint = match name {
            b"basematerials" | b"colorgroup" => Self::Colours(Vec::new()),
            b"texture2dgroup" => Self::Places {
                texture: id(tag, b"texid")?,
                all: Vec::new(),
            },
            b"texture2d" => picture(tag)?,
            _ => return Ok(None),
        };
        Ok(Some((id(tag, b"id")?, paint)))
    }
}

fn picture(tag: &BytesStart<'_>) -> Result<Paint, Problem> {
    let wrap = |name: &[u8]| -> Result<Wrap, Problem> {
        Ok(match attribute(tag, name)?.as_deref() {
            Some("mirror") => Wrap::Mirror,
            Some("clamp" | "none") => Wrap::Clamp,
            _ => Wrap::Repeat,
        })
    };
    Ok(Paint::Picture {
        path: attribute(tag, b"path")?.unwrap_or_default(),
        wrap: [wrap(b"tilestyleu")?, wrap(b"tilestylev")?],
    })
}

/// The colour that a member of a group gives.
pub(super) fn colour(name: &[u8], tag: &BytesStart<'_>) -> Result<Option<[f32; 3]>, Problem> {
    let text = match name {
        b"color" => attribute(tag, b"color")?,
        b"base" => attribute(tag, b"displaycolor")?,
        _ => return Ok(None),
    };
    let Some(text) = text else {
        return Ok(Some([f32::NAN; 3]));
    };
    let wrong = || {
        broken(format!(
            "{} is no colour; write #RRGGBB",
            shown(text.as_bytes())
        ))
    };
    let digits = text.trim().strip_prefix('#').ok_or_else(wrong)?;
    // Opacity may follow.
    let code = match digits.len() {
        6 | 8 => u32::from_str_radix(digits, 16).map_err(|_| wrong())?,
        _ => return Err(wrong()),
    };
    let code = if digits.len() == 8 { code >> 8 } else { code };
    let [_, r, g, b] = code.to_be_bytes();
    Ok(Some([r, g, b].map(|part| f32::from(part) / 255.0)))
}

/// The place on a texture that a member of a group gives.
pub(super) fn coordinate(name: &[u8], tag: &BytesStart<'_>) -> Result<Option<[f32; 2]>, Problem> {
    if name != b"tex2coord" {
        return Ok(None);
    }
    let value = |name: &[u8]| -> Result<f32, Problem> {
        let text = attribute(tag, name)?.unwrap_or_default();
        let value = number(text.trim().as_bytes());
        let value = value.ok_or_else(|| broken("a place on a texture lacks u or v"))?;
        Ok(value as f32)
    };
    Ok(Some([value(b"u")?, value(b"v")?]))
}

/// The paints of a model, and the materials that an appearance has for their textures.
pub(super) struct Palette<'a> {
    paints: &'a HashMap<u32, Paint>,
    /// The number of the material of each texture's resource.
    materials: HashMap<u32, u32>,
}

impl<'a> Palette<'a> {
    /// Takes the textures of a model into an appearance; `read` gives the bytes of a part of the
    /// package, or says why not.
    pub(super) fn new(
        paints: &'a HashMap<u32, Paint>,
        looks: &mut Appearance,
        notes: &mut Vec<String>,
        mut read: impl FnMut(&str) -> Result<Vec<u8>, Problem>,
    ) -> Self {
        looks.between = Coding::Linear;
        let mut materials = HashMap::new();
        let mut textures: Vec<_> = paints.iter().collect();
        textures.sort_by_key(|(id, _)| **id);
        for (id, paint) in textures {
            let Paint::Picture { path, wrap } = paint else {
                continue;
            };
            match read(path) {
                Ok(bytes) => {
                    materials.insert(*id, looks.materials.len() as u32);
                    looks.materials.push(Material {
                        colour: [1.0; 3],
                        texture: Some(looks.textures.len() as u32),
                        wrap: *wrap,
                    });
                    looks.textures.push(Texture {
                        name: path.clone(),
                        bytes: bytes.into(),
                    });
                }
                Err(why) => notes.push(format!("A texture was not read: the file {why}.")),
            }
        }
        Self { paints, materials }
    }

    /// How a triangle with a property looks; `object` is that of its object.
    pub(super) fn look(&self, own: Option<&Property>, object: Option<&Property>) -> Look {
        let nothing = Look::default();
        let Some(property) = own.or(object) else {
            return nothing;
        };
        let group = property.group.or(object.and_then(|object| object.group));
        match group.and_then(|group| self.paints.get(&group)) {
            Some(Paint::Colours(all)) => Look {
                colours: chosen(all, property.members)
                    .filter(|c| !c.as_flattened().iter().any(|v| v.is_nan())),
                ..nothing
            },
            Some(Paint::Places { texture, all }) => {
                let places = chosen(all, property.members);
                let material = self.materials.get(texture).copied();
                Look {
                    material: material.filter(|_| places.is_some()),
                    // They count from the bottom.
                    places: places.map(|corners| corners.map(|[u, v]| [u, 1.0 - v])),
                    ..nothing
                }
            }
            _ => nothing,
        }
    }
}

fn chosen<T: Copy>(all: &[T], members: [u32; 3]) -> Option<[T; 3]> {
    let [a, b, c] = members.map(|member| all.get(member as usize).copied());
    Some([a?, b?, c?])
}
