//! Points of what is printed, at a few heights.

use std::collections::HashMap;

use geometry::Progress;
use glam::DVec2;
use toolpath::{Replay, Settings, Step};

use crate::{Source, WeaveError};

/// Distance between points along a line, mm.
const APART_MM: f64 = 0.3;

/// Cells in which points are kept, mm.
const CELL_MM: f64 = 1.0;

/// The most points of a height: a full plate's outlines, and memory stays bounded.
const MOST_POINTS: usize = 300_000;

/// The points of each height.
pub(super) struct Cloud {
    heights: Vec<Height>,
}

struct Height {
    /// It holds what is printed from this height of the nozzle on, mm.
    from_mm: f64,
    /// The first height at which anything was printed, mm.
    first_mm: Option<f64>,
    sum_mm: f64,
    count: usize,
    cells: HashMap<(i32, i32), Vec<[f32; 2]>>,
}

impl Cloud {
    /// Reads a file; `heights_mm` rise, and each takes what one layer prints from there on.
    pub(super) fn of(
        file: &Source<'_>,
        settings: Settings,
        heights_mm: &[f64],
        layer_mm: f64,
        progress: &Progress,
    ) -> Result<Self, WeaveError> {
        progress.stage("Looking where the part stands");
        let mut cloud = Self {
            heights: heights_mm.iter().map(|h| Height::from(*h)).collect(),
        };
        let mut replay = Replay::new(file.read()?, settings);
        let mut next_look = 0;
        while let Some(seen) = replay.skim()? {
            if let Step::Move(step) = seen.step
                && step.prints()
            {
                cloud.take(step, layer_mm);
            }
            if replay.offset() >= next_look {
                next_look = replay.offset() + (1 << 20);
                progress.set(replay.offset() as f32 / file.size_bytes().max(1) as f32);
                progress.check()?;
            }
        }
        Ok(cloud)
    }

    fn take(&mut self, step: &toolpath::Move, layer_mm: f64) {
        let z = 0.5 * (step.from[2] + step.to[2]);
        let at = self.heights.partition_point(|h| h.from_mm <= z + 1e-6);
        let Some(height) = at.checked_sub(1).and_then(|i| self.heights.get_mut(i)) else {
            return;
        };
        // A nozzle that climbs all the time takes a layer's height for one turn.
        let first_mm = *height.first_mm.get_or_insert(z);
        if z > first_mm + 1.02 * layer_mm - 1e-6 && step.from[2] != step.to[2]
            || z > first_mm + 0.5 * layer_mm && step.from[2] == step.to[2]
            || height.count >= MOST_POINTS
        {
            return;
        }
        let count = (step.length_mm() / APART_MM).ceil().clamp(1.0, 1e5);
        for i in 0..count as u32 {
            let [x, y, z] = step.at((f64::from(i) + 0.5) / count);
            height.add(DVec2::new(x, y), z);
        }
    }

    /// Mean height of the nozzle of what a height holds, mm; `None` if it holds nothing.
    pub(super) fn nozzle_mm(&self, height: usize) -> Option<f64> {
        let height = self.heights.get(height).filter(|h| h.count > 0)?;
        Some(height.sum_mm / height.count as f64)
    }

    /// The printed point of a height that is nearest to a place of the plate, within a distance.
    pub(super) fn nearest(&self, height: usize, at: DVec2, within_mm: f64) -> Option<DVec2> {
        let cells = &self.heights.get(height)?.cells;
        let low = cell(at - within_mm);
        let high = cell(at + within_mm);
        let mut best = (within_mm * within_mm, None);
        for x in low.0..=high.0 {
            for y in low.1..=high.1 {
                for [px, py] in cells.get(&(x, y)).into_iter().flatten() {
                    let point = DVec2::new(f64::from(*px), f64::from(*py));
                    let far = point.distance_squared(at);
                    if far < best.0 {
                        best = (far, Some(point));
                    }
                }
            }
        }
        best.1
    }
}

impl From<f64> for Height {
    fn from(from_mm: f64) -> Self {
        Self {
            from_mm,
            first_mm: None,
            sum_mm: 0.0,
            count: 0,
            cells: HashMap::new(),
        }
    }
}

impl Height {
    fn add(&mut self, at: DVec2, z: f64) {
        self.sum_mm += z;
        self.count += 1;
        let points = self.cells.entry(cell(at)).or_default();
        points.push([at.x as f32, at.y as f32]);
    }
}

fn cell(at: DVec2) -> (i32, i32) {
    let at = (at / CELL_MM).floor();
    (at.x as i32, at.y as i32)
}
