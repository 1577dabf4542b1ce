//! How the triangles of a glTF file look.

use std::collections::HashMap;
use std::sync::Arc;

use super::data::{Buffers, Values, resource};
use super::document::{Document, Primitive, TextureInfo};
use super::faults::{broken, shown_name};
use crate::appearance::{Coding, Look, Material, Texture, Wrap};
use crate::read::Problem;
use crate::read::beside::Beside;
use crate::read::build::Builder;

/// What looks are read from.
pub(super) struct From<'a> {
    pub(super) document: &'a Document,
    pub(super) buffers: &'a mut Buffers,
    pub(super) beside: &'a mut Beside,
}

/// Materials and textures that are known already.
#[derive(Default)]
pub(super) struct Looks {
    /// By the document's numbers, the appearance's.
    materials: HashMap<u32, u32>,
    textures: HashMap<u32, Option<u32>>,
    pub(super) notes: Vec<String>,
}

/// How the triangles of one primitive look, by the numbers of their vertices.
pub(super) struct OfPrimitive {
    material: Option<u32>,
    colours: Option<Values>,
    places: Option<Vec<[f32; 2]>>,
}

impl OfPrimitive {
    /// How the triangle of three vertices looks.
    pub(super) fn of(&self, corners: [usize; 3]) -> Look {
        let colour = |vertex: usize| self.colours.as_ref().and_then(|c| c.vector::<3>(vertex));
        let place = |vertex: usize| self.places.as_ref().and_then(|p| p.get(vertex)).copied();
        let [a, b, c] = corners;
        let all = |at: &dyn Fn(usize) -> Option<[f32; 3]>| Some([at(a)?, at(b)?, at(c)?]);
        let places = || Some([place(a)?, place(b)?, place(c)?]);
        Look {
            material: self.material,
            colours: all(&colour),
            places: places(),
        }
    }
}

impl Looks {
    /// Reads what decides how a primitive's triangles look.
    pub(super) fn of_primitive(
        &mut self,
        primitive: &Primitive,
        from: &mut From<'_>,
        builder: &mut Builder,
    ) -> Result<OfPrimitive, Problem> {
        let colours = primitive.attribute("COLOR_0");
        let colours = colours
            .map(|number| from.buffers.values(number, from.document, from.beside))
            .transpose()?;
        if let Some(looks) = builder.looks() {
            (looks.coding, looks.between) = (Coding::Linear, Coding::Linear);
        }
        let Some(number) = primitive.material else {
            return Ok(OfPrimitive {
                material: None,
                colours,
                places: None,
            });
        };
        let missing = || broken(format!("material {number} is named, but it is not there"));
        let material = from
            .document
            .materials
            .get(number as usize)
            .ok_or_else(missing)?;
        let pbr = material.pbr_metallic_roughness.as_deref();
        let info = pbr.and_then(|pbr| pbr.base_color_texture.as_ref());
        let places = info.map(|info| places(primitive, info, from)).transpose()?;
        let places = places.flatten();
        let known = self.materials.get(&number).copied();
        let material = match known {
            Some(known) => known,
            None => {
                let factor = pbr.and_then(|pbr| pbr.base_color_factor);
                let [r, g, b, _] = factor.unwrap_or([1.0; 4]);
                let (texture, wrap) = match info {
                    Some(info) => self.texture(info, from, builder),
                    None => (None, [Wrap::Repeat; 2]),
                };
                let made = Material {
                    colour: [r, g, b].map(|part| part.clamp(0.0, 1.0)),
                    texture,
                    wrap,
                };
                let kept = builder.looks().map_or(0, |looks| {
                    looks.materials.push(made);
                    looks.materials.len() as u32 - 1
                });
                self.materials.insert(number, kept);
                kept
            }
        };
        Ok(OfPrimitive {
            material: Some(material),
            colours,
            places,
        })
    }

    /// The number of a texture, and what is beyond its edges. One that can't be read is told.
    fn texture(
        &mut self,
        info: &TextureInfo,
        from: &mut From<'_>,
        builder: &mut Builder,
    ) -> (Option<u32>, [Wrap; 2]) {
        let texture = from.document.textures.get(info.index as usize);
        let sampler = texture.and_then(|texture| texture.sampler);
        let sampler = sampler.and_then(|number| from.document.samplers.get(number as usize));
        let wrap = sampler.map_or([Wrap::Repeat; 2], |s| [wrap(s.wrap_s), wrap(s.wrap_t)]);
        let Some(image) = texture.and_then(|texture| texture.source) else {
            self.notes
                .push("A texture names no picture that is read.".into());
            return (None, wrap);
        };
        if let Some(known) = self.textures.get(&image) {
            return (*known, wrap);
        }
        let number = match picture(image, from) {
            Ok(texture) => builder.looks().map(|looks| {
                looks.textures.push(texture);
                looks.textures.len() as u32 - 1
            }),
            Err(why) => {
                self.notes.push(format!("A texture was not read: {why}."));
                None
            }
        };
        self.textures.insert(image, number);
        (number, wrap)
    }
}

/// Section 5.26 of the specification.
fn wrap(number: Option<u32>) -> Wrap {
    match number {
        Some(33071) => Wrap::Clamp,
        Some(33648) => Wrap::Mirror,
        _ => Wrap::Repeat,
    }
}

/// The bytes of an image, or why there are none.
fn picture(number: u32, from: &mut From<'_>) -> Result<Texture, String> {
    let image = from.document.images.get(number as usize);
    let image = image.ok_or_else(|| format!("picture {number} is not there"))?;
    let name = image.name.as_deref().or(image.uri.as_deref());
    let name = name
        .filter(|name| !name.starts_with("data:"))
        .unwrap_or_default();
    let bytes = match (&image.uri, image.buffer_view) {
        (Some(uri), _) => {
            resource(uri, from.beside).map_err(|why| format!("{} {why}", shown_name(uri)))?
        }
        (None, Some(view)) => {
            let view = from.buffers.view(view, from.document, from.beside);
            Arc::new(
                view.map_err(|error| format!("it {error}"))?
                    .bytes()
                    .to_vec(),
            )
        }
        (None, None) => return Err(format!("picture {number} has no content")),
    };
    Ok(Texture {
        name: name.to_owned(),
        bytes,
    })
}

/// The places of a primitive's vertices on a texture.
fn places(
    primitive: &Primitive,
    info: &TextureInfo,
    from: &mut From<'_>,
) -> Result<Option<Vec<[f32; 2]>>, Problem> {
    let transform = info.extensions.transform.as_ref();
    let set = transform
        .and_then(|t| t.tex_coord)
        .unwrap_or(info.tex_coord);
    let Some(number) = primitive.attribute(&format!("TEXCOORD_{set}")) else {
        return Ok(None);
    };
    let values = from.buffers.values(number, from.document, from.beside)?;
    let place = |vertex: usize| {
        let place = values.vector::<2>(vertex).unwrap_or_default();
        transform.map_or(place, |transform| transform.apply(place))
    };
    Ok(Some((0..values.count).map(place).collect()))
}
