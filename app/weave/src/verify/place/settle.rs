//! Points of the skin, and how the printed lines lie beneath them.

use geometry::{DVec3, Mesh};
use glam::DVec2;
use nalgebra::{Matrix4, Vector4};

use super::cloud::Cloud;
use crate::register::Placement;

/// Heights that are looked at.
const HEIGHTS: usize = 32;

/// Distance between points of the skin along a height, mm, and the most of all of them.
const SPACING_MM: f64 = 0.8;
const MOST_POINTS: usize = 12_000;

/// Points enough for a first look.
const FEW: usize = 700;

/// A line's middle lies half a width beneath the skin: as a first guess, mm.
const INSET_MM: f64 = 0.22;

/// A line within this of where it should be is the wall, mm.
const WALL_MM: f64 = 0.3;

/// How far lines are looked for, round by round, mm.
const REACHES_MM: [f64; 8] = [3.0, 2.5, 2.0, 1.5, 1.0, 0.7, 0.6, 0.6];

/// The same for a first look.
const ROUGH_MM: [f64; 4] = [3.0, 2.0, 1.2, 0.8];

/// A point of the skin at one height.
#[derive(Clone, Copy, Debug)]
struct Point {
    at: DVec2,
    outward: DVec2,
    height: usize,
}

/// Points of the part's skin at a few heights.
pub(super) struct Skin {
    points: Vec<Point>,
    /// Heights of the nozzle above the part's bed, mm, rising.
    heights_mm: Vec<f64>,
    middle: DVec2,
}

/// How a stand fits.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub stand: Placement,
    pub covered: f64,
}

impl Skin {
    /// Cuts each facet of a mesh at a few heights and takes points along the cuts. Where a line's
    /// thickness is `layer_mm`, the cut is half of that below the nozzle.
    pub(super) fn of(mesh: &Mesh, layer_mm: f64) -> Self {
        let (low, high) = mesh.bounds();
        let tall_mm = high.z - low.z;
        let step_mm = (tall_mm / HEIGHTS as f64).max(layer_mm);
        let count = (tall_mm / step_mm).floor().max(1.0) as usize;
        let heights_mm: Vec<f64> = (0..count)
            .map(|i| (step_mm * (i as f64 + 0.6)).max(layer_mm))
            .collect();
        let mut points = Vec::new();
        for (height, nozzle_mm) in heights_mm.iter().enumerate() {
            let z = low.z + nozzle_mm;
            cuts(mesh, z, |a, b, outward| {
                let length = a.distance(b);
                let parts = (length / SPACING_MM).ceil().clamp(1.0, 1e4);
                for i in 0..parts as u32 {
                    let at = a.lerp(b, (f64::from(i) + 0.5) / parts);
                    points.push(Point {
                        at,
                        outward,
                        height,
                    });
                }
            });
        }
        thin(&mut points, MOST_POINTS);
        Self {
            points,
            heights_mm,
            middle: 0.5 * (low + high).truncate(),
        }
    }

    /// The same with few points.
    pub(super) fn few(&self) -> Self {
        let mut points = self.points.clone();
        thin(&mut points, FEW);
        Self {
            points,
            heights_mm: self.heights_mm.clone(),
            middle: self.middle,
        }
    }

    /// The nozzle's heights above the plate, mm, from which on a layer is looked at.
    pub(super) fn heights(&self, lift_mm: f64) -> Vec<f64> {
        self.heights_mm.iter().map(|h| h + lift_mm).collect()
    }

    /// A stand turned about the part's middle.
    pub(super) fn turned(&self, stand: &Placement, turn_deg: f64) -> Placement {
        let at = plate(stand, self.middle);
        let turn_deg = stand.turn_deg + turn_deg;
        let middle = DVec2::from_angle(turn_deg.to_radians()).rotate(self.middle);
        Placement {
            turn_deg,
            shift_mm: (at - middle).into(),
            lift_mm: stand.lift_mm,
        }
    }

    /// Share of the points that have a wall where it should be; `None` where there is nothing to
    /// compare.
    pub(super) fn covered(&self, cloud: &Cloud, stand: &Placement) -> Option<f64> {
        let found = self.off(cloud, stand, 1.0);
        let mut insets: Vec<f64> = found.iter().filter_map(|(_, _, off)| *off).collect();
        if found.is_empty() {
            return None;
        }
        let usual = middle_of(&mut insets);
        let near = |off: &Option<f64>| off.is_some_and(|off| (off - usual).abs() < WALL_MM);
        let covered = found.iter().filter(|(_, _, off)| near(off)).count();
        Some(covered as f64 / found.len() as f64)
    }

    /// For each point its arm from the part's middle and its outward way on the plate, and how far
    /// beneath it the nearest line lies, mm.
    fn off(
        &self,
        cloud: &Cloud,
        stand: &Placement,
        reach_mm: f64,
    ) -> Vec<(DVec2, DVec2, Option<f64>)> {
        let turn = DVec2::from_angle(stand.turn_deg.to_radians());
        let middle = plate(stand, self.middle);
        let points = self.points.iter();
        points
            .filter(|point| cloud.nozzle_mm(point.height).is_some())
            .map(|point| {
                let at = plate(stand, point.at);
                let outward = turn.rotate(point.outward);
                let wall = at - outward * INSET_MM;
                let near = cloud.nearest(point.height, wall, reach_mm);
                (at - middle, outward, near.map(|n| (at - n).dot(outward)))
            })
            .collect()
    }

    /// A stand moved and turned to where the lines fit best, by least squares on how far beneath
    /// the skin they lie.
    pub(super) fn settled(&self, cloud: &Cloud, stand: &Placement) -> Option<Fit> {
        self.settled_in(cloud, stand, &REACHES_MM)
    }

    /// As [`Skin::settled`], in fewer rounds.
    pub(super) fn roughly_settled(&self, cloud: &Cloud, stand: &Placement) -> Option<Fit> {
        self.settled_in(cloud, stand, &ROUGH_MM)
    }

    fn settled_in(&self, cloud: &Cloud, stand: &Placement, reaches_mm: &[f64]) -> Option<Fit> {
        let mut stand = *stand;
        for reach_mm in reaches_mm {
            let reach_mm = *reach_mm;
            let found = self.off(cloud, &stand, reach_mm);
            let mut insets: Vec<f64> = found.iter().filter_map(|(_, _, off)| *off).collect();
            let usual = middle_of(&mut insets);
            let trim_mm = 0.2 + 0.5 * (reach_mm - 0.6);
            let mut normal = Matrix4::<f64>::identity() * 1e-6;
            let mut right = Vector4::<f64>::zeros();
            for (arm, outward, off) in &found {
                let Some(off) = off.filter(|off| (off - usual).abs() < trim_mm) else {
                    continue;
                };
                // Moving the part outward by d lays the line d deeper beneath the skin.
                let row =
                    Vector4::new(outward.x, outward.y, outward.dot(arm.perp()) / ARM_MM, -1.0);
                normal += row * row.transpose();
                right -= row * off;
            }
            let [x, y, turn, _]: [f64; 4] = normal.cholesky()?.solve(&right).into();
            let middle = plate(&stand, self.middle) + DVec2::new(x, y);
            stand.turn_deg += (turn / ARM_MM).to_degrees();
            let turned = DVec2::from_angle(stand.turn_deg.to_radians()).rotate(self.middle);
            stand.shift_mm = (middle - turned).into();
        }
        let covered = self.covered(cloud, &stand)?;
        Some(Fit { stand, covered })
    }
}

/// Turns are counted at an arm of this length, so that they weigh like shifts, mm.
const ARM_MM: f64 = 20.0;

fn plate(stand: &Placement, point: DVec2) -> DVec2 {
    let turn = DVec2::from_angle(stand.turn_deg.to_radians());
    turn.rotate(point) + DVec2::from(stand.shift_mm)
}

/// Leaves out points evenly until no more than so many are left.
fn thin(points: &mut Vec<Point>, most: usize) {
    let every = points.len().div_ceil(most).max(1);
    let mut index = 0;
    points.retain(|_| {
        index += 1;
        index % every == 0
    });
}

fn middle_of(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    match values.is_empty() {
        true => INSET_MM,
        false => *values.select_nth_unstable_by(middle, f64::total_cmp).1,
    }
}

/// Calls with each line in which a facet meets a height, and the facet's outward way in the plane.
fn cuts(mesh: &Mesh, z: f64, mut each: impl FnMut(DVec2, DVec2, DVec2)) {
    for facet in 0..mesh.triangles().len() {
        let corners: [DVec3; 3] = mesh.corners(facet);
        let (low, high) = corners
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), c| {
                (l.min(c.z), h.max(c.z))
            });
        if !(low < z && z < high) {
            continue;
        }
        let outward = mesh.area_vector(facet).truncate().normalize_or_zero();
        let [a, b, c] = corners;
        let mut ends = [(a, b), (b, c), (c, a)].into_iter().filter_map(|(p, q)| {
            let crosses = (p.z < z) != (q.z < z);
            crosses.then(|| p.lerp(q, (z - p.z) / (q.z - p.z)).truncate())
        });
        if let (Some(from), Some(to)) = (ends.next(), ends.next()) {
            each(from, to, outward);
        }
    }
}
