//! Changes to the plan: all of them go through the plan's own list of edits.

use blend::{Fade, Shares, Spacing, Spool, SpoolColour, Srgb, Stop};
use egui::Color32;
use geometry::mask::Stroke;
use geometry::{DVec3, Field, LayerPlan, Mask};
use plan::{Edit, Paint, Region, Touch};

use super::Session;
use crate::panels::ribbon::{self, Edge};
use crate::panels::widgets::colour32;
use crate::state::document::Document;

/// The least height of a band, mm: an edge dragged past the other stops there.
const LEAST_BAND_MM: f64 = 0.05;

/// The least distance between two stops, mm.
const LEAST_GAP_MM: f64 = 0.01;

/// Half the height of a band that is added about the layer cursor, as a share of the part's.
const NEW_BAND_SHARE: f64 = 0.06;

impl Session {
    /// Makes a change; a refusal is shown.
    pub fn edit(&mut self, edit: Edit) -> bool {
        let Some(doc) = &mut self.doc else {
            return false;
        };
        match doc.edit(edit) {
            Ok(()) => {
                self.refresh_model();
                self.notices.settle();
                self.keep_chosen_in_range();
                true
            }
            Err(why) => {
                self.notices.error(why.to_string());
                false
            }
        }
    }

    /// Takes the last change back.
    pub fn undo(&mut self) {
        self.hand.drop_begun();
        if let Some(name) = self.doc.as_mut().and_then(Document::undo) {
            self.notices.done(format!("Undone: {name}"));
        }
        self.keep_chosen_in_range();
    }

    /// Makes the change again that was taken back.
    pub fn redo(&mut self) {
        self.hand.drop_begun();
        if let Some(name) = self.doc.as_mut().and_then(Document::redo) {
            self.notices.done(format!("Done again: {name}"));
        }
        self.keep_chosen_in_range();
    }

    pub(super) fn keep_chosen_in_range(&mut self) {
        let regions = self.doc.as_ref().map_or(0, |d| d.plan().regions.len());
        let last = regions.checked_sub(1);
        self.chosen.region = match (self.chosen.region, last) {
            (Some(region), Some(last)) => Some(region.min(last)),
            (_, None) => None,
            (None, last) => last,
        };
        self.view.lift_region = self.view.lift_region.filter(|r| *r < regions);
        let stops = self.chosen_region().map_or(0, |r| match &r.paint {
            Paint::Fade { fade, .. } => fade.stops.len(),
            Paint::Fixed(_) => 0,
        });
        self.chosen.stop = self.chosen.stop.filter(|s| *s < stops);
        if let Some((region, _)) = &self.chosen.naming
            && *region >= regions
        {
            self.chosen.naming = None;
        }
        let components = self.doc.as_ref().map_or(0, |d| d.plan().spools.len());
        self.chosen.held.resize(components, false);
    }

    /// The chosen region.
    pub fn chosen_region(&self) -> Option<&Region> {
        let doc = self.doc.as_ref()?;
        doc.plan().regions.get(self.chosen.region?)
    }

    /// Chooses a region.
    pub fn choose_region(&mut self, region: usize) {
        if self.chosen.region != Some(region) {
            self.chosen.stop = None;
            self.chosen.naming = None;
        }
        self.chosen.region = Some(region);
        self.keep_chosen_in_range();
    }

    /// Adds a region on top and chooses it.
    pub fn add_region(&mut self, name: &str, mask: Mask, paint: Paint) {
        let Some(doc) = &self.doc else { return };
        let at = doc.plan().regions.len();
        let region = Region::new(self.free_name(name), mask, paint);
        if self.edit(Edit::AddRegion { at, region }) {
            self.choose_region(at);
            self.hand.new_area = false;
        }
    }

    /// A name that no region has yet: the given one, or the same with a number.
    pub fn free_name(&self, name: &str) -> String {
        let taken = |n: &str| {
            let regions = self.doc.iter().flat_map(|d| &d.plan().regions);
            regions.into_iter().any(|r| r.name == n)
        };
        if !taken(name) {
            return name.to_owned();
        }
        (2..)
            .map(|n| format!("{name} {n}"))
            .find(|n| !taken(n))
            .unwrap_or_default()
    }

    /// The blend that a new region gets: the spool that stands off most from the base.
    pub fn blend_for_new(&self) -> Shares {
        let Some(doc) = &self.doc else {
            return Shares::SINGLE;
        };
        let plan = doc.plan();
        let count = plan.spools.len();
        let Some(model) = self.model() else {
            return Shares::SINGLE;
        };
        let base = plan.regions.first().map(|r| match &r.paint {
            Paint::Fixed(shares) => *shares,
            Paint::Fade { fade, .. } => fade.stops.first().map_or(Shares::SINGLE, |s| s.shares),
        });
        let base = model.mix(&base.unwrap_or(Shares::SINGLE)).to_lab();
        (0..count)
            .filter_map(|c| Shares::pure(c, count))
            .max_by(|a, b| {
                let off = |s: &Shares| blend::ciede2000(model.mix(s).to_lab(), base);
                off(a).total_cmp(&off(b))
            })
            .unwrap_or(Shares::SINGLE)
    }

    /// Adds a band between two heights.
    pub fn add_band(&mut self, from_mm: f64, to_mm: f64) {
        let (from_mm, to_mm) = (rounded(from_mm.min(to_mm)), rounded(from_mm.max(to_mm)));
        if to_mm - from_mm < LEAST_BAND_MM {
            return;
        }
        let paint = Paint::Fixed(self.blend_for_new());
        self.add_region("Band", Mask::Band { from_mm, to_mm }, paint);
    }

    /// Adds a band about the layer cursor.
    pub fn add_band_at_cursor(&mut self) {
        let Some(doc) = &self.doc else { return };
        let (low, high) = doc.extent_mm();
        let half = ((high - low) * NEW_BAND_SHARE).max(doc.plan().layers.layer_mm);
        let middle = self
            .view
            .cursor_mm
            .clamp(low + half, (high - half).max(low + half));
        self.add_band(middle - half, middle + half);
    }

    /// Does what was done on the ribbon.
    pub fn on_ribbon(&mut self, event: ribbon::Event) {
        match event {
            ribbon::Event::Hover(height_mm) => self.view.hover_mm = Some(height_mm),
            ribbon::Event::Cursor(height_mm) => self.set_cursor_mm(height_mm),
            ribbon::Event::ChooseRegion(region) => self.choose_region(region),
            ribbon::Event::ChooseStop(stop) => self.chosen.stop = Some(stop),
            ribbon::Event::NewBand { from_mm, to_mm } => self.add_band(from_mm, to_mm),
            ribbon::Event::Slide(points) => {
                let by = f64::from(points) * self.view.camera.mm_per_point;
                self.view.camera.target_mm.z += by;
            }
            ribbon::Event::Zoom { at, factor } => {
                let stage = self.view.stage;
                self.view.camera.zoom(stage, at, factor);
            }
            ribbon::Event::BandEdge {
                region,
                edge,
                to_mm,
                done,
            } => self.move_band_edge(region, edge, to_mm, done),
            ribbon::Event::MoveStop {
                region,
                stop,
                to_mm,
                done,
            } => self.move_stop(region, stop, to_mm, done),
        }
    }

    /// Puts the layer cursor at a height within the part.
    pub fn set_cursor_mm(&mut self, height_mm: f64) {
        let Some(doc) = &self.doc else { return };
        let (low, high) = doc.extent_mm();
        if height_mm.is_finite() {
            self.view.cursor_mm = height_mm.clamp(low, high);
        }
    }

    /// Moves the layer cursor by layers, to the middle of one.
    pub fn step_cursor(&mut self, layers: i32) {
        let profile = self.profile();
        let Some(now) = profile.layer_near(self.view.cursor_mm) else {
            return;
        };
        let last = profile.rows.len() as i64 - 1;
        let to = (now as i64 + i64::from(layers)).clamp(0, last) as usize;
        if let Some(row) = profile.rows.get(to) {
            let middle = 0.5 * (row.bottom_mm + row.top_mm);
            self.set_cursor_mm(middle);
        }
    }

    fn move_band_edge(&mut self, region: usize, edge: Edge, to_mm: f64, done: bool) {
        let Some(doc) = &self.doc else { return };
        let Some(Mask::Band {
            from_mm,
            to_mm: top,
        }) = doc.plan().regions.get(region).map(|r| r.mask.clone())
        else {
            return;
        };
        let to_mm = rounded(to_mm);
        let mask = match edge {
            Edge::Bottom => Mask::Band {
                from_mm: to_mm.min(top - LEAST_BAND_MM),
                to_mm: top,
            },
            Edge::Top => Mask::Band {
                from_mm,
                to_mm: to_mm.max(from_mm + LEAST_BAND_MM),
            },
        };
        self.edit_dragged(Edit::SetMask { region, to: mask }, done);
    }

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
            Field::FromStroke(_) => (0.0, 0.5 * lo.distance(hi)),
        };
        (low, high.max(low + 1.0))
    }

    /// The fade of a region, if it has one.
    pub fn fade_of(&self, region: usize) -> Option<(Field, Fade)> {
        let region = self.doc.as_ref()?.plan().regions.get(region)?;
        match &region.paint {
            Paint::Fade { along, fade } => Some((along.clone(), fade.clone())),
            Paint::Fixed(_) => None,
        }
    }

    /// A change that belongs to a drag: all of one drag count as one step of undo.
    pub fn edit_dragged(&mut self, edit: Edit, done: bool) {
        let made = self.doc.as_mut().map(|doc| doc.edit_dragged(edit, done));
        match made {
            Some(Ok(())) => self.keep_chosen_in_range(),
            Some(Err(why)) => self.notices.error(why.to_string()),
            None => {}
        }
    }

    /// Turns the chosen region's blend into a fade over the heights that it covers.
    pub fn make_fade(&mut self) {
        let (Some(doc), Some(region)) = (&self.doc, self.chosen.region) else {
            return;
        };
        let Some(Paint::Fixed(shares)) = doc.plan().regions.get(region).map(|r| r.paint.clone())
        else {
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

    /// The blend that the blend editor works on: the region's, or its chosen stop's.
    pub fn blend_in_hand(&self) -> Option<Shares> {
        match &self.chosen_region()?.paint {
            Paint::Fixed(shares) => Some(*shares),
            Paint::Fade { fade, .. } => Some(fade.stops.get(self.chosen.stop?)?.shares),
        }
    }

    /// Sets the blend that the blend editor works on.
    pub fn set_blend_in_hand(&mut self, shares: Shares, done: bool) {
        let (Some(region), Some(chosen)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        let edit = match (&chosen.paint, self.chosen.stop) {
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

    /// Sets one component's share of the blend in hand. The others, except those held, make
    /// room in proportion.
    pub fn set_share(&mut self, component: usize, share: f64, done: bool) {
        let (Some(now), Some(doc)) = (self.blend_in_hand(), &self.doc) else {
            return;
        };
        let step = match self.free_shares {
            true => 0.0,
            false => doc.plan().machine.share_step,
        };
        let Some(mixed) = with_share(&now, component, share, &self.chosen.held) else {
            return;
        };
        let mixed = if step > 0.0 {
            mixed.snapped(step)
        } else {
            mixed
        };
        if mixed != now || done {
            self.set_blend_in_hand(mixed, done);
        }
    }

    /// Exchanges a spool.
    pub fn set_spool(&mut self, spool: usize, to: Spool, done: bool) {
        self.edit_dragged(Edit::SetSpool { spool, to }, done);
    }

    /// Adds a spool; no blend uses it yet.
    pub fn add_spool(&mut self) {
        let Some(doc) = &self.doc else { return };
        let at = doc.plan().spools.len();
        let grey = SpoolColour::Hex(Srgb([0x80, 0x80, 0x80]));
        let spool = Spool::new(format!("Spool {}", at + 1), grey);
        self.edit(Edit::AddSpool { at, spool });
    }

    /// Whether a spool can go: not the last one, and not while a blend uses it.
    pub fn can_remove_spool(&self, spool: usize) -> bool {
        let Some(doc) = &self.doc else { return false };
        let uses = |s: &Shares| s.as_slice().get(spool).is_some_and(|&share| share > 0.0);
        let used = |r: &Region| match &r.paint {
            Paint::Fixed(shares) => uses(shares),
            Paint::Fade { fade, .. } => fade.stops.iter().any(|s| uses(&s.shares)),
        };
        doc.plan().spools.len() > 1 && !doc.plan().regions.iter().any(used)
    }

    /// Takes a spool out.
    pub fn remove_spool(&mut self, spool: usize) {
        self.edit(Edit::RemoveSpool { spool });
    }

    /// The colour of a spool alone.
    pub fn spool_colour(&self, component: usize) -> Color32 {
        let spools = self.doc.as_ref().map(|d| &d.plan().spools.list);
        let spool = spools.and_then(|s| s.get(component));
        spool.map_or(Color32::GRAY, |s| colour32(s.xyz().to_srgb()))
    }

    /// Sets layers and the depth of colour.
    pub fn set_layers(&mut self, layers: LayerPlan, skin_mm: f64, done: bool) {
        let both = vec![Edit::SetLayers(layers), Edit::SetSkin(skin_mm)];
        self.edit_dragged(Edit::Together(both), done);
    }

    /// The last stroke painted in a region, to measure a fade from.
    pub fn last_stroke(&self, region: usize) -> Option<Stroke> {
        let region = self.doc.as_ref()?.plan().regions.get(region)?;
        region.brush.iter().rev().find_map(|touch| match touch {
            Touch::Paint(stroke) => Some(stroke.clone()),
            Touch::Erase(_) => None,
        })
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

/// Heights as a person would write them: to hundredths of a millimetre.
pub fn rounded(height_mm: f64) -> f64 {
    (height_mm * 100.0).round() / 100.0
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
