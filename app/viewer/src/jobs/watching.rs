//! Watches the files of the open part, and ends when another program has changed one, or another
//! window has opened the plan or left it.

use std::path::PathBuf;
use std::time::Duration;

use geometry::Progress;

use super::Stop;
use crate::files::{Contents, Notes, Stamp};

/// Time between two looks.
const EVERY: Duration = Duration::from_millis(1500);

/// A cancelled watch ends within this.
const NAP: Duration = Duration::from_millis(100);

/// Which of the part's files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Which {
    /// The plan.
    Plan,
    /// The mesh.
    Mesh,
    /// The file of spools that the plan names.
    Spools,
    /// The machine file that the plan names.
    Machine,
}

/// What a file holds: all of a small one, length and time of a large one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Of a small file; none when it is gone.
    Contents(Option<Contents>),
    /// Of a mesh; none when it is gone.
    Stamp(Option<Stamp>),
}

/// A file and what is known of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Watched {
    /// Which of the part's.
    pub which: Which,
    /// Where it is.
    pub file: PathBuf,
    /// What it held when it was last read, written or looked at here.
    pub known: State,
}

impl Watched {
    /// A file as it is now.
    pub fn now(which: Which, file: PathBuf) -> Self {
        let known = state_of(which, &file);
        Self { which, file, known }
    }

    /// What it holds now, if that is something else.
    fn change(&self) -> Option<State> {
        let now = state_of(self.which, &self.file);
        (now != self.known).then_some(now)
    }
}

fn state_of(which: Which, file: &std::path::Path) -> State {
    match which {
        Which::Mesh => State::Stamp(Stamp::of(file)),
        Which::Plan | Which::Spools | Which::Machine => State::Contents(Contents::of(file)),
    }
}

/// A file that another program has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Changed {
    /// The file as it was known.
    pub of: Watched,
    /// What it holds now.
    pub now: State,
}

impl Changed {
    /// Whether the file is gone.
    pub fn is_gone(&self) -> bool {
        matches!(self.now, State::Contents(None) | State::Stamp(None))
    }
}

/// What is watched.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Watch {
    /// The files.
    pub files: Vec<Watched>,
    /// Where other windows note that they have the plan open, and whether one is known to have it.
    pub windows: Option<(Notes, bool)>,
}

/// What was noticed.
#[derive(Clone, Debug, PartialEq)]
pub enum Noticed {
    /// Another program has changed a file.
    Changed(Changed),
    /// Whether another window has the plan open has changed to this.
    Others(bool),
}

/// Looks until a file is another for two looks on end: one that is being written is left alone
/// until that is done. Or until another window opens the plan, or none has it open any more.
///
/// # Errors
/// When cancelled.
pub fn run(watch: &Watch, progress: &Progress) -> Result<Noticed, Stop> {
    let mut before = None;
    loop {
        let seen = watch.files.iter().find_map(|of| {
            let of = of.clone();
            of.change().map(|now| Changed { of, now })
        });
        if let Some(changed) = &seen
            && before == seen
        {
            return Ok(Noticed::Changed(changed.clone()));
        }
        before = seen;
        if let Some((notes, known)) = &watch.windows {
            let others = notes.has_others();
            if others != *known {
                return Ok(Noticed::Others(others));
            }
        }
        for _ in 0..EVERY.as_millis() / NAP.as_millis() {
            progress.check()?;
            std::thread::sleep(NAP);
        }
    }
}
