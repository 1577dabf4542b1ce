//! A demonstration part that could not be made.

use geometry::mesh::MeshError;

/// A demonstration part that could not be made: a fault of this crate.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DemoError {
    /// Its mesh is none.
    #[error("a demonstration mesh is broken: {0}")]
    Mesh(#[from] MeshError),
    /// Its outlines can't be cut into triangles.
    #[error("a demonstration outline is broken: {0}")]
    Outline(#[from] spade::InsertionError),
    /// Its lettering has no font.
    #[error("the lettering's font can't be read")]
    Font,
}
