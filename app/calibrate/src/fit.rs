//! From a table of readings to measured spools.

use std::path::{Path, PathBuf};

use blend::calibrate::{self, MeasuredSpools};
use geometry::Progress;
use plan::{LoadError, SpoolSet};

use super::table::Drawn;
use super::{Table, provenance};
use project::job::{JobError, beside};
use project::text_file::read_text;

/// A fit of the mixing model to a table of readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// What was found.
    pub measured: MeasuredSpools,
    /// What was drawn from the table for it.
    pub drawn: Drawn,
}

/// Fits the mixing model to a table of readings. Its spools stand in the file given, or in the
/// one that the table names.
///
/// # Errors
/// [`JobError`] names the file, says what is wrong and what to do.
pub fn fit(table: &Path, spools: Option<&Path>, progress: &Progress) -> Result<Fit, JobError> {
    let text = read_text(table).map_err(|why| JobError::file(table, why))?;
    let readings = Table::read(&text).map_err(|why| JobError::file(table, why))?;
    let spools = match (spools, &readings.header.spools) {
        (Some(file), _) => file.to_owned(),
        (None, Some(named)) => beside(table, named),
        (None, None) => {
            let why = "the table does not name its spools; name their file in a line `# spools: \
                       spools.ron` at its top";
            return Err(JobError::file(table, why));
        }
    };
    let spools = read_spools(&spools)?;
    let drawn = readings.measurements(&spools, provenance(table, &text));
    let drawn = drawn.map_err(|why| JobError::file(table, why))?;
    progress.stage("Fitting the mixing model");
    progress.check()?;
    let measured = calibrate::fit(&drawn.measurements).map_err(|why| JobError::file(table, why))?;
    progress.check()?;
    Ok(Fit { measured, drawn })
}

/// Reads a file of spools.
///
/// # Errors
/// [`JobError`] with file, line, column, what is wrong and what to do.
pub fn read_spools(file: &Path) -> Result<SpoolSet, JobError> {
    let text = read_text(file).map_err(|why| JobError::file(file, why))?;
    let set = SpoolSet::from_ron(&text);
    set.map_err(|e| LoadError::Text(e.in_file(&file.display().to_string())).into())
}

/// Where measured spools are written unless someone says otherwise: beside the readings.
pub fn beside_readings(table: &Path) -> PathBuf {
    let stem = table.file_stem().unwrap_or_default().to_string_lossy();
    table.with_file_name(format!("{stem}.spools.ron"))
}
