//! Hand-offs from elsewhere.

use std::fs;

use geometry::Progress;
use package::bundle::check;

use super::Answer;

/// Checks a ZIP file; nothing beside it is written, and nothing of it stays.
pub fn check_handoff(bytes: &[u8]) -> Answer {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("handoff.zip");
    fs::write(&file, bytes).expect("a file");
    let checked = check(&file, &Progress::new());
    let left = fs::read_dir(folder.path()).expect("the folder").count();
    assert_eq!(left, 1, "something was written beside the hand-off");
    assert_eq!(fs::read(&file).expect("the file"), bytes);
    match checked {
        // Every file was as the manifest says, so the contents were worked out again. They need not
        // come out the same: a kept hand-off is of an older program.
        Ok(report) if !report.held.is_empty() => Answer::Read,
        Ok(report) => {
            assert!(!report.faults.is_empty());
            Answer::Refused
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            Answer::Refused
        }
    }
}
