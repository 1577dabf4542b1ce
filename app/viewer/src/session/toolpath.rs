//! The person's toolpath: what is chosen, what came of weaving and checking it, and whether its
//! strands are being followed.

use std::sync::Arc;

use geometry::{DVec3, Progress};
use weave::standing_blocks::StandingBlocks;

use super::filled::Filled;
use super::follow::Follow;
use super::told::{Told, told_of};
use crate::jobs::Job;
use crate::jobs::follow::{Layer, Opened};
use crate::jobs::read_back::ReadBack;
use crate::jobs::trying::{Compared, Foreseen};
use crate::jobs::weave::Done;
use crate::model::draft::{Draft, Reading};
use crate::model::strands::StrandMesh;

/// What of the purge blocks is on the stage.
#[derive(Clone, Debug)]
pub(super) struct DrawnBlocks {
    pub(super) blocks: Arc<StandingBlocks>,
    /// They are cut off at this height of the part, mm.
    pub(super) cut_mm: Option<f64>,
}

/// Everything about the toolpath of the open part.
#[derive(Default)]
pub struct Toolpath {
    /// What is chosen.
    pub draft: Draft,
    /// What the options come to, when they were tried.
    pub foreseen: Filled<Option<Foreseen>, Foreseen>,
    /// Whether to weave once that is known.
    pub(super) then_weave: bool,
    /// Ways to weave, when they were compared.
    pub compared: Filled<Option<Compared>, Compared>,
    /// What came of the last weave.
    pub done: Filled<Option<Done>, Done>,
    /// What the last check found.
    pub read_back: Filled<Option<ReadBack>, ReadBack>,
    /// Why nothing came of the last try.
    pub trouble: Option<String>,
    /// The file that is being followed.
    pub follow: Option<Follow>,
    /// A bad place that is looked at.
    pub looked_at: Option<DVec3>,
    /// Opening a file to be followed.
    pub(super) opening: Option<Job<Opened>>,
    /// Reading a layer of it.
    pub(super) layer: Option<(usize, Job<Layer>)>,
    /// What is on the stage: the layer in sight and the one beneath.
    pub(super) drawn: [Option<Arc<StrandMesh>>; 2],
    /// The purge blocks that are on the stage.
    pub(super) drawn_blocks: Option<DrawnBlocks>,
}

impl Toolpath {
    /// How the woven file is read; where its copies stand is known if it was woven here and is
    /// read as it was woven.
    pub fn reading_of_woven(&self) -> Reading {
        let reading = self.draft.reading();
        let done = self.done.as_ref().filter(|done| {
            Some(&done.file) == self.draft.woven_file().as_ref() && done.reading == reading
        });
        let stands = done.map(|done| {
            let stands = &done.woven.registered.stands;
            stands.iter().map(|s| s.placement).collect()
        });
        Reading {
            stands: stands.unwrap_or_else(|| reading.stands.clone()),
            ..reading
        }
    }

    /// What a person waits for.
    pub(super) fn told(&self) -> Option<Told> {
        let weave = self.done.job().map(told_of);
        weave
            .or_else(|| self.foreseen.job().map(told_of))
            .or_else(|| self.compared.job().map(told_of))
            .or_else(|| self.read_back.job().map(told_of))
            .or_else(|| self.opening.as_ref().map(told_of))
    }

    /// The progress of what a person waits for.
    pub(super) fn progress(&self) -> Option<&Progress> {
        let weave = self.done.job().map(Job::progress);
        weave
            .or_else(|| self.foreseen.job().map(Job::progress))
            .or_else(|| self.compared.job().map(Job::progress))
            .or_else(|| self.read_back.job().map(Job::progress))
            .or_else(|| self.opening.as_ref().map(Job::progress))
    }

    /// Whether anything is going on.
    pub(super) fn is_working(&self) -> bool {
        self.progress().is_some() || self.layer.is_some()
    }
}
