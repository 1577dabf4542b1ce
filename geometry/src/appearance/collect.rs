//! Looks as they come out of a file, facet by facet.

use super::{Appearance, Look};

/// No values at a facet's corners.
const NOTHING: [[f32; 3]; 3] = [[f32::NAN; 3]; 3];

/// An appearance in the making. What no facet has takes no memory.
#[derive(Default)]
pub(crate) struct Collector {
    /// What is known so far.
    pub(crate) appearance: Appearance,
    facets: usize,
}

impl Collector {
    /// Takes the look of the next facet.
    pub(crate) fn add(&mut self, look: &Look) {
        let Appearance {
            material,
            colours,
            places,
            ..
        } = &mut self.appearance;
        put(material, self.facets, look.material.map(|m| m + 1), 0);
        put(colours, self.facets, look.colours, NOTHING);
        put(places, self.facets, look.places, [[0.0; 2]; 3]);
        self.facets += 1;
    }

    /// All of it, for so many facets; none if the file says nothing of any.
    pub(crate) fn finish(self, facets: usize) -> Option<Appearance> {
        let mut all = self.appearance;
        if all.material.is_empty() && all.colours.is_empty() {
            return None;
        }
        pad(&mut all.material, facets, 0);
        pad(&mut all.colours, facets, NOTHING);
        pad(&mut all.places, facets, [[0.0; 2]; 3]);
        Some(all)
    }
}

fn put<T: Copy>(all: &mut Vec<T>, facet: usize, value: Option<T>, nothing: T) {
    if let Some(value) = value {
        all.resize(facet, nothing);
        all.push(value);
    }
}

fn pad<T: Copy>(all: &mut Vec<T>, facets: usize, nothing: T) {
    if !all.is_empty() {
        all.resize(facets, nothing);
        all.shrink_to_fit();
    }
}
