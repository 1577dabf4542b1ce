//! Where the inner side of the rind lies: how far beneath each vertex, and which way.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use glam::DVec3;
use rayon::prelude::*;

use super::Skin;
use super::around::Around;
use super::directions::{Domain, Outward};
use crate::Surface;

/// No inner vertex.
const NONE: u32 = u32::MAX;

/// Beneath an inner vertex there must be so many times its depth of room, and around the place
/// at that depth nothing nearer than [`CLEAR`] times it: of a wall between two painted skins each
/// rind then takes less than half.
const ROOM: f64 = 1.2;
const CLEAR: f64 = 0.97;

/// Halvings with which the room beneath a vertex is found.
const HALVINGS: usize = 7;

/// How much the depth may change from place to place, mm for each mm.
const SLOPE: f64 = 0.7;

/// How far directions are smoothed, in depths: at a right-angled edge neighbouring lines inwards
/// then don't meet before that depth.
const SMOOTH: f64 = 1.3;

/// Where skin is bent, the way inwards is longer than the depth, but not longer than this.
const LONGEST: f64 = 2.0;

/// The inner side of a rind.
pub(super) struct Rind {
    /// For each vertex of the skin the number of its inner vertex, if it has one.
    pub place: Vec<u32>,
    /// Inner vertices, mm.
    pub inner_mm: Vec<DVec3>,
    /// The vertex of the skin over each.
    above: Vec<u32>,
    /// Unit vectors outwards.
    outward: Vec<DVec3>,
    /// How far along them inwards.
    depth_mm: Vec<f64>,
    /// The same if there were room everywhere.
    full_mm: Vec<f64>,
    /// Pairs of inner vertices that are neighbours, and how far their vertices are apart.
    links: Vec<Vec<(u32, f64)>>,
}

impl Rind {
    /// Beneath all painted triangles.
    pub(super) fn new(
        skin: &Skin,
        painted: &[bool],
        around: &Around,
        depth_mm: f64,
        surface: &Surface,
    ) -> Self {
        let mut place = vec![NONE; skin.vertices.len()];
        let mut above = Vec::new();
        for (corners, _) in skin.triangles.iter().zip(painted).filter(|(_, p)| **p) {
            for &v in corners {
                if place[v as usize] == NONE {
                    place[v as usize] = above.len() as u32;
                    above.push(v);
                }
            }
        }
        let rough: Vec<Outward> = above
            .par_iter()
            .map(|&v| Outward::of(skin, around, painted, v))
            .collect();
        let room: Vec<f64> = above
            .par_iter()
            .zip(&rough)
            .map(|(&v, outward)| outward.room_mm(skin.at(v), depth_mm, surface))
            .collect();
        let reach = |v: u32| match place[v as usize] {
            NONE => depth_mm * SMOOTH,
            i => room[i as usize].min(depth_mm) * SMOOTH,
        };
        let domain = Domain::new(skin, painted, around, depth_mm * SMOOTH);
        let smooth = domain.smoothed(skin, reach, depth_mm);
        let outward: Vec<Outward> = above
            .par_iter()
            .zip(&rough)
            .map(|(&v, rough)| {
                let wanted = domain.place(v).map_or(rough.unit, |i| smooth[i]);
                rough.turned(skin, around, painted, v, wanted)
            })
            .collect();
        let full_mm: Vec<f64> = outward.iter().map(|o| o.full_mm(depth_mm)).collect();
        let depths = above
            .par_iter()
            .zip(&outward)
            .map(|(&v, outward)| outward.room_mm(skin.at(v), depth_mm, surface));
        let depth_mm: Vec<f64> = depths.collect();
        let mut rind = Self {
            links: links(skin, painted, &place, above.len()),
            place,
            inner_mm: vec![DVec3::ZERO; above.len()],
            outward: outward.into_iter().map(|o| o.unit).collect(),
            above,
            full_mm,
            depth_mm,
        };
        rind.even_out(skin);
        rind
    }

    /// The inner vertex beneath a vertex of the skin.
    pub(super) fn beneath(&self, vertex: u32) -> Option<u32> {
        let place = self.place.get(vertex as usize).copied()?;
        (place != NONE).then_some(place)
    }

    /// Part of the full depth that it has beneath a vertex of the skin.
    pub(super) fn part_of_full(&self, vertex: u32) -> f64 {
        let Some(i) = self.beneath(vertex) else {
            return 0.0;
        };
        self.depth_mm[i as usize] / self.full_mm[i as usize]
    }

    /// Lifts some inner vertices, given by their numbers, and those about them with them.
    pub(super) fn lift(&mut self, skin: &Skin, which: impl Iterator<Item = u32>, factor: f64) {
        for i in which {
            self.depth_mm[i as usize] *= factor;
        }
        self.even_out(skin);
    }

    /// Makes the depth change slowly from place to place, and places the inner vertices.
    fn even_out(&mut self, skin: &Skin) {
        let key = |depth: f64, i: u32| Reverse((ordered(depth), i));
        let count = self.depth_mm.len() as u32;
        let steep = |depth: &[f64], i: u32, links: &[Vec<(u32, f64)>]| {
            let own = depth[i as usize];
            links[i as usize]
                .iter()
                .any(|&(j, apart)| depth[j as usize] > own + SLOPE * apart)
        };
        let mut pending: BinaryHeap<_> = (0..count)
            .filter(|&i| steep(&self.depth_mm, i, &self.links))
            .map(|i| key(self.depth_mm[i as usize], i))
            .collect();
        while let Some(Reverse((depth, i))) = pending.pop() {
            let own = self.depth_mm[i as usize];
            if ordered(own) != depth {
                continue;
            }
            for &(j, apart) in &self.links[i as usize] {
                let most = own + SLOPE * apart;
                if self.depth_mm[j as usize] > most {
                    self.depth_mm[j as usize] = most;
                    pending.push(key(most, j));
                }
            }
        }
        for (i, inner) in self.inner_mm.iter_mut().enumerate() {
            *inner = skin.at(self.above[i]) - self.outward[i] * self.depth_mm[i];
        }
    }
}

/// A depth, never negative, as a whole number in the same order.
fn ordered(depth: f64) -> u64 {
    depth.max(0.0).to_bits()
}

/// The neighbours of each inner vertex.
fn links(skin: &Skin, painted: &[bool], place: &[u32], count: usize) -> Vec<Vec<(u32, f64)>> {
    let mut links = vec![Vec::new(); count];
    for (corners, _) in skin.triangles.iter().zip(painted).filter(|(_, p)| **p) {
        for i in 0..3 {
            let (a, b) = (corners[i], corners[(i + 1) % 3]);
            let apart = skin.at(a).distance(skin.at(b));
            links[place[a as usize] as usize].push((place[b as usize], apart));
            links[place[b as usize] as usize].push((place[a as usize], apart));
        }
    }
    links
}

impl Outward {
    /// How far inwards a rind of a depth reaches here, if there is room.
    fn full_mm(&self, depth_mm: f64) -> f64 {
        depth_mm / self.lean.clamp(1.0 / LONGEST, 1.0)
    }

    /// How far inwards there is room for a rind of a depth.
    fn room_mm(&self, at: DVec3, depth_mm: f64, surface: &Surface) -> f64 {
        let full = self.full_mm(depth_mm);
        let lean = self.lean.clamp(1.0 / LONGEST, 1.0);
        let clear = |inwards: f64| {
            let deep = at - self.unit * (ROOM * inwards);
            surface
                .nearest_within(deep, CLEAR * inwards * lean)
                .is_none()
        };
        if clear(full) {
            return full;
        }
        let (mut has, mut lacks) = (0.0, full);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (has + lacks);
            match clear(middle) {
                true => has = middle,
                false => lacks = middle,
            }
        }
        // Where there is next to none, a hair is left, so that the body is closed.
        has.max(full * 1e-3)
    }
}
