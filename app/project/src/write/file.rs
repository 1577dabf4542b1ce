//! One file, written whole or not at all.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::unfinished::{Listed, lock_if_it_can_be, named, sweep};
use super::{WriteError, parent_of, sync_folder};

/// Writes a file whole: `fill` gets a buffered writer to a file beside it.
///
/// A link is followed, so the file that it names is replaced and the link stays. The
/// permissions of an old file are kept.
///
/// # Errors
/// [`WriteError`] when `fill` fails or the system refuses; the old file is untouched and
/// the temporary one is gone.
pub fn file(
    path: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    let target = followed(path);
    let folder = parent_of(&target);
    replace(&target, folder, fill).map_err(WriteError::new(path, "write"))?;
    sync_folder(folder);
    Ok(())
}

/// Writes bytes that are at hand, whole.
///
/// # Errors
/// As [`file()`].
pub fn bytes(path: &Path, content: &[u8]) -> Result<(), WriteError> {
    file(path, |out| out.write_all(content))
}

fn replace(
    target: &Path,
    folder: &Path,
    fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    if target.is_dir() {
        return Err(io::Error::new(
            io::ErrorKind::IsADirectory,
            "there is a folder with that name",
        ));
    }
    sweep(folder);
    let (_listed, beside) = Listed::making(&[], || {
        let file = beside(folder, target)?;
        Ok((file.path().to_owned(), file))
    })?;
    // Not by the temporary's name, which no message should tell.
    let mut out = BufWriter::new(beside.as_file());
    fill(&mut out)?;
    out.flush()?;
    drop(out);
    beside.as_file().sync_all()?;
    beside.persist(target).map_err(|e| e.error)?;
    Ok(())
}

/// A temporary file with the permissions that the target has, or that a new file gets.
fn beside(folder: &Path, target: &Path) -> io::Result<NamedTempFile> {
    let mut builder = named();
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let file = builder.tempfile_in(folder)?;
    lock_if_it_can_be(file.as_file());
    if let Ok(old) = fs::metadata(target) {
        file.as_file().set_permissions(old.permissions())?;
    }
    Ok(file)
}

/// The path with its links followed, as far as it exists.
fn followed(path: &Path) -> PathBuf {
    match fs::symlink_metadata(path) {
        Ok(data) if data.file_type().is_symlink() => {
            fs::canonicalize(path).unwrap_or_else(|_| path.to_owned())
        }
        _ => path.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_new_file_appears_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        bytes(&path, b"whole").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"whole");
        assert_eq!(names(folder.path()), ["a.txt"]);
    }

    #[test]
    fn a_failing_fill_leaves_the_old_file_and_no_temporary() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        bytes(&path, b"old").unwrap();
        let result = file(&path, |out| {
            out.write_all(&[0; 100_000])?;
            Err(io::Error::other("pulled out"))
        });
        let text = result.unwrap_err().to_string();
        assert!(
            text.contains("a.txt") && text.contains("pulled out"),
            "{text}"
        );
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(names(folder.path()), ["a.txt"]);
    }

    #[test]
    fn a_panicking_fill_leaves_the_old_file_and_no_temporary() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        bytes(&path, b"old").unwrap();
        let unwound = std::panic::catch_unwind(|| file(&path, |_| panic!("on purpose")));
        assert!(unwound.is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(names(folder.path()), ["a.txt"]);
    }

    #[test]
    fn a_missing_folder_and_a_folder_in_the_way_are_named() {
        let folder = tempfile::tempdir().unwrap();
        let missing = folder.path().join("none").join("a.txt");
        let text = bytes(&missing, b"x").unwrap_err().to_string();
        assert!(text.contains("a.txt"), "{text}");
        let text = bytes(folder.path(), b"x").unwrap_err().to_string();
        assert!(text.contains("folder with that name"), "{text}");
        assert!(names(folder.path()).is_empty());
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_kept_and_links_followed() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let real = folder.path().join("real.txt");
        let link = folder.path().join("link.txt");
        bytes(&real, b"old").unwrap();
        fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).unwrap();
        symlink(&real, &link).unwrap();
        bytes(&link, b"new").unwrap();
        assert_eq!(fs::read(&real).unwrap(), b"new");
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        let mode = fs::metadata(&real).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o640);
    }
}
