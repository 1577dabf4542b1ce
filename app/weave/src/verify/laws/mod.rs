//! The rules for a toolpath whose runs changed places: is it still the same print?
//!
//! Both files are read layer by layer. Every move that laid plastic before must be laid again
//! in its layer, whole or in pieces that cover it once: the same way, filament, speed and
//! settings. Plastic that is new lies in the declared purge block. Ways are gone as the file
//! goes them: with the strand drawn back where they are long, never beneath what is laid, and, where
//! copies follow each other, as far from what stands as the head declares. No
//! layer takes less time than the shortest from before. All other lines are there, in order.
//!
//! Nothing of the weaving is used here but the reader and the dialect.

mod cover;
mod declared;
mod found;
mod layers;
mod pillar;
mod stood;
mod ways;

use std::io::Read;

use geometry::Progress;
use toolpath::Settings;

use crate::WeaveError;
use crate::dialect::Listener;
use layers::{Layer, Layers};
use pillar::Pillars;

pub use declared::Declared;
pub use found::Laws;

/// Holds two files against the laws; `after` may hold blend commands that `listener` hears. Its
/// purge block is where its own head declares it, and nowhere else.
///
/// # Errors
/// When one can't be read, or when cancelled.
pub fn check(
    before: impl Read,
    after: impl Read,
    settings: Settings,
    listener: Option<&mut Listener>,
    size_bytes: u64,
    progress: &Progress,
) -> Result<Laws, WeaveError> {
    let mut was = Layers::new(before, settings, None);
    let mut now = Layers::new(after, settings, listener);
    let mut found = Laws::default();
    let mut pillars = Pillars::default();
    let mut hurried = Hurried::default();
    loop {
        progress.set(now.replay.offset() as f32 / size_bytes.max(1) as f32);
        progress.check()?;
        let (old, mut new) = match (was.layer()?, now.layer()?) {
            (None, None) => break,
            (Some(old), Some(new)) => (old, new),
            (Some(old), None) => {
                found.fault = Some(format!(
                    "the plastic at {:.3} mm is missing at the end of the file",
                    old.top_mm
                ));
                break;
            }
            (None, Some(new)) => {
                found.fault = Some(format!("a layer at {:.3} mm is new", new.top_mm));
                break;
            }
        };
        now.take_pieces(&old, &mut new)?;
        // The sliced file is looked at by the same measure.
        was.ways.keep_away(now.around_mm);
        now.ways.keep_away(now.around_mm);
        let fault = cover::compare(&old, &new, &now.declared, &mut found, &mut pillars);
        hurried.add(&old, &new);
        if fault.is_some() {
            found.fault = fault;
            break;
        }
    }
    found.dry_mm = [was.ways.longest_dry_mm, now.ways.longest_dry_mm];
    found.least_time_s = hurried.least_min.map(|min| 60.0 * min);
    if found.fault.is_none() {
        let settings = (was.set != now.set)
            .then(|| "fans, speeds or advance are set otherwise at the end of the file".to_owned());
        let ways = now.ways.fault(&was.ways);
        found.fault = ways.or_else(|| hurried.fault()).or(settings);
    }
    Ok(found)
}

/// Layers that take less time than before.
#[derive(Debug)]
struct Hurried {
    /// The shortest layer, minutes: before, and now.
    least_min: [f64; 2],
    /// The shortest of those that take less time than before, minutes, and where, mm.
    cut_min: f64,
    cut_mm: f64,
}

impl Default for Hurried {
    fn default() -> Self {
        Self {
            least_min: [f64::INFINITY; 2],
            cut_min: f64::INFINITY,
            cut_mm: 0.0,
        }
    }
}

/// A layer's time may be less than the least by this share: travels are laid anew.
const LESS_TIME: f64 = 0.1;

impl Hurried {
    fn add(&mut self, old: &Layer, new: &Layer) {
        if old.prints.is_empty() {
            return;
        }
        for (least, layer) in self.least_min.iter_mut().zip([old, new]) {
            *least = least.min(layer.time_min);
        }
        if new.time_min < old.time_min && new.time_min < self.cut_min {
            (self.cut_min, self.cut_mm) = (new.time_min, new.top_mm);
        }
    }

    fn fault(&self) -> Option<String> {
        let [before, _] = self.least_min;
        (self.cut_min < before * (1.0 - LESS_TIME)).then(|| {
            format!(
                "the layer at {:.3} mm takes {:.1} s; the shortest of the sliced file takes {:.1} s",
                self.cut_mm,
                60.0 * self.cut_min,
                60.0 * before
            )
        })
    }
}

#[cfg(test)]
mod tests;
