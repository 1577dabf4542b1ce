//! Why nothing was woven.

use std::io;

use geometry::Cancelled;
use plan::ScheduleError;
use project::write::WriteError;
use toolpath::ReadError;

use crate::dialect::DialectError;
use crate::register::RegisterError;

/// Why nothing was woven. No file was written.
#[derive(Debug, thiserror::Error)]
pub enum WeaveError {
    /// The toolpath can't be read.
    #[error(transparent)]
    Read(ReadError),
    /// The toolpath can't be opened.
    #[error("the toolpath can't be opened: {0}")]
    Open(#[source] io::Error),
    /// The part was not found in it.
    #[error(transparent)]
    Register(RegisterError),
    /// The dialect can't serve.
    #[error(transparent)]
    Dialect(#[from] DialectError),
    /// It can't be written.
    #[error("the woven toolpath can't be written: {0}")]
    Output(#[source] io::Error),
    /// It can't be put in its place.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The plan can't be hashed.
    #[error(transparent)]
    Hash(#[from] plan::document::HashError),
    /// The plan has no schedule.
    #[error("the schedule can't be made: {0}")]
    Schedule(#[source] ScheduleError),
    /// Cancelled.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// It chooses tools in the midst of the print.
    #[error(
        "line {line} of the toolpath changes the tool after printing has begun; slice the part for \
         a single extruder"
    )]
    Tools {
        /// The line.
        line: u64,
    },
    /// How much it feeds is not known.
    #[error(
        "line {line} of the toolpath sets a flow factor (M221) or a volumetric E (M200) without a \
         number that can be used, so nobody knows how much plastic follows; slice without it"
    )]
    UnknownFlow {
        /// The line.
        line: u64,
    },
    /// It is of another height.
    #[error(
        "the toolpath prints up to {printed_mm:.2} mm, and the part is {part_mm:.2} mm high; slice \
         the same part at its own size{}",
        if .printed_mm > .part_mm { ", or give the raft's height" } else { "" }
    )]
    OtherHeight {
        /// Height of the highest plastic, mm.
        printed_mm: f64,
        /// Height of the part, mm.
        part_mm: f64,
    },
    /// It ends too early.
    #[error(
        "the toolpath is cut off at {printed_mm:.2} mm: it ends in the middle of printing, and the \
         part is {part_mm:.2} mm high; export it again"
    )]
    CutOff {
        /// Height of the highest plastic, mm.
        printed_mm: f64,
        /// Height of the part, mm.
        part_mm: f64,
    },
    /// It has no layers to speak of.
    #[error(
        "the toolpath prints at more heights than any print has layers, so you can't step through \
         it by layers"
    )]
    ManyHeights,
    /// A law that every new order keeps would have been broken.
    #[error(
        "the new order of the toolpath failed its check, so nothing was written: {0}. Weave it \
         with `--purge stay`, which moves nothing"
    )]
    Laws(String),
    /// It was changed while it was read.
    #[error("the toolpath was changed while it was read; start again")]
    Changed,
}

/// Another pass over a file read something else.
#[derive(Debug, thiserror::Error)]
#[error("the file was changed while it was read")]
pub(crate) struct Changed;

/// Whether reading failed because another pass had read something else.
pub(crate) fn is_change(error: &io::Error) -> bool {
    error.get_ref().is_some_and(|inner| inner.is::<Changed>())
}

impl From<ScheduleError> for WeaveError {
    fn from(error: ScheduleError) -> Self {
        match error {
            ScheduleError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            error => Self::Schedule(error),
        }
    }
}

impl From<io::Error> for WeaveError {
    fn from(error: io::Error) -> Self {
        match is_change(&error) {
            true => Self::Changed,
            false => Self::Output(error),
        }
    }
}

impl From<ReadError> for WeaveError {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::Io { source, .. } if is_change(&source) => Self::Changed,
            error => Self::Read(error),
        }
    }
}

impl From<RegisterError> for WeaveError {
    fn from(error: RegisterError) -> Self {
        match error {
            RegisterError::Read(error) => error.into(),
            RegisterError::Cancelled(cancelled) => Self::Cancelled(cancelled),
            error => Self::Register(error),
        }
    }
}
