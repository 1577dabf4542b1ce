//! The purge blocks on the stage: as tried or compared before weaving, as woven, and as a file that
//! is followed declares them. Nothing here is pointed at or painted: that looks at the part alone.

use std::sync::Arc;

use geometry::DVec3;
use weave::compare::Means;
use weave::standing_blocks::StandingBlocks;

use super::Session;
use super::toolpath::DrawnBlocks;
use crate::model::page::Drawer;
use crate::model::purge_blocks;
use crate::model::strands::StrandUpdate;

impl Session {
    /// The purge blocks that are in sight: those of the file that is followed, or on the page
    /// *Weave* those that belong to what stands there. `None` while nothing was tried.
    pub fn purge_blocks(&self) -> Option<&Arc<StandingBlocks>> {
        self.doc.as_ref()?;
        if let Some(follow) = &self.toolpath.follow {
            let rooms = follow.opened.blocks.as_ref()?;
            let done = self.toolpath.done.as_ref();
            let ours = done.filter(|done| done.file == follow.file());
            // What was planned is known in more detail than what the file says.
            let planned = ours.and_then(|done| done.blocks.as_ref());
            return planned.filter(|blocks| blocks.fits(rooms)).or(Some(rooms));
        }
        (self.drawer == Drawer::Weave)
            .then(|| self.blocks_as_it_stands())
            .flatten()
    }

    /// The blocks that the options on the page lead to, as far as that was tried.
    fn blocks_as_it_stands(&self) -> Option<&Arc<StandingBlocks>> {
        if let Some(found) = self.foreseen_now() {
            return found.blocks.as_ref();
        }
        let arrange = self.toolpath.draft.arrange();
        if let Some(found) = self.compared_now() {
            let with_them = Means::Options(arrange.clone());
            let mut ways = found.comparison.ways.iter();
            if let Some(way) = ways.find(|way| way.means == with_them) {
                return way.blocks.as_ref();
            }
        }
        let question = self.toolpath_question()?;
        let done = self.toolpath.done.as_ref()?;
        let same = done.revision == question.revision
            && done.sliced == question.sliced
            && done.reading == question.reading
            && done.arrange == arrange;
        done.blocks.as_ref().filter(|_| same)
    }

    /// The box about all that stands on the plate, mm; none without a part.
    pub(super) fn standing_mm(&self) -> Option<(DVec3, DVec3)> {
        let (lo, hi) = self.doc.as_ref()?.bounds_mm;
        Some(match self.purge_blocks() {
            Some(blocks) => {
                let (low, high) = purge_blocks::bounds_mm(blocks);
                (lo.min(low), hi.max(high))
            }
            None => (lo, hi),
        })
    }

    /// Sends the blocks to the stage when they change. A part that was fitted is fitted together
    /// with blocks that come into sight.
    pub(super) fn show_purge_blocks(&mut self) {
        let cut_mm = self.cut_height_mm();
        let wanted = self.purge_blocks().map(|blocks| DrawnBlocks {
            blocks: Arc::clone(blocks),
            cut_mm,
        });
        let (same_blocks, same_cut) = match (&self.toolpath.drawn_blocks, &wanted) {
            (Some(a), Some(b)) => (Arc::ptr_eq(&a.blocks, &b.blocks), a.cut_mm == b.cut_mm),
            (a, b) => (a.is_none() && b.is_none(), true),
        };
        if same_blocks && same_cut {
            return;
        }
        let mesh = wanted.as_ref().map(|wanted| {
            let up_to_mm = wanted.cut_mm.unwrap_or(f64::INFINITY);
            Arc::new(purge_blocks::bodies(&wanted.blocks, up_to_mm))
        });
        self.strand_updates.push_back(StrandUpdate::Blocks(mesh));
        if wanted.is_some() && !same_blocks && self.view.stays_fitted {
            self.view.fit_wanted = true;
        }
        self.toolpath.drawn_blocks = wanted;
    }
}
