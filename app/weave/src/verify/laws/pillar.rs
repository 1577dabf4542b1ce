//! Whether each purge block stands: from the bed, each layer on the one below, all in one go.

use super::layers::Print;
use super::ways::SAME_HEIGHT_MM;

/// A layer may reach beyond the one below by so much, mm: half a usual line's width.
const OVER_MM: f64 = 0.25;

/// What is known of the blocks up to a height.
#[derive(Debug, Default)]
pub(super) struct Pillars {
    each: Vec<Pillar>,
    /// The lowest layer with plastic since the print came down, mm.
    lowest_mm: Option<f64>,
    last_mm: f64,
}

/// What is known of one block.
#[derive(Debug, Default)]
struct Pillar {
    /// Its extent in the last layer: low and high corner, mm.
    below: Option<([f64; 2], [f64; 2])>,
    ended: bool,
}

impl Pillars {
    /// Adds a layer's new plastic, each piece with the number of its block; gives the law that is
    /// broken, if any.
    pub(super) fn grow(
        &mut self,
        added: &[(usize, &Print)],
        has_part: bool,
        top_mm: f64,
    ) -> Option<String> {
        if has_part && top_mm < self.last_mm - SAME_HEIGHT_MM {
            // Another copy: what stands is grown no further.
            for pillar in &mut self.each {
                pillar.ended |= pillar.below.is_some();
            }
            self.lowest_mm = None;
        }
        let count = added.iter().map(|(block, _)| block + 1).max().unwrap_or(0);
        if self.each.len() < count {
            self.each.resize_with(count, Pillar::default);
        }
        let lowest_mm = self.lowest_mm;
        let faults = self.each.iter_mut().enumerate().map(|(block, pillar)| {
            let own = added.iter().filter(|(of, _)| *of == block);
            let own: Vec<&Print> = own.map(|(_, print)| *print).collect();
            pillar.grow(&own, has_part, (lowest_mm, top_mm))
        });
        // Each of them grows, whatever is wrong with the others.
        let fault = faults.collect::<Vec<_>>().into_iter().flatten().next();
        if has_part {
            self.lowest_mm = Some(lowest_mm.unwrap_or(top_mm).min(top_mm));
            self.last_mm = top_mm;
        }
        fault
    }
}

impl Pillar {
    fn grow(
        &mut self,
        added: &[&Print],
        has_part: bool,
        (lowest_mm, top_mm): (Option<f64>, f64),
    ) -> Option<String> {
        let extent = extent(added);
        let fault = match (extent, self.below) {
            (Some(_), _) if self.ended => Some(format!(
                "the purge block continues at {top_mm:.3} mm above a layer without it"
            )),
            (Some(_), None) if lowest_mm.is_some_and(|l| l < top_mm - SAME_HEIGHT_MM) => Some(
                format!("the purge block begins at {top_mm:.3} mm, above a layer without it"),
            ),
            (Some(here), Some(below)) if reaches_over(here, below) => Some(format!(
                "the purge block reaches beyond its layer below at {top_mm:.3} mm"
            )),
            _ => None,
        };
        self.ended |= extent.is_none() && has_part && self.below.is_some();
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
