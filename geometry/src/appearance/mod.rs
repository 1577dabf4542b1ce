//! How a mesh file says that its facets look: materials, values at corners, places on textures.
//!
//! These are numbers as the file has them. What colours they stand for is the business of
//! whoever asks: nothing here decodes a picture or knows a colour.

mod collect;

use std::sync::Arc;

pub(crate) use collect::Collector;

/// How values stand for light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Coding {
    /// Code values of sRGB (IEC 61966-2-1), 0 to 1.
    #[default]
    Coded,
    /// Linear light in the primaries of sRGB, 0 to 1.
    Linear,
}

/// What a texture shows beyond its edges.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Wrap {
    /// Itself, again and again.
    #[default]
    Repeat,
    /// Itself, every other time mirrored.
    Mirror,
    /// The colour at its edge.
    Clamp,
}

/// What one or more facets are made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Material {
    /// Red, green and blue.
    pub colour: [f32; 3],
    /// The number of the texture that the colour is multiplied by.
    pub texture: Option<u32>,
    /// What the texture shows beyond its left and right, and beyond its top and bottom.
    pub wrap: [Wrap; 2],
}

/// A picture that facets show. It is not decoded.
#[derive(Clone, Debug, PartialEq)]
pub struct Texture {
    /// What the file calls it.
    pub name: String,
    /// The bytes of the picture's file.
    pub bytes: Arc<Vec<u8>>,
}

/// How one facet looks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Look {
    /// The number of its material.
    pub material: Option<u32>,
    /// Red, green and blue at its corners, which the material's colour is multiplied by.
    pub colours: Option<[[f32; 3]; 3]>,
    /// Where its corners are on the texture: from the left and from the top, 1 being its size.
    pub places: Option<[[f32; 2]; 3]>,
}

impl Look {
    /// Whether the file says nothing of it.
    pub fn is_none(&self) -> bool {
        self.material.is_none() && self.colours.is_none()
    }

    /// The same for a facet whose second and third corner change places.
    pub(crate) fn mirrored(mut self) -> Self {
        if let Some([_, b, c]) = &mut self.colours {
            std::mem::swap(b, c);
        }
        if let Some([_, b, c]) = &mut self.places {
            std::mem::swap(b, c);
        }
        self
    }
}

/// How the facets of a mesh look, by their numbers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Appearance {
    /// The materials.
    pub materials: Vec<Material>,
    /// The textures.
    pub textures: Vec<Texture>,
    /// How materials' and corners' values stand for light.
    pub coding: Coding,
    /// In which of the two ways values are taken between the corners of a facet, and multiplied.
    pub between: Coding,
    /// Of each facet the number of its material and one, or 0; empty if none has one.
    material: Vec<u32>,
    /// Of each facet its corners' values; not a number where it has none; empty if none has any.
    colours: Vec<[[f32; 3]; 3]>,
    /// Of each facet its corners on the texture; empty if none has any.
    places: Vec<[[f32; 2]; 3]>,
}

impl Appearance {
    /// How a facet looks; one that is not there looks like nothing.
    pub fn look(&self, facet: usize) -> Look {
        let material = self.material.get(facet).copied().unwrap_or(0);
        let colours = self.colours.get(facet).copied();
        Look {
            material: material.checked_sub(1),
            colours: colours.filter(|[[red, ..], ..]| !red.is_nan()),
            places: self.places.get(facet).copied(),
        }
    }

    /// How the facets with these numbers look, which are numbered anew in their order.
    pub(crate) fn of_kept(self, kept: &[usize]) -> Self {
        fn chosen<T: Copy>(all: &[T], kept: &[usize]) -> Vec<T> {
            kept.iter().filter_map(|&k| all.get(k).copied()).collect()
        }
        Self {
            material: chosen(&self.material, kept),
            colours: chosen(&self.colours, kept),
            places: chosen(&self.places, kept),
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn facets_keep_their_looks_when_others_go() {
        let mut all = Collector::default();
        let coloured = |value: f32| Look {
            colours: Some([[value; 3]; 3]),
            ..Look::default()
        };
        all.add(&Look::default());
        all.add(&coloured(0.25));
        let material = Look {
            material: Some(0),
            ..Look::default()
        };
        all.add(&material);
        all.add(&coloured(0.75));
        let all = all.finish(4).expect("looks");
        assert!(all.look(0).is_none() && all.look(9).is_none());
        assert_eq!(all.look(1), coloured(0.25));
        assert_eq!(all.look(2), material);
        let kept = all.of_kept(&[2, 3]);
        assert_eq!((kept.look(0), kept.look(1)), (material, coloured(0.75)));
    }
}
