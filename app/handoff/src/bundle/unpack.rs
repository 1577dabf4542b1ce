//! A ZIP file unpacked into a folder of its own, with care: it comes from outside.

use std::fs::{self, File};
use std::io::{self, BufReader, Read, Write};
use std::path::Path;

use geometry::Progress;
use tempfile::TempDir;
use zip::ZipArchive;

use super::check::CheckError;
use super::manifest::is_plain;

/// A hand-off may unpack to so many times its own size, and to [`FREE`] in any case. Tables pack
/// by 5 to 30 times.
const MOST_EXPANSION: u64 = 60;
const FREE: u64 = 64 << 20;
/// No hand-off holds as many files.
const MOST_FILES: usize = 1000;

/// Unpacks a file; nothing is ever written outside of the folder that is given back.
pub(super) fn unpack(path: &Path, progress: &Progress) -> Result<TempDir, CheckError> {
    let refused = |what: String| CheckError::Refused(format!("{}: {what}", path.display()));
    let file = File::open(path).map_err(|e| refused(format!("can't be read: {e}")))?;
    let packed = file.metadata().map_or(0, |data| data.len());
    let mut archive = ZipArchive::new(BufReader::new(file))
        .map_err(|e| refused(format!("is no whole ZIP file: {e}")))?;
    if archive.len() > MOST_FILES {
        return Err(refused(format!(
            "holds {} files; no hand-off does",
            archive.len()
        )));
    }
    if archive.has_overlapping_files().unwrap_or(true) {
        return Err(refused(
            "the files in it overlap, as no honest writer makes them".into(),
        ));
    }
    let folder = TempDir::new().map_err(|e| refused(format!("can't be unpacked: {e}")))?;
    let mut left = packed.saturating_mul(MOST_EXPANSION).max(FREE);
    for index in 0..archive.len() {
        progress.check()?;
        let entry = archive
            .by_index(index)
            .map_err(|e| refused(format!("is damaged: {e}")))?;
        let name = entry
            .name()
            .map_err(|e| refused(format!("has a name that is no text: {e}")))?
            .into_owned();
        if entry.is_dir() && is_plain(name.trim_end_matches('/')) {
            continue;
        }
        if !is_plain(&name) || entry.is_symlink() || !entry.is_file() {
            return Err(refused(format!(
                "'{}' in it is no plain file within it",
                name.replace(char::is_control, " ")
            )));
        }
        let to = folder.path().join(&name);
        write(entry, &to, &mut left).map_err(|error| match error.kind() {
            io::ErrorKind::FileTooLarge => refused(format!(
                "unpacks to more than {MOST_EXPANSION} times its size; no hand-off does"
            )),
            _ => refused(format!("'{name}' in it can't be unpacked: {error}")),
        })?;
    }
    Ok(folder)
}

fn write(mut from: impl Read, to: &Path, left: &mut u64) -> io::Result<()> {
    if let Some(parent) = to.parent() {
        fs::create_dir_all(parent)?;
    }
    // Never over a file that is there: two entries of one name are refused.
    let mut out = File::create_new(to)?;
    let mut piece = vec![0; 1 << 16];
    loop {
        let count = from.read(&mut piece)?;
        if count == 0 {
            return out.flush();
        }
        *left = left
            .checked_sub(count as u64)
            .ok_or_else(|| io::Error::from(io::ErrorKind::FileTooLarge))?;
        out.write_all(piece.get(..count).unwrap_or(&[]))?;
    }
}
