//! What is too small to be printed, taken out of a labelling.

use glam::Vec3;
use rayon::prelude::*;

use super::clusters::{Clusters, Shapes};
use super::{Links, NO_LABEL, Pieces};
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

/// Labellings of the same pieces without what is finer than a detail: each piece takes the label
/// that has most of the area about it, twice over; then patches smaller than one detail go to the
/// neighbour with which they share most of their edge. Patches that nothing touches stay.
///
/// Each labelling comes out as it would alone; together they take less time.
///
/// # Errors
/// [`Cancelled`] when cancelled.
pub fn smoothed(
    labellings: Vec<Vec<u8>>,
    pieces: &Pieces,
    links: &Links,
    mesh: &Mesh,
    finest: Finest,
    progress: &Progress,
) -> Result<Vec<Vec<u8>>, Cancelled> {
    let clusters = Clusters::new(pieces, links, mesh);
    progress.check()?;
    let labellings = labellings.into_par_iter();
    let together: Vec<Vec<u8>> = labellings
        .map(|labels| gathered(&labels, &clusters))
        .collect();
    let Clusters {
        of_piece,
        shapes,
        links,
    } = clusters;
    let mut done = Vec::with_capacity(together.len());
    for some in together.chunks(TOGETHER) {
        let mut woven = Woven::of(some);
        for _ in 0..ROUNDS {
            progress.check()?;
            woven = by_majority(&woven, &links, &shapes, finest, pieces.size_mm());
        }
        done.extend((0..some.len()).map(|which| woven.labelling(which)));
    }
    let without_specks = |mut labels: Vec<u8>| {
        loop {
            progress.check()?;
            if !join_specks(&mut labels, &links, &shapes, finest) {
                return Ok(of_piece.iter().map(|c| labels[*c as usize]).collect());
            }
        }
    };
    done.into_par_iter().map(without_specks).collect()
}

/// For each cluster, the label that more than half of its pieces have; one of theirs where none has.
fn gathered(labels: &[u8], clusters: &Clusters) -> Vec<u8> {
    // A count for the label that leads, lowered by each other one: Boyer and Moore's majority.
    let mut votes: Vec<(u8, u32)> = vec![(NO_LABEL, 0); clusters.count()];
    for (label, cluster) in labels.iter().zip(&clusters.of_piece) {
        let vote = &mut votes[*cluster as usize];
        match vote {
            (leading, count) if *count == 0 => (*leading, *count) = (*label, 1),
            (leading, count) if leading == label => *count += 1,
            (_, count) => *count -= 1,
        }
    }
    votes.into_iter().map(|(label, _)| label).collect()
}

/// The most labellings that are looked at together: a bit of a word for each.
const TOGETHER: usize = 64;

/// Several labellings, the labels of each piece side by side.
struct Woven {
    count: usize,
    labels: Vec<u8>,
}

impl Woven {
    fn of(labellings: &[Vec<u8>]) -> Self {
        let pieces = labellings.first().map_or(0, Vec::len);
        let of_piece = |piece: usize| labellings.iter().map(move |labels| labels[piece]);
        Self {
            count: labellings.len(),
            labels: (0..pieces).flat_map(of_piece).collect(),
        }
    }

    fn labelling(&self, which: usize) -> Vec<u8> {
        let of_which = self.labels.iter().skip(which);
        of_which.step_by(self.count).copied().collect()
    }

    /// How many pieces there are.
    fn pieces(&self) -> usize {
        self.labels.len().checked_div(self.count).unwrap_or(0)
    }

    fn of_piece(&self, piece: usize) -> &[u8] {
        &self.labels[piece * self.count..][..self.count]
    }

    /// In which labellings two pieces differ, a bit for each.
    fn differ(&self, piece: usize, other: usize) -> u64 {
        let pairs = self.of_piece(piece).iter().zip(self.of_piece(other));
        let bits = pairs.enumerate().map(|(i, (a, b))| u64::from(a != b) << i);
        bits.fold(0, |all, bit| all | bit)
    }
}

/// For each piece, in which labellings the edge of its label is no farther than so many steps.
fn near_edges(woven: &Woven, links: &Links, steps: usize) -> Vec<u64> {
    let at_edge = |piece: usize| {
        let around = links.of(piece).iter();
        around.fold(0, |all, &other| all | woven.differ(piece, other as usize))
    };
    let pieces = woven.pieces();
    let mut near: Vec<u64> = (0..pieces).into_par_iter().map(at_edge).collect();
    for _ in 0..steps {
        let spread = |piece: usize| {
            let around = links.of(piece).iter();
            around.fold(near[piece], |all, &other| all | near[other as usize])
        };
        near = (0..pieces).into_par_iter().map(spread).collect();
    }
    near
}

/// Pieces that one worker does before it looks for more.
const CHUNK: usize = 1 << 10;

fn by_majority(
    woven: &Woven,
    links: &Links,
    shapes: &Shapes,
    finest: Finest,
    size_mm: f64,
) -> Woven {
    let wide_mm = WINDOW * finest.width_mm;
    let high_mm = WINDOW * finest.height_mm;
    let steps = (wide_mm.max(high_mm) / size_mm).ceil() as usize;
    let near = near_edges(woven, links, steps);
    // Middles in windows: so a window is a ball of radius 1.
    let scale = Vec3::new(wide_mm as f32, wide_mm as f32, high_mm as f32).recip();
    let middles = shapes.middles.par_iter();
    let middles: Vec<Vec3> = middles.map(|middle| *middle * scale).collect();
    let (count, pieces) = (woven.count, woven.pieces());
    let mut labels = woven.labels.clone();
    // Each worker keeps its lists.
    let scratch = || (Window::default(), Visited::new(pieces), Sums::new());
    let chunks = labels.par_chunks_mut(CHUNK * count.max(1)).enumerate();
    chunks.for_each_init(scratch, |(window, seen, sums), (chunk, labels)| {
        for (within, own) in labels.chunks_mut(count).enumerate() {
            let piece = chunk * CHUNK + within;
            // Far from an edge a labelling stays as it is.
            if near[piece] == 0 {
                continue;
            }
            window.fill(piece, links, &middles, seen);
            for which in (0..count).filter(|which| near[piece] >> which & 1 == 1) {
                // Most of a window has one label, so areas are added up before they are put down.
                let mut run = (own[which], 0.0);
                for &here in &window.pieces {
                    let here = here as usize;
                    let (label, area) = (woven.labels[here * count + which], shapes.area_mm2[here]);
                    if label != run.0 {
                        sums.add(run.0, run.1);
                        run = (label, 0.0);
                    }
                    run.1 += area;
                }
                sums.add(run.0, run.1);
                own[which] = sums.winner(own[which]);
            }
        }
    });
    Woven { count, labels }
}

/// The pieces about one that are linked to it and no farther than 1 from it.
#[derive(Default)]
struct Window {
    pieces: Vec<u32>,
}

impl Window {
    fn fill(&mut self, piece: usize, links: &Links, middles: &[Vec3], seen: &mut Visited) {
        self.pieces.clear();
        self.pieces.push(piece as u32);
        seen.put(piece as u32);
        let mut at = 0;
        while let Some(&here) = self.pieces.get(at) {
            at += 1;
            for &other in links.of(here as usize) {
                let off = middles[other as usize].distance_squared(middles[piece]);
                if off <= 1.0 && seen.put(other) {
                    self.pieces.push(other);
                }
            }
        }
        self.pieces.iter().for_each(|&piece| seen.take(piece));
    }
}

/// Sums for each label, and a bit for each label that has one.
struct Sums {
    sums: [f32; 256],
    has: [u64; 4],
}

impl Sums {
    fn new() -> Self {
        Self {
            sums: [0.0; 256],
            has: [0; 4],
        }
    }

    fn add(&mut self, label: u8, weight: f32) {
        self.sums[usize::from(label)] += weight;
        self.has[usize::from(label / 64)] |= 1 << (label % 64);
    }

    /// The label with the greatest sum; the old one if none has more. All sums are 0 then.
    fn winner(&mut self, old: u8) -> u8 {
        let mut best = (old, self.sums[usize::from(old)]);
        for (word, bits) in self.has.iter_mut().enumerate() {
            while *bits != 0 {
                let label = 64 * word + bits.trailing_zeros() as usize;
                *bits &= *bits - 1;
                let sum = std::mem::replace(&mut self.sums[label], 0.0);
                if sum > best.1 * (1.0 + 1e-6) {
                    best = (label as u8, sum);
                }
            }
        }
        best.0
    }
}

/// Gives patches smaller than one detail to their neighbours; whether there were any.
fn join_specks(labels: &mut [u8], links: &Links, shapes: &Shapes, finest: Finest) -> bool {
    let mut patch = vec![u32::MAX; labels.len()];
    let mut members: Vec<u32> = Vec::new();
    let mut edges = Sums::new();
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
                    edges.add(labels[other as usize], 1.0);
                } else if patch[other as usize] == u32::MAX {
                    patch[other as usize] = number;
                    members.push(other);
                }
            }
        }
        let is_speck = area * area < least;
        let heir = edges.winner(label);
        if is_speck && heir != label {
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

    use glam::DVec3;

    use super::*;
    use crate::{Surface, solids};

    /// A block's pieces, labelled by a function of the place.
    fn labelled(label: impl Fn(DVec3) -> u8) -> (Vec<u8>, Vec<DVec3>) {
        let block = solids::cuboid(DVec3::new(30.0, 30.0, 30.0)).unwrap();
        let surface = Surface::new(Arc::new(block));
        let mesh = surface.mesh();
        let pieces = Pieces::new(mesh, 0.25);
        let links = Links::new(&pieces, &surface);
        let shapes = Shapes::of_pieces(&pieces, mesh);
        let middles: Vec<DVec3> = shapes.middles.iter().map(|m| m.as_dvec3()).collect();
        let labels = middles.iter().map(|m| label(*m)).collect();
        let finest = Finest {
            width_mm: 1.0,
            height_mm: 0.5,
        };
        let labels = vec![labels];
        let labels = smoothed(labels, &pieces, &links, mesh, finest, &Progress::new()).unwrap();
        (labels.into_iter().next().unwrap(), middles)
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
