//! Geodesic polar coordinates about a point of the skin: how far a point is along the skin, and
//! in which direction the shortest way to it leaves. It is the inverse of the exponential map.
//!
//! Ways are straight over the facets laid flat, so a window has one place in the plane that
//! touches the skin at the middle ([`Unfold`]), exact on the mesh as it is. (As a way to lay
//! pictures: R. Schmidt, C. Grimm, B. Wyvill, "Interactive decal compositing with discrete
//! exponential maps", *ACM Transactions on Graphics* 25, 2006, who find it otherwise; from
//! memory.)
//!
//! Behind a vertex that is a corner, ways go by on both sides. Where they meet they are equally
//! long, and directions jump: by as much as the corner is off flat.

use glam::{DVec2, DVec3};
use rustc_hash::FxHashMap;

use super::fan::{Fan, fan};
use super::start::Start;
use super::trace::Piece;
use super::unfold::{Begin, Unfold, crossing};
use super::{Bounds, Distances, Front, Stopped};
use crate::{Mesh, Progress, Surface};

/// The share of itself by which a distance may be off. It is small, so that windows are merged
/// only where their ways begin in nearly the same direction.
const TOLERANCE: f64 = 1e-6;

/// Distances that differ by a smaller share than this count as equal.
const SLACK: f64 = 2.0 * TOLERANCE;

/// Angles about a vertex may be off by this much, rad, and it still bends no way.
const ANGLE_SLACK: f64 = 1e-7;

/// Where a way into a facet begins.
#[derive(Clone, Copy, Debug)]
enum Origin {
    /// In the facet itself, which is this base of the start.
    Base(u32),
    Beyond(Begin),
}

/// A way into a facet.
#[derive(Clone, Copy, Debug)]
struct Way {
    front: Front,
    from: Origin,
}

/// Geodesic polar coordinates about a point.
#[derive(Clone, Debug)]
pub(crate) struct Polar {
    reach_mm: f64,
    /// For each facet that is reached the first of its ways, and the one after the last.
    facets: FxHashMap<u32, [u32; 2]>,
    ways: Vec<Way>,
}

impl Polar {
    /// Finds them for all of the skin within a distance along it, mm.
    pub(crate) fn new(
        surface: &Surface,
        start: &Start,
        reach_mm: f64,
        progress: &Progress,
    ) -> Result<Self, Stopped> {
        let bounds = Bounds {
            reach_mm,
            tube: None,
            tolerance: TOLERANCE,
        };
        let dot = [Piece::dot(start.at())];
        let distances = Distances::new(surface, &dot, bounds, false, progress)?;
        let mut unfold = Unfold::new(&distances, start, SLACK);
        let mut polar = Self {
            reach_mm,
            facets: FxHashMap::default(),
            ways: Vec::new(),
        };
        let mut bends = FxHashMap::default();
        for (count, facet) in distances.facets().into_iter().enumerate() {
            if count.is_multiple_of(4096) {
                progress.check()?;
            }
            let first = polar.ways.len() as u32;
            polar.put(&distances, start, facet, (&mut unfold, &mut bends));
            let end = polar.ways.len() as u32;
            if end > first {
                polar.facets.insert(facet, [first, end]);
            }
        }
        polar.ways.shrink_to_fit();
        Ok(polar)
    }

    /// Puts down the ways into a facet.
    fn put(
        &mut self,
        distances: &Distances,
        start: &Start,
        facet: u32,
        (unfold, bends): (&mut Unfold<'_>, &mut FxHashMap<u32, bool>),
    ) {
        if let Some(base) = start.base_of(facet) {
            // Straight within the facet is shortest.
            let at = start.at().point_mm;
            return self.ways.push(Way {
                front: Front::Line { from: at, to: at },
                from: Origin::Base(base),
            });
        }
        let surface = &distances.surface;
        let reach_mm = self.reach_mm;
        distances.named_fronts(facet, |front, number| {
            if front.least() > reach_mm {
                return;
            }
            let begin = match front {
                Front::Corner { corner, .. } => {
                    let bends = bends
                        .entry(number)
                        .or_insert_with(|| may_bend(surface, (facet, usize::from(corner))));
                    match bends {
                        true => unfold.vertex(number).map(Begin::Bent),
                        false => None,
                    }
                }
                _ => unfold.window(number),
            };
            let way = |begin| Way {
                front,
                from: Origin::Beyond(begin),
            };
            self.ways.extend(begin.map(way));
        });
    }

    /// The place of a point of a facet in the plane that touches the skin at the start: as far
    /// from it as the point is along the skin, mm; none beyond reach.
    pub(crate) fn at(&self, mesh: &Mesh, start: &Start, facet: u32, point: DVec3) -> Option<DVec2> {
        let &[first, end] = self.facets.get(&facet)?;
        let ways = self.ways.get(first as usize..end as usize)?;
        let mut best: Option<(f64, f64, &Way)> = None;
        for way in ways {
            let far = way.front.distance(mesh, facet, point);
            // Of equals the one that says more.
            let counts = match way.front {
                Front::Corner { .. } => far * (1.0 + SLACK),
                _ => far,
            };
            if best.is_none_or(|(least, ..)| counts < least) {
                best = Some((counts, far, way));
            }
        }
        let (_, far, way) = best.filter(|(_, far, _)| *far <= self.reach_mm)?;
        let heading = match way.from {
            Origin::Base(base) => start.heading(start.chart_of(base), start.local(base, point)),
            Origin::Beyond(Begin::Bent(heading)) => heading,
            Origin::Beyond(Begin::Flat(flat)) => {
                let seen = crossing(mesh, facet, &way.front, point, SLACK)?;
                start.heading(flat.chart, flat.at(seen.towards))
            }
        };
        Some(heading * far)
    }
}

/// Whether shortest ways may bend at the vertex at a corner of a facet.
fn may_bend(surface: &Surface, corner: (u32, usize)) -> bool {
    match fan(surface.mesh(), surface.adjacency(), corner) {
        Fan::Around { whole, .. } => whole > std::f64::consts::TAU + ANGLE_SLACK,
        Fan::Open { .. } => true,
    }
}
