//! Fills in the files that a plan names. Who reads them is the caller's business.

use serde::{Deserialize, Serialize};

use blend::{MeasuredSpools, Spool};

use super::check::check_spools;
use super::{Plan, SpoolSet};
use crate::Machine;
use crate::ron_text::{self, Document, Path, Problem, TextError};

/// Why a file could not be read.
pub type Cause = Box<dyn std::error::Error + Send + Sync>;

/// Why a file that a plan names could not be taken.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// It could not be read at all.
    #[error("{file}: {source}")]
    Read {
        /// Its name in the plan.
        file: String,
        /// Why: a clause that goes on from the name.
        source: Cause,
    },
    /// It was read and is wrong, or the plan does not fit it.
    #[error(transparent)]
    Text(#[from] TextError),
}

/// A file of spools of which only the colours are known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SpoolFile {
    version: u32,
    spools: Vec<Spool>,
}

impl Document for SpoolFile {
    const KIND: &'static str = "spool file";
    const VERSION: u32 = 1;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        check_spools(&self.spools, &Path::field("spools"), &mut found);
        found
    }
}

impl Plan {
    /// Reads a plan and the files that it names. `read` gives the text of a file by the name
    /// that the plan has for it, or says why not.
    ///
    /// # Errors
    /// [`LoadError`] names the file, and line and column where there is a text to point at.
    pub fn load<E: Into<Cause>>(
        text: &str,
        read: impl FnMut(&str) -> Result<String, E>,
    ) -> Result<Self, LoadError> {
        let mut plan = Self::from_ron(text)?;
        plan.load_files(read)?;
        let problems = plan.problems();
        if problems.is_empty() {
            return Ok(plan);
        }
        Err(ron_text::placed(text, problems).into())
    }

    /// Reads the files that the plan names.
    ///
    /// # Errors
    /// [`LoadError`] names the file; the plan is then as it was.
    pub(crate) fn load_files<E: Into<Cause>>(
        &mut self,
        mut read: impl FnMut(&str) -> Result<String, E>,
    ) -> Result<(), LoadError> {
        let spools = match &self.spools.file {
            Some(file) => Some(load_spools(file, &mut read)?),
            None => None,
        };
        let machine = match &self.machine.file {
            Some(file) => Some(load::<Machine, _>(file, &mut read)?),
            None => None,
        };
        if let Some(spools) = spools {
            self.spools.value = spools;
        }
        if let Some(machine) = machine {
            self.machine.value = machine;
        }
        Ok(())
    }
}

impl SpoolSet {
    /// Reads a file of spools: measured ones, or plain ones of which only the colours are
    /// known. Measured ones have strengths.
    ///
    /// ```
    /// let text = r##"(version: 1, spools: [
    ///     (name: "Chalk", colour: Hex("#f4f2ec")),
    ///     (name: "Slate", colour: Hex("#2e3338")),
    /// ])"##;
    /// let set = plan::SpoolSet::from_ron(text)?;
    /// assert!(set.len() == 2 && set.measured.is_none());
    /// # Ok::<(), plan::TextError>(())
    /// ```
    ///
    /// # Errors
    /// [`TextError`] with every fault found, each with line, column and what to do.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        match ron_text::has_field(text, "strengths") {
            true => Ok(ron_text::read::<MeasuredSpools>(text)?.into()),
            false => Ok(ron_text::read::<SpoolFile>(text)?.spools.into()),
        }
    }

    /// Writes the spools alone as a file of spools, without what was measured of them.
    ///
    /// # Errors
    /// None for sound spools.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(&SpoolFile {
            version: SpoolFile::VERSION,
            spools: self.list.clone(),
        })
    }
}

fn load_spools<E: Into<Cause>>(
    file: &str,
    read: &mut impl FnMut(&str) -> Result<String, E>,
) -> Result<SpoolSet, LoadError> {
    let text = text_of(file, read)?;
    Ok(SpoolSet::from_ron(&text).map_err(|error| error.in_file(file))?)
}

fn load<D: Document, E: Into<Cause>>(
    file: &str,
    read: &mut impl FnMut(&str) -> Result<String, E>,
) -> Result<D, LoadError> {
    parse(file, &text_of(file, read)?)
}

fn parse<D: Document>(file: &str, text: &str) -> Result<D, LoadError> {
    Ok(ron_text::read(text).map_err(|error: TextError| error.in_file(file))?)
}

fn text_of<E: Into<Cause>>(
    file: &str,
    read: &mut impl FnMut(&str) -> Result<String, E>,
) -> Result<String, LoadError> {
    read(file).map_err(|cause| LoadError::Read {
        file: file.to_owned(),
        source: cause.into(),
    })
}
