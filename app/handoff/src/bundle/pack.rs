//! Writing a hand-off, whole or not at all.

use std::fs;
use std::io::{self, Cursor, Write};
use std::path::Path;

use tempfile::TempDir;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::MANIFEST;
use super::contents::Packed;
use crate::write::{self, WriteError};

fn failed(target: &Path, doing: &'static str) -> impl Fn(io::Error) -> WriteError {
    let path = target.to_owned();
    move |source| WriteError {
        path: path.clone(),
        doing,
        source,
    }
}

/// Looks whether the target is free, or a hand-off that may be replaced.
pub(super) fn may_be_written(target: &Path, is_zip: bool) -> Result<(), WriteError> {
    let Ok(data) = fs::symlink_metadata(target) else {
        return Ok(());
    };
    let other = |what: &str| {
        let what = format!("{what}; choose another name, or move it away");
        Err(failed(target, "write the hand-off to")(io::Error::new(
            io::ErrorKind::AlreadyExists,
            what,
        )))
    };
    match (is_zip, data.is_dir()) {
        (true, true) => other("there is a folder of that name"),
        (true, false) => Ok(()),
        (false, false) => other("there is a file of that name"),
        (false, true) => {
            let empty = fs::read_dir(target).is_ok_and(|mut all| all.next().is_none());
            match empty || target.join(MANIFEST).is_file() {
                true => Ok(()),
                false => other("there is a folder of that name with other files in it"),
            }
        }
    }
}

/// Writes one ZIP file. The same files give the same bytes.
pub(super) fn zip(target: &Path, files: &[Packed]) -> Result<(), WriteError> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default());
    let fill = || -> io::Result<Vec<u8>> {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        for file in files {
            archive
                .start_file(file.name.as_str(), options)
                .map_err(io::Error::other)?;
            archive.write_all(&file.content)?;
        }
        let done = archive.finish().map_err(io::Error::other)?;
        Ok(done.into_inner())
    };
    let bytes = fill().map_err(failed(target, "pack"))?;
    write::bytes(target, &bytes)
}

/// Writes a folder: beside its place first, then renamed into it. A hand-off that lies there is
/// put aside until the new one is in place.
pub(super) fn folder(target: &Path, files: &[Packed]) -> Result<(), WriteError> {
    let parent = match target.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    fs::create_dir_all(parent).map_err(failed(parent, "make the folder"))?;
    let staged = beside(parent).map_err(failed(target, "make a folder beside"))?;
    let new = staged.path().join("new");
    fs::create_dir(&new).map_err(failed(target, "make a folder beside"))?;
    for file in files {
        let path = new.join(&file.name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(failed(folder, "make the folder"))?;
        }
        write::bytes(&path, &file.content)?;
    }
    let old = staged.path().join("old");
    let had_old = target.exists();
    if had_old {
        fs::rename(target, &old).map_err(failed(target, "replace"))?;
    }
    fs::rename(&new, target).map_err(|error| {
        if had_old {
            // As far as the system lets us.
            let _ = fs::rename(&old, target);
        }
        failed(target, "put in place")(error)
    })
}

fn beside(parent: &Path) -> io::Result<TempDir> {
    tempfile::Builder::new()
        .prefix(".writing-")
        .suffix(".tmp")
        .tempdir_in(parent)
}
