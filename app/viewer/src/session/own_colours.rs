//! The colours that a model has of its own: made into regions.

use plan::{Edit, Region};

use super::Session;
use crate::jobs::own_colours::{self, Order, OwnColours};
use crate::jobs::{Job, Outcome};
use crate::model::names::may_have_colours;

impl Session {
    /// Whether the open mesh's file is of a kind that may have colours.
    pub fn may_have_own_colours(&self) -> bool {
        let mesh = self
            .doc
            .as_ref()
            .and_then(|d| d.origin.mesh_file.as_deref());
        mesh.is_some_and(may_have_colours)
    }

    /// Makes regions of the model's own colours: so many, or as many as are worth it.
    pub(super) fn use_own_colours(&mut self, blends: Option<usize>) {
        let Some(doc) = &self.doc else { return };
        let Some(mesh_file) = doc.origin.mesh_file.clone() else {
            return;
        };
        let known = self.own_colours.as_ref();
        let order = Order {
            plan: doc.plan().clone(),
            plan_file: doc.origin.plan_file.clone(),
            mesh_file,
            blends,
            // The list that a number was chosen from is of the spools that it was made with.
            known: known.filter(|_| blends.is_some()).map(|o| o.chosen.clone()),
        };
        let job = Job::start("Regions of the model's colours", &self.waker, move |p| {
            own_colours::run(order, p)
        });
        self.own_colours.start(job);
    }

    pub(super) fn take_own_colours(&mut self, outcome: Outcome<OwnColours>) {
        match outcome {
            Outcome::Done(found) => {
                if self.put_regions(&found.regions) {
                    self.choose_region(0);
                    *self.own_colours = Some(found);
                }
            }
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => {}
        }
    }

    /// Puts regions in place of all that there are, in one step of undo.
    fn put_regions(&mut self, regions: &[Region]) -> bool {
        let (Some(doc), Some((base, others))) = (&self.doc, regions.split_first()) else {
            return false;
        };
        let before = doc.plan().regions.len();
        let guarded = doc
            .plan()
            .regions
            .iter()
            .enumerate()
            .filter(|(_, r)| r.locked);
        let mut edits: Vec<Edit> = guarded
            .map(|(region, _)| Edit::LockRegion {
                region,
                locked: false,
            })
            .collect();
        edits.extend(
            (1..before)
                .rev()
                .map(|region| Edit::RemoveRegion { region }),
        );
        edits.push(Edit::RenameRegion {
            region: 0,
            to: base.name.clone(),
        });
        edits.push(Edit::SetPaint {
            region: 0,
            to: base.paint.clone(),
        });
        edits.extend(
            others
                .iter()
                .enumerate()
                .map(|(i, region)| Edit::AddRegion {
                    at: i + 1,
                    region: region.clone(),
                }),
        );
        self.edit(Edit::Together(edits))
    }
}
