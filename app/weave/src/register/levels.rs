//! What a toolpath prints at a few heights.

use std::collections::BTreeSet;
use std::io::Read;

use geometry::Progress;
use glam::DVec2;
use toolpath::{Move, Path, Replay, Settings, Step};

use super::error::RegisterError;

/// What is printed at one height.
#[derive(Clone, Debug, Default)]
pub struct Level {
    /// It holds what is printed from this height of the nozzle on, mm,
    pub from_mm: f64,
    /// up to here, mm.
    pub to_mm: f64,
    /// Mean height of what it holds, mm.
    pub nozzle_mm: f64,
    /// Printed lines, each from one point to another, mm; arcs as short chords.
    pub segments: Vec<[DVec2; 2]>,
    length_mm: f64,
    /// The part of it on which the nozzle climbs, mm.
    climbing_mm: f64,
}

/// Several levels of one toolpath, and its extent.
#[derive(Clone, Debug, Default)]
pub struct Levels {
    /// The levels, rising.
    pub levels: Vec<Level>,
    /// Lowest height at which anything is printed along a way, mm.
    pub lowest_mm: f64,
    /// Highest such height, mm.
    pub highest_mm: f64,
    /// The whole file was read.
    pub whole: bool,
    /// Height of the part's bed above the plate, mm.
    pub lift_mm: f64,
    /// Heights at which anything is printed, as far up as rafts go, thousandths of a mm.
    pub(super) low: BTreeSet<i64>,
    /// What is printed low down, where a raft would be.
    pub(super) foot: Vec<Level>,
}

/// Chords stay this near to their arc, mm.
const CHORD_MM: f64 = 0.02;

/// Heights are noted up to here, mm, and so many at most.
const LOW_MM: f64 = 8.0;
const MOST_LOW: usize = 2000;

/// Low levels are so far apart, mm, so many, and hold so many lines each.
const FOOT_MM: f64 = 0.3;
const FEET: u32 = 18;
const MOST_FOOT: usize = 50_000;

/// The most lines kept of a level: enough for a full plate, and memory stays bounded.
const MOST_SEGMENTS: usize = 400_000;

/// Gathers what is printed in the first layer at or above each of some heights, which rise;
/// `layer_mm` is the part's layer height. With `early` the reading ends once something is
/// printed well above the last height: enough unless copies are printed one after another.
///
/// # Errors
/// [`RegisterError::Read`], [`RegisterError::Cancelled`].
pub fn gather(
    file: impl Read,
    size_bytes: u64,
    settings: Settings,
    heights_mm: &[f64],
    layer_mm: f64,
    early: bool,
    progress: &Progress,
) -> Result<Levels, RegisterError> {
    progress.stage("Reading outlines from the toolpath");
    let mut replay = Replay::new(file, settings);
    let mut gathered = Levels {
        levels: heights_mm.iter().map(|z| Level::at(*z)).collect(),
        lowest_mm: f64::MAX,
        highest_mm: f64::MIN,
        whole: false,
        lift_mm: 0.0,
        low: BTreeSet::new(),
        foot: (0..FEET)
            .map(|i| Level::at(f64::from(i) * FOOT_MM))
            .collect(),
    };
    let enough = heights_mm.last().map_or(f64::MAX, |z| z + 4.0 * layer_mm);
    let mut next_look = 0;
    loop {
        let Some(seen) = replay.skim()? else {
            gathered.whole = true;
            break;
        };
        if let Step::Move(step) = seen.step
            && step.prints()
        {
            gathered.take(step, layer_mm);
            if early && step.from[2] > enough && step.to[2] > enough {
                break;
            }
        }
        if replay.offset() >= next_look {
            next_look = replay.offset() + (1 << 20);
            progress.set(replay.offset() as f32 / size_bytes.max(1) as f32);
            progress.check()?;
        }
    }
    gathered.levels.retain(|level| !level.segments.is_empty());
    Ok(gathered)
}

impl Levels {
    /// The same lines beneath a part that stands on something.
    #[must_use]
    pub fn lifted(self, lift_mm: f64) -> Self {
        Self { lift_mm, ..self }
    }

    /// The height at which a layer ends that is nearest to one, from a hair below it to so much
    /// above, mm; `None` if there is no such layer.
    pub(super) fn ends_near(&self, height_mm: f64, above_mm: f64) -> Option<f64> {
        let from = ((height_mm - 0.02) * 1000.0) as i64;
        let to = ((height_mm + above_mm) * 1000.0) as i64;
        (from <= to)
            .then(|| self.low.range(from..=to).next())
            .flatten()
            .map(|z| *z as f64 / 1000.0)
    }

    fn take(&mut self, step: &Move, layer_mm: f64) {
        // Straight up or down lays no line.
        if step.from[0] == step.to[0] && step.from[1] == step.to[1] && step.path == Path::Straight {
            return;
        }
        let z = 0.5 * (step.from[2] + step.to[2]);
        if z < LOW_MM && self.low.len() < MOST_LOW {
            self.low.insert((z * 1000.0).round() as i64);
        }
        let foot = self.foot.iter_mut().rev().find(|level| level.from_mm <= z);
        if let Some(level) = foot.filter(|level| level.segments.len() < MOST_FOOT) {
            level.take(step, z, layer_mm);
        }
        self.lowest_mm = self.lowest_mm.min(z);
        self.highest_mm = self.highest_mm.max(z);
        let levels = self.levels.iter_mut().rev();
        if let Some(level) = levels.into_iter().find(|level| level.from_mm <= z) {
            level.take(step, z, layer_mm);
        }
    }
}

impl Level {
    /// Whether the nozzle climbs all the time, as in vase mode: one wall, along the outermost
    /// outline.
    pub(super) fn climbs(&self) -> bool {
        self.climbing_mm > 0.5 * self.length_mm
    }

    fn at(height_mm: f64) -> Self {
        Self {
            from_mm: height_mm,
            to_mm: f64::NAN,
            ..Self::default()
        }
    }

    fn take(&mut self, step: &Move, z: f64, layer_mm: f64) {
        let climbs = step.from[2] != step.to[2];
        if self.to_mm.is_nan() {
            // A nozzle that climbs all the time goes up by a layer in one turn.
            let share = if climbs { 1.02 } else { 0.9 };
            self.to_mm = z + share * layer_mm;
        }
        if z >= self.to_mm || self.segments.len() >= MOST_SEGMENTS {
            return;
        }
        let length = step.length_mm();
        self.length_mm += length;
        self.climbing_mm += if climbs { length } else { 0.0 };
        if self.length_mm > 0.0 {
            self.nozzle_mm += (z - self.nozzle_mm) * length / self.length_mm;
        }
        let point = |t: f64| DVec2::new(step.at(t)[0], step.at(t)[1]);
        let mut last = point(0.0);
        let pieces = chords(step);
        for i in 1..=pieces {
            let next = point(f64::from(i) / f64::from(pieces));
            if next != last {
                self.segments.push([last, next]);
            }
            last = next;
        }
    }
}

/// How many chords stand for a move.
pub(crate) fn chords(step: &Move) -> u32 {
    match step.path {
        Path::Straight => 1,
        Path::Arc(arc) => {
            // The rise of a chord of angle a over radius r is r (1 - cos a/2), near r a²/8.
            let angle = (8.0 * CHORD_MM / arc.radius_mm).sqrt().min(1.0);
            (arc.sweep.abs() / angle).ceil().clamp(1.0, 1000.0) as u32
        }
    }
}
