//! Errors of opening, signing and preparing a plan, as faults of a command.

use std::path::{Path, PathBuf};

use package::PrepareError;
use project::job::{Job, JobError};
use project::record::Opened;
use project::signoff::{self, SignoffError, Standing};

use crate::fault::Fault;

/// A plan that can't be opened, as a fault.
pub(crate) fn not_opened(error: JobError) -> Fault {
    match error {
        JobError::Cancelled(_) => Fault::Cancelled,
        error => Fault::input(error),
    }
}

/// A plan that can't be prepared, as a fault.
pub(crate) fn not_prepared(plan: &Path, error: PrepareError) -> Fault {
    match error {
        PrepareError::Cancelled(_) => Fault::Cancelled,
        PrepareError::Schedule(why) => Fault::Input(format!("{}: {why}", plan.display())),
        PrepareError::Signoff(error) => not_signed(error),
        error => Fault::system(error),
    }
}

/// Signatures that can't be read or given, as a fault.
pub(crate) fn not_signed(error: SignoffError) -> Fault {
    match error {
        SignoffError::Write(error) => error.into(),
        error => Fault::input(error),
    }
}

/// How a plan stands, which must be approved.
pub(crate) fn required(job: &Job) -> Result<Standing, Fault> {
    let standing = signoff::standing(job).map_err(not_signed)?;
    standing
        .require()
        .map_err(|error| Fault::Input(format!("{}: {error}", job.path.display())))?;
    Ok(standing)
}

/// The records of prints in folders.
pub(crate) fn opened(folders: &[PathBuf]) -> Result<Vec<Opened>, Fault> {
    let read = |folder: &PathBuf| Opened::read(folder).map_err(Fault::input);
    folders.iter().map(read).collect()
}
