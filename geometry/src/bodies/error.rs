//! Why a part can't be cut into bodies.

use glam::DVec3;

use crate::Cancelled;
use crate::mesh::MeshError;

/// Why a part can't be cut into bodies.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CutError {
    /// The skin has a rim, or facets that disagree about which side is out.
    #[error("the skin is not closed near {place}; mend the mesh first", place = crate::inspect::place_words(*.0))]
    Open(DVec3),
    /// What a plane cuts through is no clean outline.
    #[error(
        "the part can't be cut cleanly at a height of {height_mm} mm; move the edge of the region there a little"
    )]
    Tangled {
        /// The height, mm.
        height_mm: f64,
    },
    /// The rind of a label can't be laid without crossing itself.
    #[error("no sound body can be made below it near {place}; use a smaller depth", place = crate::inspect::place_words(*.at_mm))]
    Crowded {
        /// The label.
        label: u32,
        /// Where, mm.
        at_mm: DVec3,
    },
    /// A body that came out is not closed: a fault of this program.
    #[error("the resulting body is not closed near {place}", place = crate::inspect::place_words(*.at_mm))]
    NotClosed {
        /// The label.
        label: u32,
        /// Where, mm.
        at_mm: DVec3,
    },
    /// There is one label for each stretch between heights, or the skin has more than can be held.
    #[error("the part can't be held: {0}")]
    Mesh(#[from] MeshError),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}
