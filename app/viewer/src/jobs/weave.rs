//! Puts the plan's blends into the person's own sliced toolpath.

use std::path::PathBuf;
use std::sync::Arc;

use geometry::Progress;
use plan::Plan;
use weave::arrange::Arrange;
use weave::standing_blocks::StandingBlocks;
use weave::{Weave, Woven};

use super::toolpath_file::{Part, read_dialect, same_file, stop};
use super::{Stop, standing};
use crate::model::draft::Reading;

/// What to weave.
pub struct Order {
    /// The plan as it stands, on its part.
    pub part: Part,
    /// The plan's file, once there is one.
    pub plan_file: Option<PathBuf>,
    /// The plan as the file has it; `None` while it has other changes.
    pub saved: Option<Plan>,
    /// How the toolpath is read.
    pub reading: Reading,
    /// How its runs may change places.
    pub arrange: Arrange,
    /// Nothing is written unless the plan is signed as it is.
    pub needs_review: bool,
    /// The sliced toolpath.
    pub sliced: PathBuf,
    /// The file to write.
    pub file: PathBuf,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Done {
    /// The plan's revision.
    pub revision: u64,
    /// The toolpath that it was woven into.
    pub sliced: PathBuf,
    /// What was written.
    pub file: PathBuf,
    /// How.
    pub reading: Reading,
    /// How its runs could change places.
    pub arrange: Arrange,
    /// Registration, changes, cautions.
    pub woven: Woven,
    /// The purge blocks as they stand.
    pub blocks: Option<Arc<StandingBlocks>>,
    /// How the plan stands with its reviewers, as the file's head says it.
    pub review: String,
    /// The plan had changes that no file holds.
    pub unsaved: bool,
}

/// Does it.
///
/// # Errors
/// [`Stop`] in words that say why not and what to do, or when cancelled. The file to
/// write is then as it was.
pub fn run(order: Order, progress: &Progress) -> Result<Done, Stop> {
    let Order {
        part,
        plan_file,
        saved,
        reading,
        arrange,
        needs_review,
        sliced,
        file,
    } = order;
    if same_file(&sliced, &file) {
        return Err(Stop::Failed(
            "The file to write is the toolpath itself; keep the toolpath, and name another file."
                .to_owned(),
        ));
    }
    let revision = part.revision;
    let dialect = read_dialect(&reading.dialect)?;
    let review = standing::of(plan_file.as_deref(), saved.as_ref())?;
    if needs_review {
        review.require().map_err(|why| Stop::failed(&why))?;
    }
    let words = review.words();
    let painted = part.painted(progress)?;
    let woven = Weave {
        painted: &painted,
        dialect: &dialect,
        settings: reading.settings,
        stands: reading.stands.clone(),
        arrange: arrange.clone(),
        review,
    }
    .file(&sliced, &file, progress)
    .map_err(|error| stop(error, &sliced))?;
    Ok(Done {
        revision,
        sliced,
        file,
        reading,
        arrange,
        blocks: woven.standing_blocks(),
        woven,
        review: words,
        unsaved: saved.is_none(),
    })
}
