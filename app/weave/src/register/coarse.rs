//! Every turn and shift tried at once, roughly.
//!
//! A stand is good if plastic lies just within the part's contours and none just outside. For
//! one turn that is a correlation of two pictures, and the Fourier transform gives it for all
//! shifts together. Turns are tried in steps as wide as the pictures' cells allow; quarter
//! turns come first and mostly suffice: whoever asks says whether they did. A few levels,
//! spread over the whole height, are enough here.

use std::sync::Arc;

use geometry::{Cancelled, Progress};
use glam::DVec2;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::fine::{Outline, Outlines, bounds};
use super::placement::Placement;

/// Cells of a picture are this wide, mm, unless the plate is too large for that.
const CELL_MM: f64 = 1.5;

/// The most cells along a side.
const MOST_CELLS: usize = 512;

/// Contour points are asked this far within for plastic, and this far outside for none, mm.
const WITHIN_MM: f64 = 0.8;
const OUTSIDE_MM: f64 = 3.5;

/// A stand worth a closer look has this score; 1 is perfect, 0 is chance.
const WORTH: f64 = 0.3;

/// How many turns are handed on for a closer look, and how many places at each.
const MOST_TURNS: usize = 48;
const MOST_PLACES: usize = 2;

/// How many levels are looked at.
const MOST_LEVELS: usize = 8;

/// The pictures of the toolpath.
pub(super) struct Search<'a> {
    outlines: &'a Outlines,
    /// The levels looked at.
    levels: Vec<&'a Outline>,
    side: usize,
    cell_mm: f64,
    /// The plate's point at the picture's corner.
    corner: DVec2,
    /// For each level, whether plastic lies in a cell.
    plastic: Vec<Vec<f32>>,
    transform: Transform,
    /// Plastic cells at the start.
    first_plastic: f32,
}

impl<'a> Search<'a> {
    pub(super) fn new(outlines: &'a Outlines) -> Self {
        let (low, high) = outlines.plate();
        let margin = outlines.reach_mm() + OUTSIDE_MM + 2.0 * CELL_MM;
        let wide = (high - low).max_element() + 2.0 * margin;
        let side = ((wide / CELL_MM).ceil() as usize)
            .next_power_of_two()
            .clamp(32, MOST_CELLS);
        let cell_mm = (wide / side as f64).max(CELL_MM);
        let corner = low - margin;
        let mut plastic = Vec::new();
        let count = outlines.levels.len();
        let apart = count.div_ceil(MOST_LEVELS).max(1);
        // From the top: low levels look alike more often.
        let levels: Vec<&Outline> = outlines.levels.iter().rev().step_by(apart).collect();
        for outline in &levels {
            let mut picture = vec![0.0_f32; side * side];
            for [from, to] in &outline.segments {
                draw(
                    &mut picture,
                    side,
                    (*from - corner) / cell_mm,
                    (*to - corner) / cell_mm,
                );
            }
            plastic.push(picture);
        }
        let first_plastic = plastic.iter().flatten().sum();
        Self {
            outlines,
            levels,
            side,
            cell_mm,
            corner,
            plastic,
            transform: Transform::new(side),
            first_plastic,
        }
    }

    /// The most promising stands at quarter turns, best first.
    pub(super) fn at_quarters(&self, progress: &Progress) -> Result<Vec<Placement>, Cancelled> {
        self.at([0.0, 90.0, 180.0, 270.0].into_iter(), 4, 0.0, progress)
    }

    /// The most promising stands at all turns, best first. Of neighbouring turns only the best
    /// is handed on, or one hill would hide all the others.
    pub(super) fn at_all(&self, progress: &Progress) -> Result<Vec<Placement>, Cancelled> {
        let step = (2.0 * self.cell_mm / self.outlines.reach_mm())
            .to_degrees()
            .clamp(1.0, 10.0);
        let count = (360.0 / step).ceil() as usize;
        let turns = (0..count).map(|i| 360.0 * i as f64 / count as f64);
        self.at(turns, count, 1.5 * step, progress)
    }

    fn at(
        &self,
        turns: impl Iterator<Item = f64>,
        count: usize,
        apart_deg: f64,
        progress: &Progress,
    ) -> Result<Vec<Placement>, Cancelled> {
        let spectra = self.spectra();
        let mut tried: Vec<(f64, f32, Vec<Placement>)> = Vec::new();
        for (i, turn) in turns.enumerate() {
            progress.check()?;
            progress.set(i as f32 / count.max(1) as f32);
            let (score, map) = self.try_turn(turn, &spectra);
            let mut places = self.peaks(turn, &map, 0.8);
            places.truncate(MOST_PLACES);
            tried.push((turn, score, places));
        }
        tried.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut taken: Vec<f64> = Vec::new();
        let mut guesses = Vec::new();
        for (turn, score, places) in tried {
            let apart =
                |other: &f64| ((turn - other + 180.0).rem_euclid(360.0) - 180.0).abs() > apart_deg;
            if score > WORTH as f32 && taken.len() < MOST_TURNS && taken.iter().all(apart) {
                taken.push(turn);
                guesses.extend(places);
            }
        }
        Ok(guesses)
    }

    /// Other places where the part stands at the turn of a stand just found.
    pub(super) fn others(&self, found: &Placement) -> Vec<Placement> {
        let turn = found.turn_deg;
        let (_, map) = self.try_turn(turn, &self.spectra());
        let here = DVec2::from(found.shift_mm);
        self.peaks(turn, &map, 0.7)
            .into_iter()
            .filter(|p| DVec2::from(p.shift_mm).distance(here) > self.outlines.least_gap_mm())
            .collect()
    }

    fn spectra(&self) -> Vec<Vec<Complex<f32>>> {
        self.plastic
            .iter()
            .map(|picture| self.transform.forward(picture))
            .collect()
    }

    /// Takes a copy's plastic out of the pictures.
    pub(super) fn erase(&mut self, outlines: &Outlines, placement: &Placement) {
        for (outline, picture) in self.levels.iter().zip(&mut self.plastic) {
            let points: Vec<DVec2> = outline
                .polygon()
                .map(|ring| {
                    ring.iter()
                        .map(|p| outlines.placed(placement, *p))
                        .collect()
                })
                .collect::<Vec<Vec<DVec2>>>()
                .concat();
            let Some((low, high)) = bounds(&points) else {
                continue;
            };
            let wide = 2.0 * self.cell_mm;
            for (y, cells) in picture.chunks_exact_mut(self.side).enumerate() {
                for (x, cell) in cells.iter_mut().enumerate() {
                    let at =
                        self.corner + DVec2::new(x as f64 + 0.5, y as f64 + 0.5) * self.cell_mm;
                    let inside = at.cmpge(low - wide).all() && at.cmple(high + wide).all();
                    if inside && outline.near_plastic(outlines, placement, at, wide) {
                        *cell = 0.0;
                    }
                }
            }
        }
    }

    /// Whether enough plastic is left for another copy.
    pub(super) fn has_more(&self) -> bool {
        let left: f32 = self.plastic.iter().flatten().sum();
        left > 0.02 * self.first_plastic && left > 30.0
    }

    /// The best score of one turn, and the scores by cell.
    fn try_turn(&self, turn_deg: f64, spectra: &[Vec<Complex<f32>>]) -> (f32, Vec<f32>) {
        let mut sum = vec![Complex::new(0.0, 0.0); self.side * self.side];
        for (outline, spectrum) in self.levels.iter().zip(spectra) {
            let template = self.template(outline, turn_deg);
            let template = self.transform.forward(&template);
            for ((total, t), s) in sum.iter_mut().zip(&template).zip(spectrum) {
                *total += s * t.conj();
            }
        }
        let scale = 1.0 / (self.side * self.side * spectra.len().max(1)) as f32;
        let map: Vec<f32> = self
            .transform
            .inverse(sum)
            .iter()
            .map(|c| c.re * scale)
            .collect();
        let best = map.iter().copied().fold(f32::MIN, f32::max);
        (best, map)
    }

    /// The picture that asks for plastic within the contours and for none outside; it stands
    /// about the picture's corner and wraps around.
    fn template(&self, outline: &Outline, turn_deg: f64) -> Vec<f32> {
        let mut picture = vec![0.0_f32; self.side * self.side];
        let rotation = DVec2::from_angle(turn_deg.to_radians());
        let total: f64 = outline.samples.iter().map(|s| s.weight_mm).sum();
        for sample in &outline.samples {
            let at = rotation.rotate(sample.point - self.outlines.middle());
            let out = rotation.rotate(sample.outward);
            let share = (sample.weight_mm / total) as f32;
            self.splat(&mut picture, at - out * WITHIN_MM, share);
            self.splat(&mut picture, at + out * OUTSIDE_MM, -share);
        }
        picture
    }

    fn splat(&self, picture: &mut [f32], at_mm: DVec2, value: f32) {
        let at = at_mm / self.cell_mm;
        let low = at.floor();
        let part = at - low;
        let wrap = |v: f64| (v as i64).rem_euclid(self.side as i64) as usize;
        for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
            let weight = (1.0 - (part.x - dx).abs()) * (1.0 - (part.y - dy).abs());
            let index = wrap(low.y + dy) * self.side + wrap(low.x + dx);
            if let Some(cell) = picture.get_mut(index) {
                *cell += value * weight as f32;
            }
        }
    }

    /// Stands whose score is within a share of the best and higher than their neighbours'.
    fn peaks(&self, turn_deg: f64, map: &[f32], share: f32) -> Vec<Placement> {
        let best = map.iter().copied().fold(0.0, f32::max);
        if best < WORTH as f32 {
            return Vec::new();
        }
        let mut high: Vec<(usize, f32)> = map
            .iter()
            .copied()
            .enumerate()
            .filter(|(_, score)| *score >= best * share)
            .collect();
        high.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut taken: Vec<DVec2> = Vec::new();
        for (index, _) in high {
            let cell = DVec2::new((index % self.side) as f64, (index / self.side) as f64);
            let at = self.corner + (cell + 0.5) * self.cell_mm;
            let clear = |other: &DVec2| other.distance(at) > self.outlines.least_gap_mm();
            if taken.len() < 64 && taken.iter().all(clear) {
                taken.push(at);
            }
        }
        let turned = DVec2::from_angle(turn_deg.to_radians()).rotate(self.outlines.middle());
        taken
            .into_iter()
            .map(|at| Placement {
                turn_deg: (turn_deg + 180.0).rem_euclid(360.0) - 180.0,
                shift_mm: (at - turned).into(),
                lift_mm: 0.0,
            })
            .collect()
    }
}

/// Marks the cells that a line passes.
fn draw(picture: &mut [f32], side: usize, from: DVec2, to: DVec2) {
    let steps = ((to - from).length() * 2.0).ceil().clamp(1.0, 1e5) as u32;
    for i in 0..=steps {
        let at = from.lerp(to, f64::from(i) / f64::from(steps)).floor();
        if at.x >= 0.0
            && at.y >= 0.0
            && at.x < side as f64
            && at.y < side as f64
            && let Some(cell) = picture.get_mut(at.y as usize * side + at.x as usize)
        {
            *cell = 1.0;
        }
    }
}

/// The Fourier transform of square pictures. What it gives lies transposed; the inverse takes
/// it so and gives it upright again.
struct Transform {
    side: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
}

impl Transform {
    fn new(side: usize) -> Self {
        let mut planner = FftPlanner::new();
        Self {
            side,
            forward: planner.plan_fft_forward(side),
            inverse: planner.plan_fft_inverse(side),
        }
    }

    fn forward(&self, picture: &[f32]) -> Vec<Complex<f32>> {
        let values = picture.iter().map(|v| Complex::new(*v, 0.0)).collect();
        self.both_ways(values, self.forward.as_ref())
    }

    fn inverse(&self, spectrum: Vec<Complex<f32>>) -> Vec<Complex<f32>> {
        self.both_ways(spectrum, self.inverse.as_ref())
    }

    fn both_ways(&self, mut values: Vec<Complex<f32>>, fft: &dyn Fft<f32>) -> Vec<Complex<f32>> {
        fft.process(&mut values);
        let mut turned = self.transposed(&values);
        fft.process(&mut turned);
        turned
    }

    fn transposed(&self, values: &[Complex<f32>]) -> Vec<Complex<f32>> {
        let mut turned = values.to_vec();
        for (x, row) in turned.chunks_exact_mut(self.side).enumerate() {
            let column = values.iter().skip(x).step_by(self.side);
            for (to, from) in row.iter_mut().zip(column) {
                *to = *from;
            }
        }
        turned
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_is_the_picture() {
        let transform = Transform::new(32);
        let picture: Vec<f32> = (0..32 * 32).map(|i| (i * 7 % 13) as f32).collect();
        let back = transform.inverse(transform.forward(&picture));
        for (value, expected) in back.iter().zip(&picture) {
            assert!((value.re / 1024.0 - expected).abs() < 1e-4);
        }
    }
}
