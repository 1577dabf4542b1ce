//! The plan's named blends: picked from a place, given to regions, renamed and taken out.

use blend::Shares;
use emath::Pos2;
use plan::{Edit, NamedBlend, Paint};

use super::Session;
use crate::model::view::Look;

impl Session {
    /// The plan's named blends.
    pub fn named_blends(&self) -> &[NamedBlend] {
        self.doc.as_ref().map_or(&[], |doc| &doc.plan().blends)
    }

    /// Stores the blend of a place on the part.
    pub(super) fn pick_blend(&mut self, at: Pos2) {
        let (Some(hit), Some(painted)) = (self.coloured_from(at), self.painted.clone()) else {
            return;
        };
        let requested = painted.shares_at(hit);
        let height_mm = hit.point_mm.z;
        let dose = self
            .summary
            .schedule
            .as_ref()
            .and_then(|s| s.dose_at(&painted, hit));
        self.store_blend(requested, dose, height_mm);
    }

    /// Stores the blend of a layer's dose on the ribbon.
    pub(super) fn pick_on_ribbon(&mut self, layer: usize, dose: usize, height_mm: f64) {
        let schedule = self.summary.schedule.as_ref();
        let found = schedule.and_then(|s| s.layers.get(layer)?.doses.get(dose));
        let Some(requested) = found.map(|dose| dose.shares) else {
            return;
        };
        self.store_blend(requested, Some((layer, dose)), height_mm);
    }

    /// Stores a blend under a free name: the one requested or, where the part is seen as
    /// printed, the one whose colour is nearest to what comes out.
    fn store_blend(&mut self, requested: Shares, dose: Option<(usize, usize)>, height_mm: f64) {
        let printed = (self.view.look == Look::Printed).then_some(dose).flatten();
        let printed =
            printed.and_then(|(layer, dose)| self.printed.colour(Look::Printed, layer, dose));
        let (shares, how) = match (printed, self.model(), self.limits()) {
            (Some(colour), Some(model), Some(limits)) => {
                let lab = blend::Xyz::from_srgb(colour).to_lab();
                let found = blend::closest(model.as_ref(), lab, limits);
                (found.shares, "as printed")
            }
            _ => (requested, "requested"),
        };
        let name = self.free_blend_name();
        let mut blends = self.named_blends().to_vec();
        blends.push(NamedBlend {
            name: name.clone(),
            shares,
        });
        if self.edit(Edit::SetBlends(blends)) {
            self.notices.done(format!(
                "The blend {how} at {height_mm:.1} mm, {shares}, is stored as '{name}'"
            ));
        }
    }

    fn free_blend_name(&self) -> String {
        let taken = |name: &str| self.named_blends().iter().any(|b| b.name == name);
        (1..)
            .map(|n| format!("Blend {n}"))
            .find(|name| !taken(name))
            .unwrap_or_default()
    }

    /// The named blends with one of them changed.
    pub(super) fn with_blend(&self, name: &str, shares: Shares) -> Option<Vec<NamedBlend>> {
        let mut blends = self.named_blends().to_vec();
        blends.iter_mut().find(|b| b.name == name)?.shares = shares;
        Some(blends)
    }

    /// Gives the chosen region a named blend.
    pub(super) fn use_blend(&mut self, name: &str) {
        let found = self.named_blends().iter().find(|b| b.name == name).cloned();
        let (Some(named), Some(region)) = (found, self.chosen.region) else {
            return;
        };
        let to = Paint::Blend(named);
        self.edit(Edit::SetPaint { region, to });
    }

    /// Stores the blend that is edited under a name, and lets the region have it.
    pub(super) fn name_blend(&mut self) {
        let (Some(shares), Some(region)) = (self.edited_blend(), self.chosen.region) else {
            return;
        };
        let name = self.free_blend_name();
        let named = NamedBlend { name, shares };
        let mut blends = self.named_blends().to_vec();
        blends.push(named.clone());
        let mut edits = vec![Edit::SetBlends(blends)];
        let fixed = self
            .chosen_region()
            .is_some_and(|r| r.paint.one_blend().is_some());
        if fixed {
            let to = Paint::Blend(named);
            edits.push(Edit::SetPaint { region, to });
        }
        self.edit(Edit::Together(edits));
    }

    /// Gives a named blend another name.
    pub(super) fn rename_blend(&mut self, from: String, to: String) {
        let to = to.trim().to_owned();
        if !to.is_empty() && to != from {
            self.edit(Edit::RenameBlend { from, to });
        }
    }

    /// Takes a named blend out; regions that have it keep its shares.
    pub(super) fn drop_blend(&mut self, name: &str) {
        let Some(doc) = &self.doc else { return };
        let regions = doc.plan().regions.iter().enumerate();
        let freed = regions.filter_map(|(region, r)| match &r.paint {
            Paint::Blend(named) if named.name == name => Some(Edit::SetPaint {
                region,
                to: Paint::Fixed(named.shares),
            }),
            _ => None,
        });
        let mut edits: Vec<Edit> = freed.collect();
        let kept = self.named_blends().iter().filter(|b| b.name != name);
        edits.push(Edit::SetBlends(kept.cloned().collect()));
        self.edit(Edit::Together(edits));
    }

    /// Lets the chosen region have its blend for itself.
    pub(super) fn own_blend(&mut self) {
        let paint = self.chosen_region().map(|r| &r.paint);
        let (Some(&shares), Some(region)) = (paint.and_then(Paint::one_blend), self.chosen.region)
        else {
            return;
        };
        let to = Paint::Fixed(shares);
        self.edit(Edit::SetPaint { region, to });
    }
}
