//! The hand-off: one folder, or one `.zip`, that holds all that the print step needs, and says
//! of every file what it is and how it must be.
//!
//! It holds what [`prepare`](fn@crate::prepare) writes, the part in open formats, a table to key
//! in, and the plan itself with the files it names and its signatures, byte for byte. The
//! manifest names each file with its size and SHA-256; `SHA256SUMS` says the same to the usual
//! program of that purpose. [`check`] verifies all of it on the other side, and works it out
//! again.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod check;
mod contents;
mod manifest;
mod pack;
mod unpack;

use std::path::{Path, PathBuf};

use geometry::{Cancelled, Progress};

use crate::job::Job;
use crate::prepare::PrepareError;
use crate::write::WriteError;

pub use check::{CheckError, Report, check};
pub use manifest::{Entry, Manifest};

/// The manifest's name.
pub const MANIFEST: &str = "manifest.ron";
/// The name of the list for `sha256sum --check`.
pub const SUMS: &str = "SHA256SUMS";

/// Why nothing was handed off.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// What goes into it could not be made.
    #[error(transparent)]
    Prepare(#[from] PrepareError),
    /// A file of the plan can't be taken along.
    #[error("{0}")]
    Source(String),
    /// It can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
}

/// What was handed off.
#[derive(Clone, Debug, PartialEq)]
pub struct HandedOff {
    /// The folder or file.
    pub path: PathBuf,
    /// What it holds.
    pub manifest: Manifest,
}

/// Makes a hand-off of a plan: a `.zip` if the target's name ends so, else a folder. It appears
/// whole or not at all; a hand-off of that name is replaced, and anything else is left alone.
///
/// # Errors
/// [`BundleError`].
pub fn hand_off(job: &Job, target: &Path, progress: &Progress) -> Result<HandedOff, BundleError> {
    let is_zip = target
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
    // Before the wait: a target that can't be used.
    pack::may_be_written(target, is_zip)?;
    let (manifest, files) = contents::gather(job, progress)?;
    progress.stage("Writing the hand-off");
    progress.check()?;
    match is_zip {
        true => pack::zip(target, &files)?,
        false => pack::folder(target, &files)?,
    }
    Ok(HandedOff {
        path: target.to_owned(),
        manifest,
    })
}
