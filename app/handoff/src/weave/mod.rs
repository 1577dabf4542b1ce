//! The plan put into the user's own sliced toolpath.

pub mod dialect;
pub mod register;
