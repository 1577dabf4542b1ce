//! A mesh with its colours.

use blend::Srgb;
use geometry::Surface;
use geometry::appearance::{Appearance, Coding, Look};
use rayon::prelude::*;

use crate::texture::Decoded;

/// A mesh with its colours, its textures decoded.
pub struct Model {
    surface: Surface,
    appearance: Appearance,
    textures: Vec<Option<Decoded>>,
    /// What of it can't be shown, a sentence each.
    notes: Vec<String>,
    /// Linear light of each code value.
    linear: Vec<f32>,
}

impl Model {
    /// Decodes the textures of a mesh's appearance. The surface is of that mesh, or of one whose
    /// vertices were moved.
    pub fn new(surface: Surface, appearance: Appearance) -> Self {
        let decoded: Vec<_> = appearance.textures.par_iter().map(Decoded::new).collect();
        let mut notes = Vec::new();
        let textures = decoded
            .into_iter()
            .zip(&appearance.textures)
            .map(|(decoded, texture)| match decoded {
                Ok(decoded) => Some(decoded),
                Err(why) => {
                    let name: String = texture.name.chars().take(80).collect();
                    let name = name.escape_debug();
                    notes.push(format!(
                        "The texture '{name}' {why}. Where it belongs, the part counts as white."
                    ));
                    None
                }
            })
            .collect();
        Self {
            surface,
            appearance,
            textures,
            notes,
            linear: (0..=255)
                .map(|code| Srgb::linear(f64::from(code) / 255.0) as f32)
                .collect(),
        }
    }

    /// The surface.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// What of it can't be shown, a sentence each.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Whether any facet shows a texture.
    pub fn has_textures(&self) -> bool {
        !self.textures.is_empty()
    }

    /// Whether a facet is all of one colour or none.
    pub(crate) fn is_plain(&self, facet: usize) -> bool {
        let look = self.appearance.look(facet);
        let even = look.colours.is_none_or(|[a, b, c]| a == b && b == c);
        even && (look.places.is_none() || self.texture_of(&look).is_none())
    }

    fn texture_of(&self, look: &Look) -> Option<&Decoded> {
        let material = self.appearance.materials.get(look.material? as usize)?;
        self.textures.get(material.texture? as usize)?.as_ref()
    }

    /// The colour of a facet where its corners have some weights; none if the file gives it none.
    /// Of a texture it is the pixel that has the place.
    pub fn colour(&self, facet: usize, weights: [f64; 3]) -> Option<Srgb> {
        let look = self.appearance.look(facet);
        if look.is_none() {
            return None;
        }
        let Appearance {
            coding, between, ..
        } = self.appearance;
        let material = look
            .material
            .and_then(|m| self.appearance.materials.get(m as usize));
        let texel = match (self.texture_of(&look), look.places, material) {
            (Some(texture), Some(places), Some(material)) => {
                Some(texture.at(mixed(places, weights), material.wrap))
            }
            _ => None,
        };
        let factor = material.map_or([1.0; 3], |material| material.colour);
        if let (Some(texel), [1.0, 1.0, 1.0], None) = (texel, factor, look.colours) {
            return Some(Srgb(texel));
        }
        let taken = |value: f32| taken(f64::from(value), coding, between);
        let mut light = factor.map(taken);
        if let Some(corners) = look.colours {
            let corners = corners.map(|corner| corner.map(|value| taken(value) as f32));
            let values = mixed(corners, weights);
            for (light, value) in light.iter_mut().zip(values) {
                *light *= value;
            }
        }
        if let Some(texel) = texel {
            for (light, code) in light.iter_mut().zip(texel) {
                *light *= match between {
                    Coding::Linear => {
                        f64::from(self.linear.get(code as usize).copied().unwrap_or(0.0))
                    }
                    Coding::Coded => f64::from(code) / 255.0,
                };
            }
        }
        Some(Srgb(light.map(|value| {
            let code = match between {
                Coding::Linear => Srgb::code(value.clamp(0.0, 1.0)),
                Coding::Coded => value.clamp(0.0, 1.0),
            };
            (code * 255.0).round() as u8
        })))
    }
}

/// A value in the way in which values are mixed.
fn taken(value: f64, coding: Coding, between: Coding) -> f64 {
    match (coding, between) {
        (Coding::Coded, Coding::Linear) => Srgb::linear(value),
        (Coding::Linear, Coding::Coded) => Srgb::code(value),
        _ => value,
    }
}

/// The mean of three corners' values by weight.
fn mixed<const N: usize>(corners: [[f32; N]; 3], weights: [f64; 3]) -> [f64; N] {
    let mut sum = [0.0; N];
    for (corner, weight) in corners.iter().zip(weights) {
        for (sum, value) in sum.iter_mut().zip(corner) {
            *sum += f64::from(*value) * weight;
        }
    }
    sum
}
