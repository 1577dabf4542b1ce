//! What can end a command early, with its exit code.

use std::fmt;
use std::process::ExitCode;

/// Why a command did not do its work.
#[derive(Debug)]
pub(crate) enum Fault {
    /// The user's files or arguments are wrong; the text says where and what to do.
    Input(String),
    /// The system would not let us write or run something.
    System(String),
    /// The user cancelled it.
    Cancelled,
    /// The reader of our output has closed it; not worth a message.
    NobodyListens,
}

impl Fault {
    /// A fault of the input.
    pub(crate) fn input(cause: impl fmt::Display) -> Self {
        Self::Input(cause.to_string())
    }

    /// A fault of the system.
    pub(crate) fn system(cause: impl fmt::Display) -> Self {
        Self::System(cause.to_string())
    }

    /// 2 for bad input, 130 (128 + SIGINT, as in shells) when cancelled, else 1.
    pub(crate) fn exit_code(&self) -> ExitCode {
        match self {
            Self::Input(_) => ExitCode::from(2),
            Self::System(_) => ExitCode::FAILURE,
            Self::Cancelled => ExitCode::from(130),
            Self::NobodyListens => ExitCode::SUCCESS,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(text) | Self::System(text) => f.write_str(text),
            Self::Cancelled => f.write_str("cancelled; no half-written files are left"),
            Self::NobodyListens => Ok(()),
        }
    }
}

impl From<geometry::Cancelled> for Fault {
    fn from(_: geometry::Cancelled) -> Self {
        Self::Cancelled
    }
}

impl From<project::write::WriteError> for Fault {
    fn from(error: project::write::WriteError) -> Self {
        Self::system(error)
    }
}
