//! Hand-offs from elsewhere.

use std::fs;

use geometry::Progress;
use package::bundle::check;

/// Checks a ZIP file; nothing beside it is written, and nothing of it stays.
pub(super) fn zip(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("handoff.zip");
    fs::write(&file, bytes).expect("a file");
    let _ = check(&file, &Progress::new());
    let left = fs::read_dir(folder.path()).expect("the folder").count();
    assert_eq!(left, 1, "something was written beside the hand-off");
    assert_eq!(fs::read(&file).expect("the file"), bytes);
}
