//! Temporary files and folders: how they are told from those of a program that is gone.
//!
//! A temporary is locked by the program that fills it, and the system frees the lock however
//! that program ends. Whoever next writes into the same folder sweeps out temporaries whose
//! lock is free and that nobody has touched for a minute.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tempfile::{Builder, TempDir};

/// How names of temporaries begin,
const PREFIX: &str = ".writing-";

/// and end.
const SUFFIX: &str = ".tmp";

/// The file in a temporary folder that holds its lock.
const LOCK: &str = ".lock";

/// What a temporary folder holds while something else is put aside in it: never swept.
pub(super) const ASIDE: &str = "old";

/// Between making a temporary and locking it, another program could find it free. So only those
/// are swept that were let be for this long.
const LET_BE: Duration = Duration::from_secs(60);

/// Makes the names of temporaries.
pub(super) fn named<'a>() -> Builder<'a, 'a> {
    let mut builder = Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX);
    builder
}

/// A temporary folder, locked. Dropped, it goes with all that it holds.
pub(super) struct Staged {
    // In this order: a folder with an open file in it can't be removed everywhere, and it must be
    // in the list until it is gone.
    _lock: Option<File>,
    folder: TempDir,
    _listed: Listed,
}

impl Staged {
    /// Makes one in a folder, after sweeping that; `made` are folders above that were made for
    /// it, outermost first.
    pub(super) fn new(parent: &Path, made: &[PathBuf]) -> io::Result<Self> {
        sweep(parent);
        let (listed, folder) = Listed::making(made, || {
            let folder = named().tempdir_in(parent)?;
            Ok((folder.path().to_owned(), folder))
        })?;
        Ok(Self {
            _lock: File::create(folder.path().join(LOCK))
                .ok()
                .inspect(lock_if_it_can_be),
            folder,
            _listed: listed,
        })
    }

    /// Where it is.
    pub(super) fn path(&self) -> &Path {
        self.folder.path()
    }
}

/// Locks a file that was just made; where files can't be locked, it is never swept either.
pub(super) fn lock_if_it_can_be(file: &File) {
    let _ = file.try_lock();
}

/// Removes what programs that are gone have left in a folder, as far as the system lets us.
pub(super) fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if !(name.starts_with(PREFIX) && name.ends_with(SUFFIX)) {
            continue;
        }
        let path = entry.path();
        let Ok(data) = fs::symlink_metadata(&path) else {
            continue;
        };
        let let_be = data.modified().ok().and_then(|at| at.elapsed().ok());
        if let_be.is_none_or(|time| time < LET_BE) {
            continue;
        }
        if data.is_file() {
            sweep_file(&path);
        } else if data.is_dir() {
            sweep_folder(&path);
        }
    }
}

fn sweep_file(path: &Path) {
    if let Ok(file) = File::open(path)
        && file.try_lock().is_ok()
    {
        let _ = fs::remove_file(path);
    }
}

fn sweep_folder(path: &Path) {
    let free = match File::open(path.join(LOCK)) {
        Ok(file) => file.try_lock().is_ok(),
        Err(error) => error.kind() == io::ErrorKind::NotFound,
    };
    if free && !path.join(ASIDE).exists() {
        let _ = fs::remove_dir_all(path);
    }
}

/// The temporaries that this program has on disk.
static LIST: Mutex<Vec<(PathBuf, Vec<PathBuf>)>> = Mutex::new(Vec::new());

/// Keeps a temporary in the list; to be dropped after it.
pub(super) struct Listed(PathBuf);

impl Listed {
    /// Makes a temporary that is in the list from the first; `make` gives its path too.
    pub(super) fn making<T>(
        made: &[PathBuf],
        make: impl FnOnce() -> io::Result<(PathBuf, T)>,
    ) -> io::Result<(Self, T)> {
        let mut list = LIST.lock().unwrap_or_else(PoisonError::into_inner);
        let (path, temporary) = make()?;
        list.push((path.clone(), made.to_vec()));
        Ok((Self(path), temporary))
    }
}

impl Drop for Listed {
    fn drop(&mut self) {
        let mut list = LIST.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(at) = list.iter().position(|(path, _)| *path == self.0) {
            list.swap_remove(at);
        }
    }
}

/// Held while several files are put in place.
static PLACING: Mutex<()> = Mutex::new(());

/// Begins to put files in place, which [`give_up`] lets end.
pub(super) fn placing() -> MutexGuard<'static, ()> {
    PLACING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes the temporaries of every writing that is under way, for a program that is about to
/// end in its midst. What is being replaced stays as it was. After this, whoever wants to make a
/// temporary, drop one, or put a set of files in place waits for that end.
pub fn give_up() {
    std::mem::forget(placing());
    let mut list = LIST.lock().unwrap_or_else(PoisonError::into_inner);
    for (path, made) in list.drain(..) {
        // Something put aside is worth more than a tidy folder.
        if path.is_dir() && !path.join(ASIDE).exists() {
            let _ = fs::remove_dir_all(&path);
        } else {
            let _ = fs::remove_file(&path);
        }
        super::parents::remove(&made);
    }
    std::mem::forget(list);
}

/// Waits until no other program of ours puts files in place in a folder, and keeps others
/// waiting as long as what it gives lives. It waits no longer than two seconds, and not at all
/// where folders can't be locked.
pub(super) fn alone_in(folder: &Path) -> Option<File> {
    let handle = File::open(folder).ok()?;
    for _ in 0..200 {
        match handle.try_lock() {
            Err(fs::TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(10)),
            _ => break,
        }
    }
    Some(handle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::SystemTime;

    fn age(path: &Path) {
        let old = SystemTime::now() - 2 * LET_BE;
        File::open(path).unwrap().set_modified(old).unwrap();
    }

    #[test]
    fn what_a_program_that_is_gone_has_left_is_swept_by_the_next_writing() {
        let root = tempfile::tempdir().unwrap();
        let at = |name: &str| root.path().join(name);
        for name in [
            ".writing-a.tmp",
            ".writing-held.tmp",
            ".writing-new.tmp",
            "mine.tmp",
        ] {
            fs::write(at(name), "half").unwrap();
        }
        for name in [".writing-b.tmp", ".writing-aside.tmp"] {
            fs::create_dir(at(name)).unwrap();
            fs::write(at(name).join(LOCK), "").unwrap();
        }
        fs::create_dir(at(".writing-aside.tmp").join(ASIDE)).unwrap();
        let held = File::open(at(".writing-held.tmp")).unwrap();
        held.lock().unwrap();
        for entry in fs::read_dir(root.path()).unwrap() {
            let entry = entry.unwrap();
            if entry.file_name() != ".writing-new.tmp" {
                age(&entry.path());
            }
        }
        super::super::bytes(&at("plan.txt"), b"whole").unwrap();
        let mut names: Vec<String> = fs::read_dir(root.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        let left = [
            ".writing-aside.tmp",
            ".writing-held.tmp",
            ".writing-new.tmp",
        ];
        assert_eq!(names[..3], left);
        assert_eq!(names[3..], ["mine.tmp", "plan.txt"]);
    }

    #[test]
    fn a_program_that_ends_at_once_takes_its_temporaries_along() {
        let root = tempfile::tempdir().unwrap();
        let made = root.path().join("made");
        fs::create_dir(&made).unwrap();
        let staged = Staged::new(&made, std::slice::from_ref(&made)).unwrap();
        fs::write(staged.path().join("a.txt"), "half").unwrap();
        // Only this test's, for others run beside it.
        let list: Vec<_> = LIST.lock().unwrap().clone();
        assert!(list.iter().any(|(path, _)| path == staged.path()));
        drop(staged);
        let list: Vec<_> = LIST.lock().unwrap().clone();
        assert!(!list.iter().any(|(path, _)| path.starts_with(&made)));
    }
}
