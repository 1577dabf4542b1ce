//! Regions: added, moved, joined; the edges of bands.

use blend::Shares;
use geometry::Mask;
use geometry::mask::Stroke;
use plan::{BrushStroke, Edit, Paint, Region};

use super::Session;
use crate::commands::Edge;

/// The least height of a band, mm: an edge dragged past the other stops there.
const LEAST_BAND_MM: f64 = 0.05;

/// Half the height of a band that is added about the layer cursor, as a share of the part's.
const NEW_BAND_SHARE: f64 = 0.06;

impl Session {
    /// Adds a region on top and chooses it.
    pub fn add_region(&mut self, name: &str, mask: Mask, paint: Paint) {
        let Some(doc) = &self.doc else { return };
        let at = doc.plan().regions.len();
        let region = Region::new(self.free_name(name), mask, paint);
        if self.edit(Edit::AddRegion { at, region }) {
            self.choose_region(at);
            self.tools.new_area = false;
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
            Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => *shares,
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

    pub(super) fn move_band_edge(&mut self, region: usize, edge: Edge, to_mm: f64, done: bool) {
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

    /// Moves a region in the list.
    pub fn move_region(&mut self, from: usize, to: usize) {
        if from != to && self.edit(Edit::MoveRegion { from, to }) {
            self.choose_region(to);
        }
    }

    pub(super) fn combine(&mut self, region: usize) {
        let Some(below) = region.checked_sub(1) else {
            return;
        };
        if self.edit(Edit::CombineRegions {
            from: region,
            into: below,
        }) {
            self.choose_region(below);
        }
    }

    /// The last stroke painted in a region, to measure a fade from.
    pub fn last_stroke(&self, region: usize) -> Option<Stroke> {
        let region = self.doc.as_ref()?.plan().regions.get(region)?;
        region.brush.iter().rev().find_map(|touch| match touch {
            BrushStroke::Paint(stroke) => Some(stroke.clone()),
            BrushStroke::Erase(_) => None,
        })
    }
}

/// Heights as a person would write them: to hundredths of a millimetre.
pub(super) fn rounded(height_mm: f64) -> f64 {
    (height_mm * 100.0).round() / 100.0
}
