//! Why there is no schedule.

use geometry::Cancelled;
use geometry::layers::CutError;

/// Why there is no schedule.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScheduleError {
    /// The part could not be cut into layers.
    #[error(transparent)]
    Cut(#[from] CutError),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// A toolpath's plastic is given for another number of layers.
    #[error("the toolpath's plastic is counted for {toolpath} layers, and the plan has {plan}")]
    OtherLayers {
        /// Of the toolpath.
        toolpath: usize,
        /// Of the plan.
        plan: usize,
    },
}
