//! The colours of all of a model's skin.

use blend::Srgb;
use geometry::pieces::{Links, Piece, Pieces};
use geometry::{Cancelled, Progress, Surface};
use rayon::prelude::*;

use crate::Model;
use crate::distinct::Distinct;

/// Places in a piece at which a texture is looked at: along it, and up it.
const PLACES: [(f64, f64); 5] = [
    (0.5, 0.5),
    (0.25, 0.2),
    (0.75, 0.2),
    (0.25, 0.8),
    (0.75, 0.8),
];

/// A sample without a colour.
const NOTHING: u32 = u32::MAX;

/// A model's skin in pieces, each with the colours at one or a few places.
pub struct Sampled {
    surface: Surface,
    pieces: Pieces,
    links: Links,
    /// How many samples each piece has.
    each: usize,
    /// Codes of sRGB, or nothing.
    samples: Vec<u32>,
    /// Each of those colours once.
    distinct: Distinct,
    area_mm2: Vec<f32>,
}

impl Sampled {
    /// Looks at the model in pieces of a size, mm, or larger where there would be too many.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn new(model: &Model, size_mm: f64, progress: &Progress) -> Result<Self, Cancelled> {
        progress.stage("Looking at the model's colours");
        let surface = model.surface().clone();
        let mesh = surface.mesh();
        let pieces = Pieces::new(mesh, size_mm);
        progress.check()?;
        let each = if model.has_textures() {
            PLACES.len()
        } else {
            1
        };
        let of_facet = |facet: usize| -> (Vec<u32>, Vec<f32>) {
            let area = mesh.area_vector(facet).length();
            let plain = model
                .is_plain(facet)
                .then(|| code(model, facet, [1.0, 0.0, 0.0]));
            let sample = |piece: &Piece, place: &(f64, f64)| {
                plain.unwrap_or_else(|| code(model, facet, piece.weights(place.0, place.1)))
            };
            let (mut samples, mut areas) = (Vec::new(), Vec::new());
            for piece in pieces.each_of(mesh, facet) {
                samples.extend(PLACES.iter().take(each).map(|place| sample(&piece, place)));
                areas.push((area * piece.share()) as f32);
            }
            (samples, areas)
        };
        const CHUNK: usize = 1 << 13;
        let facets = mesh.triangles().len();
        let chunk = |start: usize| {
            let (mut samples, mut areas) = (Vec::new(), Vec::new());
            for (more, also) in (start..(start + CHUNK).min(facets)).map(of_facet) {
                samples.extend(more);
                areas.extend(also);
            }
            (samples, areas)
        };
        let starts: Vec<usize> = (0..facets).step_by(CHUNK).collect();
        let chunks: Vec<(Vec<u32>, Vec<f32>)> = starts.into_par_iter().map(chunk).collect();
        progress.check()?;
        let links = Links::new(&pieces, &surface);
        let mut samples = Vec::with_capacity(pieces.count() * each);
        let mut area_mm2 = Vec::with_capacity(pieces.count());
        for (more, areas) in chunks {
            samples.extend(more);
            area_mm2.extend(areas);
        }
        Ok(Self {
            distinct: Distinct::of(samples.iter().map(|code| colour(*code))),
            surface,
            pieces,
            links,
            each,
            samples,
            area_mm2,
        })
    }

    /// The surface.
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The pieces.
    pub fn pieces(&self) -> &Pieces {
        &self.pieces
    }

    /// Each colour of the samples once.
    pub(crate) fn distinct(&self) -> &Distinct {
        &self.distinct
    }

    pub(crate) fn links(&self) -> &Links {
        &self.links
    }

    /// The area of each piece, mm².
    pub(crate) fn area_mm2(&self) -> &[f32] {
        &self.area_mm2
    }

    /// The samples of each piece, some of them none.
    pub(crate) fn of_pieces(
        &self,
    ) -> impl IndexedParallelIterator<Item = impl Iterator<Item = Option<Srgb>>> {
        let chunks = self.samples.par_chunks(self.each);
        chunks.map(|codes| codes.iter().map(|code| colour(*code)))
    }

    /// The samples of each piece one after another, with the area that each stands for, mm².
    pub(crate) fn each(&self) -> impl Iterator<Item = (Option<Srgb>, f64)> + '_ {
        let part = 1.0 / self.each as f64;
        let chunks = self.samples.chunks(self.each).zip(&self.area_mm2);
        chunks.flat_map(move |(codes, area)| {
            let area = f64::from(*area) * part;
            codes.iter().map(move |code| (colour(*code), area))
        })
    }
}

fn code(model: &Model, facet: usize, weights: [f64; 3]) -> u32 {
    packed(model.colour(facet, weights))
}

/// A colour or none in four bytes.
pub(crate) fn packed(colour: Option<Srgb>) -> u32 {
    match colour {
        Some(Srgb([r, g, b])) => u32::from_be_bytes([0, r, g, b]),
        None => NOTHING,
    }
}

/// What [`packed`] was given.
pub(crate) fn colour(code: u32) -> Option<Srgb> {
    let [_, r, g, b] = code.to_be_bytes();
    (code != NOTHING).then_some(Srgb([r, g, b]))
}
