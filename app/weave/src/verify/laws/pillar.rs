//! Whether the purge block stands: from the bed, each layer on the one below.

use super::layers::Print;
use super::ways::SAME_HEIGHT_MM;

/// A layer may reach beyond the one below by so much, mm: half a usual line's width.
const OVER_MM: f64 = 0.25;

/// What is known of the block up to a height.
#[derive(Debug, Default)]
pub(super) struct Pillar {
    /// Its extent in the last layer: low and high corner, mm.
    below: Option<([f64; 2], [f64; 2])>,
    /// The lowest layer with plastic so far, mm.
    lowest_mm: Option<f64>,
    ended: bool,
}

impl Pillar {
    /// Adds a layer's new plastic; gives the law that it breaks, if any.
    pub(super) fn grow(&mut self, added: &[&Print], has_part: bool, top_mm: f64) -> Option<String> {
        let extent = extent(added);
        let fault = match (extent, self.below) {
            (Some(_), _) if self.ended => Some(format!(
                "the purge block continues at {top_mm:.3} mm above a layer without it"
            )),
            (Some(_), None) if self.lowest_mm.is_some_and(|l| l < top_mm - SAME_HEIGHT_MM) => Some(
                format!("the purge block begins at {top_mm:.3} mm, above a layer without it"),
            ),
            (Some(here), Some(below)) if reaches_over(here, below) => Some(format!(
                "the purge block reaches beyond its layer below at {top_mm:.3} mm"
            )),
            _ => None,
        };
        self.ended |= extent.is_none() && has_part && self.below.is_some();
        if has_part {
            let lowest_mm = self.lowest_mm.unwrap_or(top_mm);
            self.lowest_mm = Some(lowest_mm.min(top_mm));
        }
        self.below = extent.or(self.below);
        fault
    }
}

fn extent(added: &[&Print]) -> Option<([f64; 2], [f64; 2])> {
    let ends = added
        .iter()
        .flat_map(|print| [print.step.from, print.step.to]);
    ends.fold(None, |extent, [x, y, _]| {
        let (low, high) = extent.unwrap_or(([x, y], [x, y]));
        Some((
            [low[0].min(x), low[1].min(y)],
            [high[0].max(x), high[1].max(y)],
        ))
    })
}

fn reaches_over(here: ([f64; 2], [f64; 2]), below: ([f64; 2], [f64; 2])) -> bool {
    let ((low, high), (low_below, high_below)) = (here, below);
    let under = low.iter().zip(low_below).any(|(a, b)| *a < b - OVER_MM);
    let over = high.iter().zip(high_below).any(|(a, b)| *a > b + OVER_MM);
    under || over
}
