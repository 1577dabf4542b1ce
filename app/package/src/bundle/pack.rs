//! Writing a hand-off, whole or not at all.

use std::fs;
use std::io::{self, Cursor, Write};
use std::path::Path;

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::contents::Packed;
use super::manifest::MANIFEST;
use project::write::{self, WriteError};

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
        let what = format!("{what}; choose another name, or move it");
        Err(failed(target, "write the hand-off to")(io::Error::new(
            io::ErrorKind::AlreadyExists,
            what,
        )))
    };
    match (is_zip, data.is_dir()) {
        (true, true) => other("there is a folder with that name"),
        (true, false) => Ok(()),
        (false, false) => other("there is a file with that name"),
        (false, true) => {
            let empty = fs::read_dir(target).is_ok_and(|mut all| all.next().is_none());
            match empty || target.join(MANIFEST).is_file() {
                true => Ok(()),
                false => other("there is a folder with that name and other files in it"),
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

/// Writes a folder, in the place of a hand-off that lies there.
pub(super) fn folder(target: &Path, files: &[Packed]) -> Result<(), WriteError> {
    write::tree(target, |new| {
        for file in files {
            let path = new.join(&file.name);
            if let Some(folder) = path.parent() {
                fs::create_dir_all(folder).map_err(failed(folder, "make the folder"))?;
            }
            write::bytes(&path, &file.content)?;
        }
        Ok(())
    })
}
