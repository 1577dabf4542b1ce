//! The rind laid so that nothing crosses: where it would, it is made less deep.

use glam::DVec3;
use rustc_hash::{FxHashMap, FxHashSet};

use super::around::Around;
use super::partition::{GivenUp, Shallow};
use super::rind::Rind;
use super::wall::{wall, wall_across};
use super::{CutError, Skin};
use crate::inspect::crossing_pairs;
use crate::surface::Adjacency;
use crate::{Mesh, Progress, Surface};

/// Rounds after which what still crosses is left to the core, and after which it is refused.
const PATIENCE: usize = 24;
const ROUNDS: usize = 48;

/// What a depth is multiplied by where the rind crosses something.
const LIFT: f64 = 0.7;

/// The most of the painted skin that may be left to the core.
const MOST_GIVEN_UP: f64 = 0.01;

/// A tetrahedron inside out by less than a sixth of this, mm³, is one of rounding.
const FOLD_MM3: f64 = 1e-9;

/// A box that touches more cells than this is near to everything.
const MOST_CELLS: i64 = 4096;

/// A rind that crosses nothing.
pub(super) struct Settled {
    /// Which triangles it lies beneath.
    pub painted: Vec<bool>,
    pub rind: Rind,
    pub given_up: Vec<GivenUp>,
    pub shallow: Vec<Shallow>,
}

/// Lays the rind beneath painted triangles.
pub(super) fn settle(
    skin: &Skin,
    mut painted: Vec<bool>,
    depth_mm: f64,
    adjacency: &Adjacency,
    surface: &Surface,
    progress: &Progress,
) -> Result<Settled, CutError> {
    let around = Around::new(skin.vertices.len(), &skin.triangles);
    let mut rind = Rind::new(skin, &painted, &around, depth_mm, surface);
    let area = |t: usize| {
        let [a, b, c] = skin.corners(t);
        0.5 * (b - a).cross(c - a).length()
    };
    let all: f64 = (0..painted.len()).filter(|&t| painted[t]).map(area).sum();
    let mut lost = FxHashMap::<u32, GivenUp>::default();
    let mut round = 0;
    loop {
        progress.check()?;
        let trial = Trial::new(skin, &painted, &rind, adjacency);
        let Some(bad) = trial.and_then(|t| t.bad(&rind)) else {
            break;
        };
        round += 1;
        if round > PATIENCE {
            for &t in &bad.triangles {
                if !painted[t as usize] {
                    continue;
                }
                painted[t as usize] = false;
                let label = skin.label[t as usize];
                let at_mm = skin.corners(t as usize)[0];
                let lost = lost.entry(label).or_insert(GivenUp {
                    label,
                    area_mm2: 0.0,
                    at_mm,
                });
                lost.area_mm2 += area(t as usize);
            }
        }
        let gone: f64 = lost.values().map(|l| l.area_mm2).sum();
        if round > ROUNDS || gone > MOST_GIVEN_UP * all {
            let worst = bad.triangles.iter().min().copied().unwrap_or(0) as usize;
            return Err(CutError::Crowded {
                label: skin.label[worst],
                at_mm: skin.corners(worst)[0],
            });
        }
        rind.lift(skin, bad.vertices.iter().copied(), LIFT);
    }
    let mut given_up: Vec<GivenUp> = lost.into_values().collect();
    given_up.sort_by_key(|g| g.label);
    let shallow = shallow(skin, &painted, &rind, area);
    Ok(Settled {
        painted,
        rind,
        given_up,
        shallow,
    })
}

/// How much of each label's rind is less than half as deep as was asked for.
fn shallow(
    skin: &Skin,
    painted: &[bool],
    rind: &Rind,
    area: impl Fn(usize) -> f64,
) -> Vec<Shallow> {
    let mut found = std::collections::BTreeMap::<u32, Shallow>::new();
    for t in (0..painted.len()).filter(|&t| painted[t]) {
        let label = skin.label[t];
        let entry = found.entry(label).or_insert(Shallow {
            label,
            area_mm2: 0.0,
            of_mm2: 0.0,
        });
        let parts = skin.triangles[t].map(|v| rind.part_of_full(v));
        let area = area(t);
        entry.of_mm2 += area;
        if parts.iter().sum::<f64>() < 1.5 {
            entry.area_mm2 += area;
        }
    }
    found.into_values().collect()
}

/// What crosses: numbers of inner vertices, and of painted triangles.
struct Bad {
    vertices: FxHashSet<u32>,
    triangles: FxHashSet<u32>,
}

/// The rind and what lies near it, to be looked at for crossings.
struct Trial {
    mesh: Mesh,
    /// For each triangle the painted one that it belongs to; none for skin.
    of: Vec<Option<u32>>,
    /// Triangles over a prism that is folded.
    turned: Vec<u32>,
    /// For each triangle of the skin its corners.
    corners: FxHashMap<u32, [u32; 3]>,
}

impl Trial {
    /// None if nothing is painted.
    fn new(skin: &Skin, painted: &[bool], rind: &Rind, adjacency: &Adjacency) -> Option<Self> {
        let first_inner = skin.vertices.len() as u32;
        let beneath = |v: u32| first_inner + rind.place[v as usize];
        let (mut triangles, mut of, mut turned) = (Vec::new(), Vec::new(), Vec::new());
        let mut corners_of = FxHashMap::default();
        let at = |v: u32| match v.checked_sub(first_inner) {
            Some(inner) => rind.inner_mm[inner as usize],
            None => skin.at(v),
        };
        for (t, &corners) in skin
            .triangles
            .iter()
            .enumerate()
            .filter(|(t, _)| painted[*t])
        {
            let inner = corners.map(beneath);
            triangles.push(inner);
            of.push(Some(t as u32));
            corners_of.insert(t as u32, corners);
            if is_folded(corners, inner, at) {
                turned.push(t as u32);
            }
            for side in 0..3 {
                if wall_across(skin, painted, adjacency, t, side).is_some() {
                    let (a, b) = (corners[side], corners[(side + 1) % 3]);
                    triangles.extend(wall([a, b], [beneath(a), beneath(b)]));
                    of.extend([Some(t as u32); 2]);
                }
            }
        }
        if triangles.is_empty() {
            return None;
        }
        let cells = Cells::of(&triangles, at);
        for (t, &corners) in skin.triangles.iter().enumerate() {
            if painted[t] || cells.has(corners.map(at)) {
                triangles.push(corners);
                of.push(None);
            }
        }
        let vertices = skin.vertices.iter().chain(&rind.inner_mm).copied();
        let mesh = Mesh::new(vertices.collect(), triangles).ok()?;
        Some(Self {
            mesh,
            of,
            turned,
            corners: corners_of,
        })
    }

    /// What crosses; none if nothing does.
    fn bad(&self, rind: &Rind) -> Option<Bad> {
        let fresh: Vec<bool> = self.of.iter().map(Option::is_some).collect();
        let pairs = crossing_pairs(&self.mesh, &fresh);
        let mut bad = Bad {
            vertices: FxHashSet::default(),
            triangles: self.turned.iter().copied().collect(),
        };
        for (a, b) in pairs {
            for facet in [a, b] {
                bad.triangles.extend(self.of[facet as usize]);
            }
        }
        for t in &bad.triangles {
            let corners = self.corners.get(t).into_iter().flatten();
            bad.vertices
                .extend(corners.filter_map(|&v| rind.beneath(v)));
        }
        (!bad.triangles.is_empty()).then_some(bad)
    }
}

/// Whether the prism between a triangle and its inner one is folded somewhere: whether one of the
/// three tetrahedra that it falls into along the diagonals of its walls, as [`wall`] draws them,
/// is inside out. Where none is, and no two triangles cross, no two prisms share any space.
fn is_folded(outer: [u32; 3], inner: [u32; 3], at: impl Fn(u32) -> DVec3) -> bool {
    let mut rising = [0, 1, 2];
    rising.sort_by_key(|&i| outer[i]);
    let turned = (rising[0] + 1) % 3 != rising[1];
    let [a, b, c] = rising.map(|i| at(outer[i]));
    let [deep_a, deep_b, deep_c] = rising.map(|i| at(inner[i]));
    let six_fold = |[p, q, r, s]: [DVec3; 4]| {
        let volume = (q - p).cross(r - p).dot(p - s);
        if turned { -volume } else { volume }
    };
    [
        [a, b, c, deep_a],
        [deep_a, b, c, deep_b],
        [deep_a, deep_b, c, deep_c],
    ]
    .into_iter()
    .any(|corners| six_fold(corners) < -FOLD_MM3)
}

/// Cubes of space that some triangles touch with their boxes.
struct Cells {
    size_mm: f64,
    /// None if they are everywhere.
    touched: Option<FxHashSet<[i64; 3]>>,
}

impl Cells {
    fn of(triangles: &[[u32; 3]], at: impl Fn(u32) -> DVec3) -> Self {
        let boxes = triangles.iter().map(|t| around(t.map(&at)));
        let sum: f64 = boxes.map(|(low, high)| (high - low).max_element()).sum();
        let mut cells = Self {
            size_mm: (2.0 * sum / triangles.len().max(1) as f64).max(1e-3),
            touched: Some(FxHashSet::default()),
        };
        for corners in triangles {
            let Some(range) = cells.range(corners.map(&at)) else {
                cells.touched = None;
                return cells;
            };
            if let Some(touched) = &mut cells.touched {
                touched.extend(range);
            }
        }
        cells
    }

    fn range(&self, corners: [DVec3; 3]) -> Option<impl Iterator<Item = [i64; 3]> + use<>> {
        let (low, high) = around(corners);
        let cell = |p: DVec3| p.to_array().map(|x| (x / self.size_mm).floor() as i64);
        let (low, high) = (cell(low), cell(high));
        let count: i64 = (0..3).map(|i| high[i] - low[i] + 1).product();
        (count <= MOST_CELLS).then(|| {
            let [x, y, z] = [0, 1, 2].map(|i| low[i]..=high[i]);
            x.flat_map(move |x| {
                let z = z.clone();
                y.clone()
                    .flat_map(move |y| z.clone().map(move |z| [x, y, z]))
            })
        })
    }

    fn has(&self, corners: [DVec3; 3]) -> bool {
        let (Some(touched), Some(mut range)) = (&self.touched, self.range(corners)) else {
            return true;
        };
        range.any(|cell| touched.contains(&cell))
    }
}

fn around([a, b, c]: [DVec3; 3]) -> (DVec3, DVec3) {
    (a.min(b).min(c), a.max(b).max(c))
}
