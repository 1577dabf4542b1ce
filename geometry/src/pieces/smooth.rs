//! What is too small to be printed, taken out of a labelling.

use glam::DVec3;
use rayon::prelude::*;

use super::{Links, Pieces};
use crate::surface::Visited;
use crate::{Cancelled, Mesh, Progress};

/// The finest detail that stays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finest {
    /// Its width, mm.
    pub width_mm: f64,
    /// Its height along z, mm.
    pub height_mm: f64,
}

/// A strip as wide as a detail fills half of a window of this radius, in widths: from the area of
/// a disk's middle strip, 2/π (asin a + a √(1 − a²)) = ½ at a = 0.404.
const WINDOW: f64 = 0.5 / 0.404;

/// How often each piece takes the label that has most of its window.
const ROUNDS: usize = 2;

/// A labelling without what is finer than a detail: each piece takes the label that has most of
/// the area about it, twice over; then patches smaller than one detail go to the neighbour with
/// which they share most of their edge. Patches that nothing touches stay.
///
/// # Errors
/// [`Cancelled`] when cancelled.
pub fn smoothed(
    labels: Vec<u8>,
    pieces: &Pieces,
    links: &Links,
    mesh: &Mesh,
    finest: Finest,
    progress: &Progress,
) -> Result<Vec<u8>, Cancelled> {
    let shapes = Shapes::new(pieces, mesh);
    let mut labels = labels;
    for _ in 0..ROUNDS {
        progress.check()?;
        labels = by_majority(&labels, links, &shapes, finest, pieces.size_mm());
    }
    loop {
        progress.check()?;
        if !join_specks(&mut labels, links, &shapes, finest) {
            return Ok(labels);
        }
    }
}

/// Where pieces are and how large.
struct Shapes {
    middles: Vec<[f32; 3]>,
    area_mm2: Vec<f32>,
    /// How much of the facet's normal is upright, 0 for a wall.
    flat: Vec<f32>,
}

impl Shapes {
    fn new(pieces: &Pieces, mesh: &Mesh) -> Self {
        let of_facet = |facet: usize| {
            let corners = mesh.corners(facet);
            let vector = mesh.area_vector(facet);
            let area = vector.length();
            let flat = (vector.z / area.max(f64::MIN_POSITIVE)).abs() as f32;
            pieces.each_of(mesh, facet).map(move |piece| {
                let [a, b, c] = piece.weights(0.5, 0.5);
                let middle = corners[0] * a + corners[1] * b + corners[2] * c;
                (
                    middle.as_vec3().to_array(),
                    (area * piece.share()) as f32,
                    flat,
                )
            })
        };
        let mut shapes = Self {
            middles: Vec::with_capacity(pieces.count()),
            area_mm2: Vec::with_capacity(pieces.count()),
            flat: Vec::with_capacity(pieces.count()),
        };
        for (middle, area, flat) in (0..mesh.triangles().len()).flat_map(of_facet) {
            shapes.middles.push(middle);
            shapes.area_mm2.push(area);
            shapes.flat.push(flat);
        }
        shapes
    }

    fn middle(&self, piece: u32) -> DVec3 {
        DVec3::from_array(self.middles[piece as usize].map(f64::from))
    }
}

/// Pieces from which the edge of their label is no farther than so many steps.
fn near_edges(labels: &[u8], links: &Links, steps: usize) -> Vec<bool> {
    let at_edge = |piece: usize| {
        let around = links.of(piece).iter();
        around
            .map(|&other| labels[other as usize])
            .any(|label| label != labels[piece])
    };
    let mut near: Vec<bool> = (0..labels.len()).into_par_iter().map(at_edge).collect();
    let mut rim: Vec<u32> = (0..near.len() as u32)
        .filter(|&p| near[p as usize])
        .collect();
    for _ in 0..steps {
        let mut next = Vec::new();
        for &piece in &rim {
            for &other in links.of(piece as usize) {
                if !std::mem::replace(&mut near[other as usize], true) {
                    next.push(other);
                }
            }
        }
        rim = next;
    }
    near
}

fn by_majority(
    labels: &[u8],
    links: &Links,
    shapes: &Shapes,
    finest: Finest,
    size_mm: f64,
) -> Vec<u8> {
    let wide_mm = WINDOW * finest.width_mm;
    let high_mm = WINDOW * finest.height_mm;
    let steps = (wide_mm.max(high_mm) / size_mm).ceil() as usize;
    let near = near_edges(labels, links, steps);
    let scale = DVec3::new(1.0 / wide_mm, 1.0 / wide_mm, 1.0 / high_mm);
    // Each worker keeps its lists.
    let scratch = || {
        let seen = Visited::new(labels.len());
        (Vec::<u32>::new(), Vec::<(u8, f32)>::new(), seen)
    };
    (0..labels.len())
        .into_par_iter()
        .map_init(scratch, |(window, votes, seen), piece| {
            if !near[piece] {
                return labels[piece];
            }
            window.clear();
            votes.clear();
            window.push(piece as u32);
            seen.put(piece as u32);
            let middle = shapes.middle(piece as u32);
            let mut at = 0;
            while let Some(&here) = window.get(at) {
                at += 1;
                vote(votes, labels[here as usize], shapes.area_mm2[here as usize]);
                for &other in links.of(here as usize) {
                    let off = (shapes.middle(other) - middle) * scale;
                    if off.length_squared() <= 1.0 && seen.put(other) {
                        window.push(other);
                    }
                }
            }
            window.iter().for_each(|&piece| seen.take(piece));
            winner(votes, labels[piece])
        })
        .collect()
}

fn vote(votes: &mut Vec<(u8, f32)>, label: u8, weight: f32) {
    match votes.iter_mut().find(|(known, _)| *known == label) {
        Some((_, sum)) => *sum += weight,
        None => votes.push((label, weight)),
    }
}

/// The label with the greatest weight; the old one if none has more.
fn winner(votes: &[(u8, f32)], old: u8) -> u8 {
    let own = votes.iter().find(|(label, _)| *label == old);
    let mut best = (old, own.map_or(0.0, |(_, sum)| *sum));
    for &(label, sum) in votes {
        if sum > best.1 * (1.0 + 1e-6) {
            best = (label, sum);
        }
    }
    best.0
}

/// Gives patches smaller than one detail to their neighbours; whether there were any.
fn join_specks(labels: &mut [u8], links: &Links, shapes: &Shapes, finest: Finest) -> bool {
    let mut patch = vec![u32::MAX; labels.len()];
    let mut members: Vec<u32> = Vec::new();
    let mut joined = false;
    for start in 0..labels.len() {
        if patch[start] != u32::MAX {
            continue;
        }
        let label = labels[start];
        let number = start as u32;
        members.clear();
        members.push(start as u32);
        patch[start] = number;
        let (mut at, mut area, mut least) = (0, 0.0, 0.0);
        let mut edges: Vec<(u8, f32)> = Vec::new();
        while let Some(&here) = members.get(at) {
            at += 1;
            let (own, flat) = (shapes.area_mm2[here as usize], shapes.flat[here as usize]);
            area += f64::from(own);
            // On a wall a line is as high as a layer, on a flat face as wide as itself.
            let across_mm =
                finest.height_mm + (finest.width_mm - finest.height_mm).max(0.0) * f64::from(flat);
            least += f64::from(own) * finest.width_mm * across_mm;
            for &other in links.of(here as usize) {
                if labels[other as usize] != label {
                    vote(&mut edges, labels[other as usize], 1.0);
                } else if patch[other as usize] == u32::MAX {
                    patch[other as usize] = number;
                    members.push(other);
                }
            }
        }
        let is_speck = area * area < least;
        if is_speck && !edges.is_empty() {
            let heir = winner(&edges, label);
            for &member in &members {
                labels[member as usize] = heir;
            }
            joined = true;
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::{Surface, solids};

    /// A block's pieces, labelled by a function of the place.
    fn labelled(label: impl Fn(DVec3) -> u8) -> (Vec<u8>, Vec<DVec3>) {
        let block = solids::cuboid(DVec3::new(30.0, 30.0, 30.0)).unwrap();
        let surface = Surface::new(Arc::new(block));
        let mesh = surface.mesh();
        let pieces = Pieces::new(mesh, 0.25);
        let links = Links::new(&pieces, &surface);
        let shapes = Shapes::new(&pieces, mesh);
        let middles: Vec<DVec3> = (0..pieces.count() as u32)
            .map(|p| shapes.middle(p))
            .collect();
        let labels = middles.iter().map(|m| label(*m)).collect();
        let finest = Finest {
            width_mm: 1.0,
            height_mm: 0.5,
        };
        let labels = smoothed(labels, &pieces, &links, mesh, finest, &Progress::new()).unwrap();
        (labels, middles)
    }

    #[test]
    fn what_is_wide_enough_stays_and_what_is_not_goes() {
        let (low, _) = solids::cuboid(DVec3::splat(30.0)).unwrap().bounds();
        let x = move |m: DVec3| m.x - low.x;
        let z = move |m: DVec3| m.z - low.z;
        let strip = move |m: DVec3| (10.0..11.8).contains(&x(m));
        let (labels, middles) = labelled(move |m| u8::from(strip(m)));
        let kept = middles
            .iter()
            .zip(&labels)
            .filter(|(m, l)| u8::from(strip(**m)) == **l);
        assert!(kept.count() as f64 > 0.985 * labels.len() as f64);
        let (labels, _) = labelled(move |m| u8::from((10.0..10.5).contains(&x(m))));
        assert!(labels.iter().all(|l| *l == 0));
        // On the walls, what is lower than a layer goes; a band of three of them stays.
        let (labels, _) = labelled(move |m| u8::from((10.0..10.2).contains(&z(m))));
        assert!(labels.iter().all(|l| *l == 0));
        let (labels, _) = labelled(move |m| u8::from((10.0..11.5).contains(&z(m))));
        assert!(labels.iter().filter(|l| **l == 1).count() > 2000);
    }

    #[test]
    fn noise_leaves_no_specks() {
        let noise = |m: DVec3| {
            let t = (m.dot(DVec3::new(12.9898, 78.233, 37.719)).sin() * 43758.547)
                .fract()
                .abs();
            u8::from(t < 0.3)
        };
        let (labels, _) = labelled(noise);
        let ones = labels.iter().filter(|l| **l == 1).count();
        assert!(
            (ones as f64) < 0.01 * labels.len() as f64,
            "{ones} of {}",
            labels.len()
        );
    }
}
