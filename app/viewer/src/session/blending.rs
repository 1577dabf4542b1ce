//! The blend that is edited: its shares, and the blend closest to a colour.

use blend::reach::Match;
use blend::{ShareLimits, Shares, Xyz};
use plan::{Edit, Paint};

use super::Session;
use crate::model::page::Drawer;

impl Session {
    /// The blend that the blend editor works on: the region's, or its chosen stop's.
    pub fn edited_blend(&self) -> Option<Shares> {
        match &self.chosen_region()?.paint {
            Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => Some(*shares),
            Paint::Fade { fade, .. } => Some(fade.stops.get(self.chosen.stop?)?.shares),
        }
    }

    /// Sets the blend that the blend editor works on.
    pub fn set_edited_blend(&mut self, shares: Shares, done: bool) {
        let (Some(region), Some(chosen)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        let edit = match (&chosen.paint, self.chosen.stop) {
            // All regions that have this blend change with it.
            (Paint::Blend(named), _) => match self.with_blend(&named.name, shares) {
                Some(blends) => Edit::SetBlends(blends),
                None => return,
            },
            (Paint::Fixed(_), _) => Edit::SetPaint {
                region,
                to: Paint::Fixed(shares),
            },
            (Paint::Fade { .. }, Some(stop)) => Edit::SetStopShares {
                region,
                stop,
                shares,
            },
            (Paint::Fade { .. }, None) => return,
        };
        self.edit_dragged(edit, done);
    }

    /// Sets one component's share of the edited blend. The others, except those held, make
    /// room in proportion.
    pub fn set_share(&mut self, component: usize, share: f64, done: bool) {
        let (Some(now), Some(doc)) = (self.edited_blend(), &self.doc) else {
            return;
        };
        let step = match self.free_shares {
            true => 0.0,
            false => doc.plan().machine.share_step,
        };
        let Some(mixed) = with_share(&now, component, share, &self.chosen.held) else {
            return;
        };
        let mixed = match step > 0.0 {
            true => mixed.snapped(step),
            false => mixed,
        };
        self.set_edited_blend(mixed, done);
    }

    pub(super) fn limits(&self) -> Option<ShareLimits> {
        let machine = &self.doc.as_ref()?.plan().machine;
        Some(ShareLimits {
            share_step: machine.share_step,
            least_share: machine.least_share,
        })
    }

    /// Looks for the blend closest to the wanted colour when that, the spools or the machine
    /// have changed, and its place in the drawer is seen.
    pub(super) fn refresh_closest(&mut self) {
        let (wanted, limits) = (self.wanted.colour, self.limits());
        let seen = self.drawer == Drawer::Colour;
        let (Some(limits), Some(mixing)) = (limits, &mut self.colouring.mixing) else {
            return;
        };
        let known = |(colour, with, _): &(_, ShareLimits, _)| *colour == wanted && *with == limits;
        if seen && !mixing.closest.as_ref().is_some_and(known) {
            let lab = Xyz::from_srgb(wanted).to_lab();
            let found = blend::closest(mixing.model.as_ref(), lab, limits);
            mixing.closest = Some((wanted, limits, found));
        }
    }

    /// The blend that comes closest to the wanted colour, as far as the machine can feed it.
    pub fn closest_blend(&self) -> Option<Match> {
        let (colour, _, found) = self.colouring.mixing.as_ref()?.closest.as_ref()?;
        (*colour == self.wanted.colour).then_some(*found)
    }
}

/// A blend with one component's share set, and the others in proportion, except those held.
/// `None` when all others are held.
fn with_share(now: &Shares, component: usize, share: f64, held: &[bool]) -> Option<Shares> {
    let is_free = |i: usize| i != component && !held.get(i).copied().unwrap_or_default();
    let mut shares = now.as_slice().to_vec();
    let others: Vec<usize> = (0..shares.len()).filter(|&i| is_free(i)).collect();
    let kept: f64 = (0..shares.len())
        .filter(|&i| i != component && !is_free(i))
        .map(|i| shares[i])
        .sum();
    let share = share.clamp(0.0, (1.0 - kept).max(0.0));
    let left = (1.0 - kept - share).max(0.0);
    let before: f64 = others.iter().map(|&i| shares[i]).sum();
    if others.is_empty() {
        return None;
    }
    for &i in &others {
        shares[i] = match before > 0.0 {
            true => shares[i] / before * left,
            false => left / others.len() as f64,
        };
    }
    *shares.get_mut(component)? = share;
    Shares::from_weights(&shares).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shares(list: &[f64]) -> Shares {
        Shares::new(list).expect("shares")
    }

    #[test]
    fn the_other_shares_make_room_in_proportion() {
        let now = shares(&[0.5, 0.3, 0.2]);
        let set = with_share(&now, 0, 0.75, &[false; 3]).expect("set");
        let expected = [0.75, 0.15, 0.10];
        for (a, b) in set.as_slice().iter().zip(expected) {
            assert!((a - b).abs() < 1e-12, "{set:?}");
        }
    }

    #[test]
    fn held_shares_stay() {
        let now = shares(&[0.5, 0.3, 0.2]);
        let set = with_share(&now, 0, 0.9, &[false, true, false]).expect("set");
        assert!((set.as_slice()[1] - 0.3).abs() < 1e-12);
        assert!(
            (set.as_slice()[0] - 0.7).abs() < 1e-12,
            "no more than is left"
        );
        assert_eq!(with_share(&now, 0, 0.9, &[false, true, true]), None);
    }

    #[test]
    fn shares_come_back_from_nothing() {
        let now = shares(&[1.0, 0.0, 0.0]);
        let set = with_share(&now, 0, 0.4, &[]).expect("set");
        assert!((set.as_slice()[1] - 0.3).abs() < 1e-12);
    }
}
