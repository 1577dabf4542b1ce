//! Why there are no bodies.

use geometry::Cancelled;
use geometry::bodies::CutError;
use geometry::mend::MendError;

/// Why a part can't be cut into bodies.
#[derive(Debug, thiserror::Error)]
pub enum BodiesError {
    /// The mesh is unsound and can't be mended.
    #[error("the mesh can't be cut into bodies: {0}")]
    Mesh(#[source] MendError),
    /// No blend is asked for anywhere.
    #[error("the schedule has no visible plastic; check the layers and the mesh")]
    Nothing,
    /// A depth that is no depth.
    #[error("a depth of {0} mm; give a number above 0")]
    Depth(f64),
    /// One region's body can't be made.
    #[error("region '{region}': {source}")]
    Region {
        /// Its name.
        region: String,
        /// Why.
        source: CutError,
    },
    /// The cut can't be made.
    #[error(transparent)]
    Cut(CutError),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
