//! Fades: their stops, and what they run along.

use blend::{Fade, Shares, Spacing, Stop};
use geometry::{DVec3, Field};
use plan::{Edit, Paint};

use super::Session;
use super::regions::rounded;

/// The least distance between two stops, mm.
const LEAST_GAP_MM: f64 = 0.01;

impl Session {
    /// Moves a stop of a fade, no further than its neighbours.
    pub fn move_stop(&mut self, region: usize, stop: usize, to_mm: f64, done: bool) {
        let Some((_, fade)) = self.fade_of(region) else {
            return;
        };
        let before = stop.checked_sub(1).and_then(|i| fade.stops.get(i));
        let low = before.map_or(f64::NEG_INFINITY, |s| s.at_mm + LEAST_GAP_MM);
        let after = fade.stops.get(stop + 1);
        let high = after.map_or(f64::INFINITY, |s| s.at_mm - LEAST_GAP_MM);
        if low <= high && to_mm.is_finite() {
            let at_mm = rounded(to_mm).clamp(low, high);
            self.edit_dragged(
                Edit::MoveStop {
                    region,
                    stop,
                    at_mm,
                },
                done,
            );
        }
    }

    /// Adds a stop halfway between the chosen one and the next, with the blend that the fade
    /// has there.
    pub fn add_stop(&mut self, region: usize) {
        let Some((_, fade)) = self.fade_of(region) else {
            return;
        };
        let last_pair = fade.stops.len().saturating_sub(2);
        let after = self.chosen.stop.unwrap_or(0).min(last_pair);
        let (Some(one), Some(other)) = (fade.stops.get(after), fade.stops.get(after + 1)) else {
            return;
        };
        let at_mm = rounded(0.5 * (one.at_mm + other.at_mm));
        let even = one.shares.toward(&other.shares, 0.5);
        let shares = self.ramp_of(region).map_or(even, |ramp| ramp.at(at_mm));
        let stop = Stop { at_mm, shares };
        if self.edit(Edit::AddStop { region, stop }) {
            self.chosen.stop = Some(after + 1);
        }
    }

    /// Takes a stop out of a fade.
    pub fn remove_stop(&mut self, region: usize, stop: usize) {
        self.edit(Edit::RemoveStop { region, stop });
    }

    /// Sets what a region's fade runs along; its stops are spread over that measure anew.
    pub fn set_along(&mut self, region: usize, along: Field) {
        let Some((_, mut fade)) = self.fade_of(region) else {
            return;
        };
        let (low, high) = self.extent_along(&along);
        let last = fade.stops.len().saturating_sub(1).max(1) as f64;
        for (i, stop) in fade.stops.iter_mut().enumerate() {
            stop.at_mm = rounded(low + (high - low) * i as f64 / last);
        }
        let to = Paint::Fade { along, fade };
        self.edit(Edit::SetPaint { region, to });
    }

    /// Changes the numbers of what a fade runs along; the stops stay.
    pub fn set_along_dragged(&mut self, region: usize, along: Field, done: bool) {
        if let Some((_, fade)) = self.fade_of(region) {
            let to = Paint::Fade { along, fade };
            self.edit_dragged(Edit::SetPaint { region, to }, done);
        }
    }

    /// Between which values a measure runs over the part, mm, from the box around it.
    fn extent_along(&self, along: &Field) -> (f64, f64) {
        let Some(doc) = &self.doc else {
            return (0.0, 1.0);
        };
        let (lo, hi) = doc.bounds_mm;
        let corners = (0..8).map(|i: u32| {
            let pick = |bit: u32, lo: f64, hi: f64| if i >> bit & 1 == 0 { lo } else { hi };
            DVec3::new(
                pick(0, lo.x, hi.x),
                pick(1, lo.y, hi.y),
                pick(2, lo.z, hi.z),
            )
        });
        let (low, high) = match along {
            Field::Height => (lo.z, hi.z),
            Field::Direction(d) => {
                let d = d.normalize_or_zero();
                corners.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), c| {
                    (a.min(c.dot(d)), b.max(c.dot(d)))
                })
            }
            Field::FromPoint(p) => (0.0, corners.map(|c| c.distance(*p)).fold(0.0, f64::max)),
            Field::Picture(_) => (0.0, 100.0),
            Field::FromStroke(_) => (0.0, 0.5 * lo.distance(hi)),
        };
        (low, high.max(low + 1.0))
    }

    /// The fade of a region, if it has one.
    pub fn fade_of(&self, region: usize) -> Option<(Field, Fade)> {
        let region = self.doc.as_ref()?.plan().regions.get(region)?;
        match &region.paint {
            Paint::Fade { along, fade } => Some((along.clone(), fade.clone())),
            Paint::Fixed(_) | Paint::Blend(_) => None,
        }
    }

    /// Turns the chosen region's blend into a fade over the heights that it covers.
    pub fn make_fade(&mut self) {
        let (Some(doc), Some(region)) = (&self.doc, self.chosen.region) else {
            return;
        };
        let paint = doc.plan().regions.get(region).map(|r| &r.paint);
        let Some(&shares) = paint.and_then(Paint::one_blend) else {
            return;
        };
        let extent = self.profile().extent_mm(region).unwrap_or(doc.extent_mm());
        let count = doc.plan().spools.len();
        let Some(model) = self.model() else { return };
        let here = model.mix(&shares).to_lab();
        let other = (0..count)
            .filter_map(|c| Shares::pure(c, count))
            .max_by(|a, b| {
                let off = |s: &Shares| blend::ciede2000(model.mix(s).to_lab(), here);
                off(a).total_cmp(&off(b))
            })
            .unwrap_or(shares);
        let stops = vec![
            Stop {
                at_mm: rounded(extent.0),
                shares,
            },
            Stop {
                at_mm: rounded(extent.1.max(extent.0 + 1.0)),
                shares: other,
            },
        ];
        let fade = Fade {
            stops,
            spacing: Spacing::Linear,
        };
        let to = Paint::Fade {
            along: Field::Height,
            fade,
        };
        if self.edit(Edit::SetPaint { region, to }) {
            self.chosen.stop = Some(1);
        }
    }

    /// Turns the chosen region's fade into the blend of its chosen stop, or of its first.
    pub fn make_fixed(&mut self) {
        let Some(region) = self.chosen.region else {
            return;
        };
        let Some((_, fade)) = self.fade_of(region) else {
            return;
        };
        let stop = self.chosen.stop.unwrap_or(0);
        if let Some(stop) = fade.stops.get(stop).or(fade.stops.first()) {
            let to = Paint::Fixed(stop.shares);
            self.edit(Edit::SetPaint { region, to });
        }
    }
}
