//! How much plastic a toolpath lays in each layer of the part.

use std::collections::BTreeMap;

use geometry::{LayerSpan, Progress};
use toolpath::{CautionKind, Replay, Settings, Step, filament_area_mm2};

use crate::{Source, WeaveError};

/// Heights nearer than this are one, mm.
const SAME_MM: f64 = 1e-4;
/// No more heights than these are kept apart; a spiral that climbs all the time has as many as
/// it has moves, and is then told by ever coarser ones.
const MOST_HEIGHTS: usize = 200_000;

/// Plastic of each layer, mm³, everything that is fed at its height included: skirts, supports,
/// all copies that grow together. What the nozzle lays lies between its height and the next one
/// below at which it lays any, and is shared out among the layers in between.
///
/// # Errors
/// [`WeaveError`] when the file can't be read, is of another height than the layers, or when the
/// work was cancelled.
pub fn plastic_by_layer(
    source: &Source<'_>,
    settings: Settings,
    spans: &[LayerSpan],
    filament_diameter_mm: f64,
    progress: &Progress,
) -> Result<Vec<f64>, WeaveError> {
    progress.stage("Measuring the toolpath's plastic");
    let area_mm2 = filament_area_mm2(filament_diameter_mm);
    let mut replay = Replay::new(source.read()?, settings);
    let mut heights = Heights::default();
    let mut next_look = 0;
    let mut tool_in_use = 0;
    while let Some(seen) = replay.skim()? {
        let (step, number) = (*seen.step, seen.number);
        match step {
            Step::Move(step) if step.fresh_mm > 0.0 => {
                heights.add(step.to[2], step.fresh_mm * area_mm2);
            }
            Step::Tool(tool) => {
                // The tool that prints is chosen after a prime line at the latest.
                if tool != tool_in_use && heights.are_several() {
                    return Err(WeaveError::Tools { line: number });
                }
                tool_in_use = tool;
            }
            _ => {}
        }
        let bytes = replay.offset();
        if bytes >= next_look {
            next_look = bytes + (1 << 20);
            progress.set(bytes as f32 / source.size_bytes().max(1) as f32);
            progress.check()?;
        }
    }
    let mut told = replay.cautions().as_slice().iter();
    if let Some(caution) = told.find(|c| c.kind == CautionKind::UnknownFlow) {
        return Err(WeaveError::UnknownFlow {
            line: caution.first_line,
        });
    }
    heights.shared_out(spans)
}

/// Plastic by the height of the nozzle, in steps of [`Heights::step_mm`].
struct Heights {
    step_mm: f64,
    volumes_mm3: BTreeMap<i64, f64>,
}

impl Default for Heights {
    fn default() -> Self {
        Self {
            step_mm: SAME_MM,
            volumes_mm3: BTreeMap::new(),
        }
    }
}

impl Heights {
    fn are_several(&self) -> bool {
        self.volumes_mm3.len() > 1
    }

    fn add(&mut self, z_mm: f64, volume_mm3: f64) {
        let key = (z_mm / self.step_mm).round() as i64;
        *self.volumes_mm3.entry(key).or_default() += volume_mm3;
        if self.volumes_mm3.len() > MOST_HEIGHTS {
            self.coarsen();
        }
    }

    fn coarsen(&mut self) {
        self.step_mm *= 4.0;
        for (key, volume) in std::mem::take(&mut self.volumes_mm3) {
            *self.volumes_mm3.entry(key.div_euclid(4)).or_default() += volume;
        }
    }

    fn shared_out(&self, spans: &[LayerSpan]) -> Result<Vec<f64>, WeaveError> {
        let part_mm = spans.last().map_or(0.0, |span| span.top_mm);
        let thickest_mm = spans.iter().map(LayerSpan::height_mm).fold(0.0, f64::max);
        let mut laid = vec![0.0; spans.len()];
        let mut below_mm = 0.0;
        for (key, volume) in &self.volumes_mm3 {
            let z_mm = *key as f64 * self.step_mm;
            if z_mm > part_mm + 2.0 * thickest_mm {
                break;
            }
            share(spans, (below_mm, z_mm), *volume, &mut laid);
            below_mm = z_mm.max(below_mm);
        }
        let printed_mm = self.volumes_mm3.last_key_value();
        let printed_mm = printed_mm.map_or(0.0, |(key, _)| *key as f64 * self.step_mm);
        if (printed_mm - part_mm).abs() > 2.0 * thickest_mm {
            return Err(WeaveError::OtherHeight {
                printed_mm,
                part_mm,
            });
        }
        Ok(laid)
    }
}

/// Shares plastic between two heights among the layers there; below and above all of them it
/// goes to the nearest.
fn share(spans: &[LayerSpan], (low, high): (f64, f64), volume_mm3: f64, laid: &mut [f64]) {
    let first = spans.partition_point(|span| span.top_mm <= low + SAME_MM);
    let overlap = |span: &LayerSpan| span.top_mm.min(high) - span.bottom_mm.max(low);
    let touched = || {
        let spans = spans.iter().enumerate().skip(first);
        let reached = spans.take_while(|(_, span)| span.bottom_mm < high - SAME_MM);
        reached.map(|(i, span)| (i, overlap(span).max(0.0)))
    };
    let whole: f64 = touched().map(|(_, part)| part).sum();
    if whole > 0.0 {
        for (i, part) in touched() {
            if let Some(laid) = laid.get_mut(i) {
                *laid += volume_mm3 * part / whole;
            }
        }
        return;
    }
    let nearest = first.min(spans.len().saturating_sub(1));
    if let Some(laid) = laid.get_mut(nearest) {
        *laid += volume_mm3;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geometry::LayerPlan;
    use std::io::{Cursor, Read};

    fn laid(file: &str, height_mm: f64) -> Result<Vec<f64>, WeaveError> {
        let bytes = file.as_bytes().to_vec();
        let open =
            || -> std::io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(bytes.clone()))) };
        let source = Source::new(&open, file.len() as u64);
        let spans = LayerPlan::plain(0.2, 0.2).spans(height_mm).unwrap();
        plastic_by_layer(&source, Settings::default(), &spans, 1.75, &Progress::new())
    }

    #[test]
    fn plastic_lies_between_the_nozzle_and_the_layer_below() {
        // Layers of 0.2, 0.4 and 0.2 mm; a retraction is no plastic.
        let file = "M83\nG1 Z0.2 F600\nG1 X10 E1\nG1 Z0.6\nG1 X0 E4\nG1 E-1\nG1 X5\nG1 E1\nG1 Z0.8\nG1 X10 E3\n";
        let area = filament_area_mm2(1.75);
        let wanted = [1.0, 2.0, 2.0, 3.0].map(|mm| mm * area);
        for (found, wanted) in laid(file, 0.8).unwrap().iter().zip(wanted) {
            assert!((found - wanted).abs() < 1e-9, "{found} {wanted}");
        }
    }

    #[test]
    fn nothing_is_lost_of_a_spiral() {
        let mut file = String::from("M83\n");
        for i in 1..=1000 {
            file.push_str(&format!(
                "G1 X{} Z{:.4} E0.1\n",
                i % 7,
                f64::from(i) * 0.004
            ));
        }
        let found = laid(&file, 4.0).unwrap();
        let whole = 100.0 * filament_area_mm2(1.75);
        assert!((found.iter().sum::<f64>() - whole).abs() < 1e-9);
        assert!(
            found
                .iter()
                .all(|v| (v / (whole / 20.0) - 1.0).abs() < 0.05)
        );
    }

    #[test]
    fn a_toolpath_of_another_height_or_of_two_tools_is_refused() {
        let file = "M83\nG1 X10 Z0.2 E1\nG1 X0 Z9 E1\n";
        assert!(matches!(
            laid(file, 4.0),
            Err(WeaveError::OtherHeight { .. })
        ));
        let file = "M83\nG1 X10 Z0.2 E1\nG1 X0 Z0.4 E1\nT1\nG1 X0 Z0.4 E1\n";
        assert!(matches!(
            laid(file, 0.4),
            Err(WeaveError::Tools { line: 4 })
        ));
    }
}
