//! Reads spools from a file, or fits them to the readings of a test print.

use std::path::{Path, PathBuf};

use blend::MeasuredSpools;
use geometry::Progress;
use plan::SpoolSet;

use super::Stop;

/// What a file gave.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// Spools.
    Spools {
        /// The spools, and what was measured of them, if anything.
        set: SpoolSet,
        /// Where they stand.
        file: PathBuf,
    },
    /// A fit to readings, which nobody has written down yet.
    Fitted(Fitted),
}

/// A fit to the readings of a test print.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// What was found.
    pub measured: MeasuredSpools,
    /// The file of measured spools to write, beside the readings.
    pub to_write: PathBuf,
}

/// Reads a file: a table of readings (`.csv`) is fitted, any other holds spools.
///
/// # Errors
/// [`Stop`] in words that say which file and what to do, or when cancelled.
pub fn run(file: &Path, progress: &Progress) -> Result<Found, Stop> {
    let is_table = file
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    if !is_table {
        let set = calibrate::read_spools(file)?;
        let file = file.to_owned();
        return Ok(Found::Spools { set, file });
    }
    let fit = calibrate::fit(file, None, progress)?;
    Ok(Found::Fitted(Fitted {
        measured: fit.measured,
        to_write: calibrate::fit::beside_readings(file),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn demo() -> PathBuf {
        PathBuf::from(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../demo-models/calibration"
        ))
    }

    #[test]
    fn readings_are_fitted_and_what_is_written_is_read_again() {
        let found = run(&demo().join("measured.csv"), &Progress::new()).expect("a fit");
        let Found::Fitted(fitted) = found else {
            panic!("no fit: {found:?}");
        };
        assert_eq!(
            fitted.to_write.file_name().unwrap_or_default(),
            "measured.spools.ron"
        );
        assert!(fitted.measured.rms_delta_e00 < 2.0);
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("pair.ron");
        let text = plan::ron_text::write(&fitted.measured).expect("written");
        std::fs::write(&file, text).expect("written");
        let again = run(&file, &Progress::new()).expect("read");
        let Found::Spools { set, .. } = again else {
            panic!("no spools: {again:?}");
        };
        assert_eq!(set.measured, Some(fitted.measured));
    }

    #[test]
    fn plain_spools_are_read_and_a_fault_names_the_file() {
        let found = run(&demo().join("spools.ron"), &Progress::new()).expect("read");
        assert!(matches!(found, Found::Spools { set, .. } if set.measured.is_none()));
        let gone = run(Path::new("nowhere/spools.ron"), &Progress::new());
        assert!(matches!(gone, Err(Stop::Failed(why)) if why.contains("spools.ron")));
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("spools.ron");
        std::fs::write(&file, [b'(', 0xff]).expect("written");
        let Err(Stop::Failed(why)) = run(&file, &Progress::new()) else {
            panic!("that is no text");
        };
        assert!(why.contains("line 1, column 2"), "{why}");
    }
}
