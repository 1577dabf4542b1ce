//! What all work on toolpath files shares: the plan on its part, the dialect, and the files.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;

use super::Stop;
use super::repaint;
use crate::model::draft::DialectFrom;
use blend::MixModel;
use geometry::{Progress, Surface};
use plan::{Painted, Plan};
use project::text_file::read_text;
use weave::dialect::Dialect;
use weave::register::RegisterError;
use weave::{Source, WeaveError, head_tells_of_weaving};

/// Reads a dialect.
///
/// # Errors
/// [`Stop`] with the file, the line and what is wrong.
pub fn read_dialect(from: &DialectFrom) -> Result<Dialect, Stop> {
    match from {
        DialectFrom::BuiltIn(name) => Dialect::built_in(name)
            .ok_or_else(|| Stop::Failed(format!("there is no dialect `{name}`"))),
        DialectFrom::Line(line) => Dialect::ratio_word(line.trim())
            .map_err(|what| Stop::Failed(format!("The firmware's command {line:?}: {what}"))),
        DialectFrom::File(path) => {
            let named = path.display().to_string();
            let text = read_text(path).map_err(|why| Stop::Failed(format!("{named}: {why}")))?;
            Dialect::from_ron(&text)
                .map_err(|error| Stop::Failed(error.in_file(&named).to_string()))
        }
    }
}

/// The open part and its plan as it stands.
pub struct Part {
    /// The plan's revision.
    pub revision: u64,
    /// The plan.
    pub plan: Plan,
    /// The part.
    pub surface: Surface,
    /// An earlier plan of this part laid on it, from which much can be taken over.
    pub before: Option<Arc<Painted>>,
    /// The mixing model.
    pub model: Arc<dyn MixModel>,
}

impl Part {
    /// The plan laid on the part.
    ///
    /// # Errors
    /// [`Stop`] in words, or when cancelled.
    pub fn painted(self, progress: &Progress) -> Result<Painted, Stop> {
        progress.stage("Applying the plan to the part");
        let painted = match &self.before {
            Some(before) => before.revised(self.plan, self.model, progress),
            None => Painted::new(self.plan, self.surface, self.model, progress),
        };
        painted.map_err(repaint::stop)
    }
}

/// Opens a file at a byte.
///
/// # Errors
/// The system's.
pub fn open_at(path: &Path, at: u64) -> io::Result<Box<dyn Read>> {
    use io::Seek;
    let mut file = File::open(path)?;
    file.seek(io::SeekFrom::Start(at))?;
    Ok(Box::new(file))
}

/// Does something with a file that can be read several times.
///
/// # Errors
/// Those of the work, and when there is no such file.
pub fn with_source<T>(
    path: &Path,
    work: impl FnOnce(&Source<'_>) -> Result<T, Stop>,
) -> Result<T, Stop> {
    Source::with_file(path, work).map_err(|error| stop(error, path))?
}

/// A toolpath that can't be worked with, as a job ends.
pub fn stop(error: WeaveError, path: &Path) -> Stop {
    match error {
        WeaveError::Cancelled(_) | WeaveError::Register(RegisterError::Cancelled(_)) => {
            Stop::Cancelled
        }
        error @ (WeaveError::Write(_) | WeaveError::Output(_)) => Stop::failed(&error),
        error => Stop::Failed(format!(
            "{}: {}",
            path.file_name().unwrap_or_default().to_string_lossy(),
            super::with_causes(&error)
        )),
    }
}

/// Whether two paths name the same file, as far as that can be told.
pub fn same_file(one: &Path, other: &Path) -> bool {
    let full = |p: &Path| p.canonicalize().or_else(|_| std::path::absolute(p)).ok();
    one == other || full(one).is_some_and(|one| Some(one) == full(other))
}

/// Whether a file says at its head that blends were woven into it.
pub fn is_woven(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = open_at(path, 0).and_then(|file| file.take(4096).read_to_end(&mut head));
    read.is_ok() && head_tells_of_weaving(&head)
}
