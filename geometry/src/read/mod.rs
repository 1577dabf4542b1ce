//! Mesh files.
