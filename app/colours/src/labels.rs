//! Which of a list of colours is nearest, piece by piece.

use std::sync::Arc;

use blend::{Lab, Srgb, Weighting, ciede2000_by};
use geometry::mask::Nearness;
use geometry::pieces::{Finest, Labelled, NO_LABEL, smoothed};
use geometry::{Cancelled, Progress};
use rayon::prelude::*;

use crate::Sampled;

/// The factors of CIEDE2000 for a plan's word.
pub fn weighting(by: Nearness) -> Weighting {
    match by {
        Nearness::Difference => Weighting::default(),
        Nearness::Lightness => Weighting::LIGHTNESS,
    }
}

impl Sampled {
    /// The skin with each piece labelled by the place in a list of the colour that is nearest to
    /// most of its samples, smoothed to what is no finer than a detail. What has no colour has no
    /// label.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn labelled(
        &self,
        among: &[Lab],
        by: Nearness,
        finest: Finest,
        progress: &Progress,
    ) -> Result<Arc<Labelled>, Cancelled> {
        progress.stage("Sorting the model's colours");
        let mut labels = self.smooth_labels(&[among.to_vec()], by, finest, progress)?;
        let labels = labels.pop().unwrap_or_default();
        let labelled = Labelled::new(self.surface().clone(), self.pieces().clone(), labels);
        Ok(Arc::new(labelled))
    }

    /// The smoothed labels of the pieces for each of several lists.
    pub(crate) fn smooth_labels(
        &self,
        lists: &[Vec<Lab>],
        by: Nearness,
        finest: Finest,
        progress: &Progress,
    ) -> Result<Vec<Vec<u8>>, Cancelled> {
        let each = lists.iter();
        let labels = each
            .map(|among| self.raw_labels(among, weighting(by)))
            .collect();
        let mesh = self.surface().mesh();
        smoothed(labels, self.pieces(), self.links(), mesh, finest, progress)
    }

    fn raw_labels(&self, among: &[Lab], weighting: Weighting) -> Vec<u8> {
        let known = self.distinct().nearest(among, weighting);
        let label = |place: &u32| known.get(*place as usize).copied().unwrap_or(NO_LABEL);
        let of_piece = |piece| most(self.of_piece(piece).iter().map(label));
        (0..self.pieces().count())
            .into_par_iter()
            .map(of_piece)
            .collect()
    }
}

/// The label of most samples of a piece; the first counts where two have as many.
fn most(labels: impl Iterator<Item = u8>) -> u8 {
    let mut votes: [(u8, u8); 5] = [(NO_LABEL, 0); 5];
    let mut first = None;
    for label in labels {
        first = first.or(Some(label));
        let slot = votes.iter_mut().find(|(l, n)| *n == 0 || *l == label);
        if let Some(slot) = slot {
            *slot = (label, slot.1 + 1);
        }
    }
    let first = first.unwrap_or(NO_LABEL);
    let most = votes
        .iter()
        .max_by_key(|(l, n)| 2 * n + u8::from(*l == first));
    most.map_or(NO_LABEL, |(label, _)| *label)
}

/// Which of some places of a list has the colour that is nearest.
pub(crate) fn nearest_of(
    colour: Srgb,
    places: impl Iterator<Item = u8>,
    among: &[Lab],
    weighting: Weighting,
) -> Option<u8> {
    let lab = colour.to_xyz().to_lab();
    let off = |place: u8| {
        let one = among.get(usize::from(place))?;
        Some((place, ciede2000_by(lab, *one, weighting)))
    };
    let nearest = places.filter_map(off).min_by(|a, b| a.1.total_cmp(&b.1));
    nearest.map(|(place, _)| place)
}
