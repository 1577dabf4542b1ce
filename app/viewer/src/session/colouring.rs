//! The colours of the stage: the mixing model, the plan laid on the part, the table of colours.

use std::sync::Arc;

use blend::{MixModel, Ramp, Shares, Srgb};
use plan::Paint;

use super::Session;
use super::coloured::{GREY, Mixing};
use crate::jobs::dirty::{self, Scope};
use crate::jobs::repaint::{self, Repainted};
use crate::jobs::{Job, Outcome, colours};
use crate::model::skin::{PrintRows, RampRow, RampTable, SkinUpdate};

impl Session {
    /// Makes the mixing model anew when the spools have changed.
    pub(super) fn refresh_model(&mut self) {
        let Some(doc) = &self.doc else {
            self.colouring.mixing = None;
            return;
        };
        let (spools, wall) = (&doc.plan().spools, doc.plan().wall);
        let known = |m: &Mixing| m.spools == *spools && m.wall == wall;
        if !self.colouring.mixing.as_ref().is_some_and(known) {
            self.colouring.mixing = Some(Mixing {
                spools: spools.clone(),
                wall,
                model: doc.plan().model(),
                closest: None,
            });
            self.colouring.row_paints.clear();
        }
    }

    /// The mixing model of the open plan.
    pub fn model(&self) -> Option<Arc<dyn MixModel>> {
        self.colouring.mixing.as_ref().map(|m| m.model.clone())
    }

    pub(super) fn take_repainted(&mut self, outcome: Outcome<Repainted>) {
        let done = match outcome {
            Outcome::Done(done) => done,
            Outcome::Cancelled => {
                self.colouring.ordered_plan = None;
                return;
            }
            Outcome::Failed(why) => {
                // Not tried again until something changes.
                self.colouring.drawn = self.doc.as_ref().map(|d| d.revision());
                self.notices.error(why);
                return;
            }
        };
        let work = &mut self.colouring;
        work.drawn = Some(done.revision);
        work.drawn_plan = work.ordered_plan.take();
        work.redraw_all = false;
        self.painted = Some(done.painted);
        if done.scope == Scope::All {
            self.begin_rows_anew();
            // Its rows of the table are those of before.
            self.drop_face();
        }
        // The colours go first, so that no piece is ever drawn with rows that aren't there.
        // Equal areas are known only now.
        self.colouring.coloured = None;
        self.colouring.row_paints.clear();
        self.colour_at_once();
        let first = self.colouring.first_row as u32;
        for (index, mut mesh) in done.pieces {
            mesh.region.iter_mut().for_each(|r| *r += first);
            self.skin_updates.push_back(SkinUpdate::Piece(index, mesh));
        }
        self.part_is_redrawn();
    }

    /// All pieces will be replaced, one after another: until then the old ones must keep
    /// their colours, so the new regions get other rows of the table.
    fn begin_rows_anew(&mut self) {
        let work = &mut self.colouring;
        let count = work.drawn_plan.as_ref().map_or(0, |p| p.regions.len());
        let old_end = work.table.len();
        work.first_row = match work.first_row >= count {
            true => 0,
            false => old_end,
        };
        if let Some(skin) = &work.skin
            && work.drawn_plan.is_some()
            && old_end == 0
        {
            let pieces = SkinUpdate::Pieces(skin.pieces.len());
            self.skin_updates.push_back(pieces);
        }
    }

    /// Sends the table of colours when the plan's colours have changed, before the part is
    /// drawn anew: a blend that is dragged shows at once, whatever the mesh.
    pub(super) fn colour_at_once(&mut self) {
        let Some(doc) = &self.doc else { return };
        let state = (
            doc.revision(),
            self.view.look,
            self.print_in_sight().is_some(),
        );
        if self.colouring.coloured == Some(state) {
            return;
        }
        let relit = self.colouring.coloured.map(|c| (c.1, c.2)) != Some((state.1, state.2));
        let Some(drawn) = &self.colouring.drawn_plan else {
            return;
        };
        let plan = doc.plan();
        let Some(model) = self.model() else { return };
        // Regions that have come since have no pieces yet; those that have gone keep theirs.
        let paints: Vec<Paint> = drawn
            .regions
            .iter()
            .enumerate()
            .map(|(index, was)| {
                let now = plan.regions.get(index);
                let same = now.filter(|r| r.mask == was.mask && r.brush == was.brush);
                same.unwrap_or(was).paint.clone()
            })
            .collect();
        let known = |index: usize, paint: &Paint| {
            let same = self.colouring.row_paints.get(index) == Some(paint);
            let row = self.colouring.table.get(self.colouring.first_row + index);
            row.filter(|_| same).cloned()
        };
        let rows: Vec<RampRow> = paints
            .iter()
            .enumerate()
            .map(|(index, paint)| {
                known(index, paint).unwrap_or_else(|| self.row_of(index, paint, model.as_ref()))
            })
            .collect();
        self.colouring.row_paints = paints;
        let first = self.colouring.first_row;
        let table = &mut self.colouring.table;
        if table.len() < first + rows.len() {
            table.resize(first + rows.len(), RampRow::plain([0.5; 3]));
        }
        let mut changed = relit;
        for (slot, row) in table.iter_mut().skip(first).zip(rows) {
            changed |= *slot != row;
            *slot = row;
        }
        self.colouring.coloured = Some(state);
        if changed {
            let rows = self.rows_shown();
            self.skin_updates
                .retain(|u| !matches!(u, SkinUpdate::Ramps(_)));
            self.skin_updates
                .push_front(SkinUpdate::Ramps(RampTable { rows }));
        }
    }

    /// The table, with the colours as printed behind it if these are shown.
    fn rows_shown(&self) -> Vec<RampRow> {
        let mut rows = self.colouring.table.clone();
        let Some(printed) = self.print_in_sight() else {
            return rows;
        };
        for (region, stretches) in printed.regions.iter().enumerate() {
            let first = rows.len();
            let Some(row) = rows.get_mut(self.colouring.first_row + region) else {
                break;
            };
            row.printed = Some(PrintRows {
                first,
                count: stretches.len(),
            });
            let look = self.view.look;
            rows.extend(stretches.iter().map(|s| s.row(look)));
        }
        rows
    }

    fn row_of(&self, region: usize, paint: &Paint, model: &dyn MixModel) -> RampRow {
        match paint {
            Paint::Fixed(shares) | Paint::Blend(plan::NamedBlend { shares, .. }) => {
                RampRow::plain(colours::linear(shares, model))
            }
            Paint::Fade { .. } => match self.ramp_for(region, paint, model) {
                Some(ramp) => colours::of_ramp(&ramp, model),
                None => RampRow::plain([0.5; 3]),
            },
        }
    }

    /// The ramp of a region's fade as it is now.
    pub fn ramp_of(&self, region: usize) -> Option<Ramp> {
        let plan = self.doc.as_ref()?.plan();
        let paint = &plan.regions.get(region)?.paint;
        self.ramp_for(region, paint, self.model()?.as_ref())
    }

    /// The ramp that is laid on the part, if the paint is still the same; otherwise one made
    /// now, in which equal areas are not known until the plan has been laid on the part.
    fn ramp_for(&self, region: usize, paint: &Paint, model: &dyn MixModel) -> Option<Ramp> {
        let Paint::Fade { fade, .. } = paint else {
            return None;
        };
        let laid = self.painted.as_ref().filter(|painted| {
            let plan = painted.plan();
            let now = self.doc.as_ref().map(|d| (&d.plan().spools, d.plan().wall));
            let same = plan.regions.get(region).map(|r| &r.paint) == Some(paint);
            same && now == Some((&plan.spools, plan.wall))
        });
        match laid.and_then(|painted| painted.ramp(region)) {
            Some(ramp) => Some(ramp.clone()),
            None => Some(Ramp::new(fade, model, None)),
        }
    }

    pub(super) fn start_repaint(&mut self) {
        let (Some(doc), Some(skin), Some(model)) = (&self.doc, &self.colouring.skin, self.model())
        else {
            return;
        };
        let revision = doc.revision();
        let work = &self.colouring;
        if work.repaint.is_some() || (work.drawn == Some(revision) && !work.redraw_all) {
            return;
        }
        // While a stroke is drawn, what is laid over the part shows it.
        if self.tools.gesture.is_some() && !work.redraw_all {
            return;
        }
        let scope = match (&work.drawn_plan, work.redraw_all) {
            (Some(drawn), false) => dirty::scope(drawn, doc.plan(), skin),
            _ => Scope::All,
        };
        let order = repaint::Order {
            revision,
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            before: self.painted.clone(),
            skin: skin.clone(),
            model,
            scope,
        };
        self.colouring.ordered_plan = Some(doc.plan().clone());
        let job = Job::start("Colouring the part", &self.waker, move |p| {
            repaint::run(order, p)
        });
        self.colouring.repaint = Some(job);
    }

    /// The colour of a blend of the open plan's spools.
    pub fn colour_of(&self, shares: &Shares) -> Srgb {
        match &self.colouring.mixing {
            Some(mixing) => mixing.model.mix(shares).to_srgb(),
            None => GREY,
        }
    }
}
