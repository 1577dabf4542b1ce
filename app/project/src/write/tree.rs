//! A folder that is written as one, with all that it holds.

use std::fs;
use std::io;
use std::path::Path;

use super::parents::{make, remove};
use super::unfinished::{ASIDE, Staged, alone_in, placing};
use super::{WriteError, parent_of, sync_folder};

/// Writes a folder whole: `fill` gets an empty one beside it. What lies at the target, if
/// anything, is replaced in one step where the system can do that (Linux and macOS can on their
/// own file systems), and otherwise put aside for that moment.
///
/// # Errors
/// What `fill` says, or [`WriteError`] when the system refuses; the old folder is untouched then.
pub fn tree(
    target: &Path,
    fill: impl FnOnce(&Path) -> Result<(), WriteError>,
) -> Result<(), WriteError> {
    let parent = parent_of(target);
    let made = make(parent).map_err(WriteError::new(parent, "make the folder"))?;
    let staged = Staged::new(parent, &made);
    let done = staged
        .map_err(WriteError::new(target, "make a folder beside"))
        .and_then(|staged| {
            let new = staged.path().join("new");
            fs::create_dir(&new).map_err(WriteError::new(target, "make a folder beside"))?;
            fill(&new).map_err(|error| told_of(target, &new, error))?;
            let _placing = placing();
            let _alone = alone_in(parent);
            put(&new, target, staged.path()).map_err(WriteError::new(target, "put in place"))
        });
    match done {
        Ok(()) => sync_folder(parent),
        Err(_) => remove(&made),
    }
    done
}

/// An error about the folder beside, told about the place that its files were meant for.
fn told_of(target: &Path, new: &Path, error: WriteError) -> WriteError {
    match error.path.strip_prefix(new) {
        Ok(within) if within.as_os_str().is_empty() => WriteError {
            path: target.to_owned(),
            ..error
        },
        Ok(within) => WriteError {
            path: target.join(within),
            ..error
        },
        Err(_) => error,
    }
}

fn put(new: &Path, target: &Path, staged: &Path) -> io::Result<()> {
    if fs::symlink_metadata(target).is_err() {
        return fs::rename(new, target);
    }
    match exchange(new, target) {
        Ok(()) => Ok(()),
        Err(_) => put_aside(new, target, staged),
    }
}

fn put_aside(new: &Path, target: &Path, staged: &Path) -> io::Result<()> {
    let old = staged.join(ASIDE);
    fs::rename(target, &old)?;
    match fs::rename(new, target) {
        // What was put aside goes with the folder beside.
        Ok(()) => fs::remove_dir_all(&old).or(Ok(())),
        Err(error) => {
            // As far as the system lets us.
            let _ = fs::rename(&old, target);
            Err(error)
        }
    }
}

/// Lets two folders change places in one step.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::write;

    fn fill(text: &'static str) -> impl Fn(&Path) -> Result<(), WriteError> {
        move |folder| write::bytes(&folder.join(text), text.as_bytes())
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap();
        let names = entries.map(|e| e.unwrap().file_name().into_string().unwrap());
        names.collect()
    }

    #[test]
    fn a_folder_is_replaced_whole() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("deep").join("out");
        tree(&target, fill("a")).unwrap();
        assert_eq!(names(&target), ["a"]);
        tree(&target, fill("b")).unwrap();
        assert_eq!(names(&target), ["b"]);
        assert_eq!(names(&root.path().join("deep")), ["out"]);
    }

    #[test]
    fn where_two_folders_cant_change_places_the_old_one_is_put_aside() {
        let root = tempfile::tempdir().unwrap();
        let (new, target) = (root.path().join("new"), root.path().join("out"));
        for (folder, name) in [(&new, "b"), (&target, "a")] {
            fs::create_dir(folder).unwrap();
            fs::write(folder.join(name), name).unwrap();
        }
        put_aside(&new, &target, root.path()).unwrap();
        assert_eq!(names(&target), ["b"]);
        assert_eq!(names(root.path()), ["out"]);
        // There is no new one any more: the old one comes back.
        assert!(put_aside(&new, &target, root.path()).is_err());
        assert_eq!(names(&target), ["b"]);
    }

    #[test]
    fn failing_it_leaves_what_was_there_and_nothing_else() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("deep").join("out");
        let fails = |folder: &Path| {
            fill("half")(folder)?;
            Err(WriteError::new(folder, "write")(io::Error::other(
                "no room",
            )))
        };
        assert!(tree(&target, fails).is_err());
        assert!(names(root.path()).is_empty());
        tree(&target, fill("a")).unwrap();
        assert_eq!(tree(&target, fails).unwrap_err().path, target);
        assert_eq!(names(&target), ["a"]);
        assert_eq!(names(&root.path().join("deep")), ["out"]);
        // The one beside is no place that anyone knows.
        let fails_within = |folder: &Path| {
            Err(WriteError::new(&folder.join("b"), "write")(
                io::Error::other("no room"),
            ))
        };
        let told = tree(&target, fails_within).unwrap_err();
        assert_eq!(told.path, target.join("b"));
    }

    #[test]
    fn of_two_at_once_one_stays_whole() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("out");
        for _ in 0..20 {
            std::thread::scope(|scope| {
                for text in ["a", "b"] {
                    let target = &target;
                    scope.spawn(move || tree(target, fill(text)).unwrap());
                }
            });
            let found = names(&target);
            assert!(found == ["a"] || found == ["b"], "{found:?}");
            assert_eq!(names(root.path()), ["out"]);
        }
    }
}
