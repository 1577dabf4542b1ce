//! Why a mesh cannot be mended.

use crate::Cancelled;
use crate::mesh::MeshError;

/// Why a mesh can't be mended. The words say what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MendError {
    /// Nothing that a facet bounds has any volume.
    #[error(
        "the mesh bounds no solid: it is a sheet, or its facets cancel each other; give it a \
         thickness in the program that made it"
    )]
    NoSolid,
    /// The library that unites shells gave up.
    #[error("its shells can't be united ({why}); mend it in the program that made it")]
    NotUnited {
        /// In the library's words.
        why: String,
    },
    /// What came out is not sound.
    #[error("what came out is still not sound: {what} Mend it in the program that made it")]
    StillUnsound {
        /// The first thing wrong with it.
        what: String,
    },
    /// More vertices than a mesh can hold.
    #[error("the mended mesh can't be held: {0}")]
    Mesh(#[from] MeshError),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
