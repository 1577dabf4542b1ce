//! Making a hand-off.

use std::path::{Path, PathBuf};

use geometry::Progress;
use project::job::Job;
use project::record::Opened;

use super::error::BundleError;
use super::manifest::Manifest;
use super::{contents, pack};

/// What was handed off.
#[derive(Clone, Debug, PartialEq)]
pub struct HandedOff {
    /// The folder or file.
    pub path: PathBuf,
    /// What it holds.
    pub manifest: Manifest,
    /// For each record of a print a warning, if it is of another state of the plan.
    pub records: Vec<Option<String>>,
}

/// Makes a hand-off of a plan, with the records of its prints if there are any: a `.zip` if the target's name ends so, else a folder. It appears
/// whole or not at all; a hand-off of that name is replaced, and anything else is left alone.
///
/// # Errors
/// [`BundleError`].
pub fn hand_off(
    job: &Job,
    records: &[Opened],
    target: &Path,
    progress: &Progress,
) -> Result<HandedOff, BundleError> {
    let is_zip = target
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
    // Before the wait: a target that can't be used.
    pack::may_be_written(target, is_zip)?;
    let (manifest, files, records) = contents::gather(job, records, progress)?;
    progress.stage("Writing the hand-off");
    progress.check()?;
    match is_zip {
        true => pack::zip(target, &files)?,
        false => pack::folder(target, &files)?,
    }
    Ok(HandedOff {
        path: target.to_owned(),
        manifest,
        records,
    })
}
