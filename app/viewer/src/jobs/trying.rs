//! Tries ways of weaving without writing a file that anyone keeps: what they cost, and which
//! regions they lose.

use std::path::PathBuf;
use std::sync::Arc;

use geometry::Progress;
use project::signoff::Standing;
use weave::Weave;
use weave::arrange::Arrange;
use weave::compare::{Comparison, Means};
use weave::figures::{Figures, Lost};
use weave::standing_blocks::StandingBlocks;

use super::Stop;
use super::toolpath_file::{Part, read_dialect, stop, with_source};
use crate::model::draft::{Draft, Reading};

/// What is tried: the plan's revision, the toolpath, how it is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The plan's revision.
    pub revision: u64,
    /// The sliced toolpath.
    pub sliced: PathBuf,
    /// How it is read.
    pub reading: Reading,
}

impl Question {
    /// What would be tried now; none without a toolpath.
    pub fn of(revision: u64, draft: &Draft) -> Option<Self> {
        Some(Self {
            revision,
            sliced: draft.sliced_file()?,
            reading: draft.reading(),
        })
    }
}

/// What to try.
pub struct Order {
    /// The plan as it stands, on its part.
    pub part: Part,
    /// What the answer hangs on.
    pub question: Question,
    /// The options.
    pub arrange: Arrange,
}

/// What weaving with some options comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    /// What this is of.
    pub question: Question,
    /// The options.
    pub arrange: Arrange,
    /// Mean ΔE00 at the skin.
    pub mean_de00: f64,
    /// ΔE00 that 95 % of the skin stays within.
    pub p95_de00: f64,
    /// Plastic purged beside the part, g,
    pub purged_g: f64,
    /// and the minutes that it takes.
    pub purged_minutes: f64,
    /// Regions that do not come out, the largest first.
    pub lost: Vec<Lost>,
    /// The purge blocks as they would stand.
    pub blocks: Option<Arc<StandingBlocks>>,
    /// What a person should know, such as why there is no block.
    pub cautions: Vec<String>,
}

/// Ways to weave beside each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// What this is of.
    pub question: Question,
    /// The ways.
    pub comparison: Comparison,
}

impl Compared {
    /// What is lost in the way that has these options, if one has.
    pub fn lost_with(&self, arrange: &Arrange) -> Option<&[Lost]> {
        let mut ways = self.comparison.ways.iter();
        let of_them = Means::Options(arrange.clone());
        ways.find(|w| w.means == of_them).map(|w| w.lost.as_slice())
    }
}

/// Weaves with the options into a file that is thrown away, and reads it back.
///
/// # Errors
/// [`Stop`] in words, or when cancelled.
pub fn foresee(order: Order, progress: &Progress) -> Result<Foreseen, Stop> {
    let (question, arrange) = (order.question.clone(), order.arrange.clone());
    with_weave(order, progress, |weave, progress| {
        with_source(&question.sliced, |source| {
            Figures::of(weave, weave.painted, source, progress)
                .map_err(|error| stop(error, &question.sliced))
        })
    })
    .map(|found| {
        let printed = &found.verified.printed;
        Foreseen {
            mean_de00: printed.mean_de00().unwrap_or(0.0),
            p95_de00: printed.within_de00(0.95),
            purged_g: found.purged_g,
            purged_minutes: found.purged_minutes,
            lost: found.lost,
            blocks: found.woven.standing_blocks(),
            cautions: found.woven.cautions,
            question,
            arrange,
        }
    })
}

/// Weaves in each way and reads each back.
///
/// # Errors
/// As [`foresee`].
pub fn compare(order: Order, progress: &Progress) -> Result<Compared, Stop> {
    let question = order.question.clone();
    let comparison = with_weave(order, progress, |weave, progress| {
        with_source(&question.sliced, |source| {
            Comparison::of(weave, source, progress).map_err(|error| stop(error, &question.sliced))
        })
    })?;
    Ok(Compared {
        question,
        comparison,
    })
}

fn with_weave<T>(
    order: Order,
    progress: &Progress,
    work: impl FnOnce(&Weave<'_>, &Progress) -> Result<T, Stop>,
) -> Result<T, Stop> {
    let Order {
        part,
        question,
        arrange,
    } = order;
    let dialect = read_dialect(&question.reading.dialect)?;
    let painted = part.painted(progress)?;
    let weave = Weave {
        painted: &painted,
        dialect: &dialect,
        settings: question.reading.settings,
        stands: question.reading.stands,
        arrange,
        review: Standing::not_reviewed(),
    };
    work(&weave, progress)
}
