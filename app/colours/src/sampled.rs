//! The colours of all of a model's skin.

use geometry::pieces::{Links, Piece, Pieces};
use geometry::{Cancelled, Mesh, Progress, Surface};
use rayon::prelude::*;

use crate::Model;
use crate::distinct::{Distinct, packed};

/// Places in a piece at which a texture is looked at, along it and up it: the first one, the first
/// three, or all.
const PLACES: [(f64, f64); 5] = [
    (0.5, 0.5),
    (0.25, 0.2),
    (0.75, 0.8),
    (0.75, 0.2),
    (0.25, 0.8),
];

/// At how many places of each piece, so that in a square as wide as the pieces' size there are
/// five or more: a finely meshed skin has smaller pieces, and needs fewer in each.
fn places(mesh: &Mesh, pieces: &Pieces) -> usize {
    let of_facet = |facet: usize| {
        let area = mesh.area_vector(facet).length();
        (area, area * area / pieces.of_facet(facet).len() as f64)
    };
    let sums = (0..mesh.triangles().len()).map(of_facet);
    let (area, squares) = sums.fold((0.0, 0.0), |(a, b), (c, d)| (a + c, b + d));
    // Of the piece in which a place of the skin is as a rule, in squares.
    let mean = squares / area / (pieces.size_mm() * pieces.size_mm());
    match PLACES.len() as f64 * mean {
        few if few <= 1.0 => 1,
        few if few <= 3.0 => 3,
        _ => PLACES.len(),
    }
}

/// A model's skin in pieces, each with the colours at one or a few places.
pub struct Sampled {
    surface: Surface,
    pieces: Pieces,
    links: Links,
    /// How many samples each piece has.
    each: usize,
    /// Places in the list of different colours, or nothing.
    samples: Vec<u32>,
    /// Each colour once.
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
        let each = match model.has_textures() {
            true => places(mesh, &pieces),
            false => 1,
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
        let (chunks, links) = rayon::join(
            || starts.into_par_iter().map(chunk).collect::<Vec<_>>(),
            || Links::new(&pieces, &surface),
        );
        progress.check()?;
        let mut samples = Vec::with_capacity(pieces.count() * each);
        let mut area_mm2 = Vec::with_capacity(pieces.count());
        for (more, areas) in chunks {
            samples.extend(more);
            area_mm2.extend(areas);
        }
        let (distinct, samples) = Distinct::of(samples);
        Ok(Self {
            distinct,
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

    /// The samples of a piece: places in the list of different colours, beyond its end where
    /// there is none.
    pub(crate) fn of_piece(&self, piece: usize) -> &[u32] {
        let first = piece * self.each;
        self.samples.get(first..first + self.each).unwrap_or(&[])
    }

    /// The samples of each piece one after another, with the area that each stands for, mm².
    pub(crate) fn each(&self) -> impl Iterator<Item = (u32, f64)> + '_ {
        let part = 1.0 / self.each as f64;
        let chunks = self.samples.chunks(self.each).zip(&self.area_mm2);
        chunks.flat_map(move |(places, area)| {
            let area = f64::from(*area) * part;
            places.iter().map(move |place| (*place, area))
        })
    }
}

fn code(model: &Model, facet: usize, weights: [f64; 3]) -> u32 {
    packed(model.colour(facet, weights))
}
