//! Several files that belong together: all of them appear, or none does.

use std::ffi::OsString;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::parents::{make, remove};
use super::unfinished::{Staged, alone_in, placing};
use super::{WriteError, file, parent_of, sync_folder};

/// A set of files on its way into a folder.
///
/// Files are written to a hidden folder first. [`Folder::commit`] renames them into place;
/// when a rename fails, those before it are undone. Dropped without `commit`, nothing
/// remains. Other files that lie in the target folder are left alone.
///
/// A machine that stops between two renames of one `commit` can leave new files beside old
/// ones, each of them whole. Of two programs that commit to one folder at once, one waits for
/// the other, so the files are all of one or all of the other.
pub struct Folder {
    target: PathBuf,
    staged: Option<Staged>,
    /// The target's folders that had to be made, outermost first.
    made: Vec<PathBuf>,
    names: Vec<OsString>,
}

impl Folder {
    /// Begins; the target and its parents are made when they are missing, and removed
    /// again unless the set is committed.
    ///
    /// # Errors
    /// [`WriteError`] when the target is a file, or may not be written to.
    pub fn new(target: &Path) -> Result<Self, WriteError> {
        let failed = || WriteError::new(target, "make the folder");
        if target.exists() && !target.is_dir() {
            let in_the_way = io::Error::new(
                io::ErrorKind::NotADirectory,
                "there is a file with that name; choose another folder, or move the file",
            );
            return Err(failed()(in_the_way));
        }
        let made = make(target).map_err(failed())?;
        let staged = Staged::new(target, &made).map_err(|error| {
            remove(&made);
            failed()(error)
        })?;
        Ok(Self {
            target: target.to_owned(),
            staged: Some(staged),
            made,
            names: Vec::new(),
        })
    }

    /// Writes one file of the set.
    ///
    /// # Errors
    /// [`WriteError`] when `fill` fails or the system refuses.
    pub fn file(
        &mut self,
        name: &str,
        fill: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), WriteError> {
        file(&self.staged().join(name), fill).map_err(|e| WriteError {
            path: self.target.join(name),
            ..e
        })?;
        let name = OsString::from(name);
        if !self.names.contains(&name) {
            self.names.push(name);
        }
        Ok(())
    }

    /// Writes one file of the set from bytes at hand.
    ///
    /// # Errors
    /// As [`Folder::file`].
    pub fn bytes(&mut self, name: &str, content: &[u8]) -> Result<(), WriteError> {
        self.file(name, |out| out.write_all(content))
    }

    /// Puts all files in place; gives their paths in the order they were written.
    ///
    /// # Errors
    /// [`WriteError`] when a rename fails; what lay there before is back in place.
    pub fn commit(mut self) -> Result<Vec<PathBuf>, WriteError> {
        let kept = self.staged().join(".replaced");
        fs::create_dir(&kept).map_err(WriteError::new(&self.target, "write to"))?;
        let _placing = placing();
        let _alone = alone_in(&self.target);
        let names = std::mem::take(&mut self.names);
        for (done, name) in names.iter().enumerate() {
            if let Err(error) = self.put(&kept, name) {
                for name in names[..done].iter().rev() {
                    self.take_back(&kept, name);
                }
                let path = self.target.join(name);
                return Err(WriteError::new(&path, "put in place")(error));
            }
        }
        self.made.clear();
        sync_folder(&self.target);
        sync_folder(parent_of(&self.target));
        Ok(names.iter().map(|n| self.target.join(n)).collect())
    }

    /// Where files wait.
    fn staged(&self) -> &Path {
        self.staged.as_ref().map_or(&self.target, Staged::path)
    }

    /// Keeps an old file and moves the new one over it, so that at no moment there is none.
    fn put(&self, kept: &Path, name: &OsString) -> io::Result<()> {
        let place = self.target.join(name);
        let had_old = fs::symlink_metadata(&place).is_ok();
        if place.is_dir() {
            return Err(io::Error::other("there is a folder with that name"));
        }
        if had_old {
            let kept = kept.join(name);
            fs::hard_link(&place, &kept).or_else(|_| fs::copy(&place, &kept).map(drop))?;
        }
        fs::rename(self.staged().join(name), &place)
    }

    /// Undoes [`Folder::put`] as far as the system lets us.
    fn take_back(&self, kept: &Path, name: &OsString) {
        let place = self.target.join(name);
        let _ = match kept.join(name).exists() {
            true => fs::rename(kept.join(name), &place),
            false => fs::remove_file(&place),
        };
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // First what lies in them.
        drop(self.staged.take());
        remove(&self.made);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(folder: &Path) -> usize {
        fs::read_dir(folder).unwrap().count()
    }

    #[test]
    fn all_files_appear_together() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("deep").join("out");
        let mut set = Folder::new(&target).unwrap();
        set.bytes("a.txt", b"a").unwrap();
        set.bytes("b.txt", b"b").unwrap();
        assert!(!target.join("a.txt").exists());
        let paths = set.commit().unwrap();
        assert_eq!(paths, [target.join("a.txt"), target.join("b.txt")]);
        assert_eq!(fs::read(target.join("b.txt")).unwrap(), b"b");
        assert_eq!(count(&target), 2);
    }

    #[test]
    fn dropped_it_leaves_nothing_not_even_folders() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("deep").join("out");
        let mut set = Folder::new(&target).unwrap();
        set.bytes("a.txt", b"a").unwrap();
        drop(set);
        assert_eq!(count(root.path()), 0);
    }

    #[test]
    fn other_files_stay_and_old_ones_are_replaced() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("mine.txt"), "mine").unwrap();
        fs::write(root.path().join("a.txt"), "old").unwrap();
        let mut set = Folder::new(root.path()).unwrap();
        set.bytes("a.txt", b"new").unwrap();
        set.commit().unwrap();
        assert_eq!(fs::read(root.path().join("a.txt")).unwrap(), b"new");
        assert_eq!(fs::read(root.path().join("mine.txt")).unwrap(), b"mine");
        assert_eq!(count(root.path()), 2);
    }

    #[test]
    fn a_failing_file_leaves_the_old_set() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("a.txt"), "old").unwrap();
        let mut set = Folder::new(root.path()).unwrap();
        set.bytes("a.txt", b"new").unwrap();
        let failed = set.file("b.txt", |_| Err(io::Error::other("no room")));
        let text = failed.unwrap_err().to_string();
        assert!(text.contains("b.txt") && text.contains("no room"), "{text}");
        drop(set);
        assert_eq!(fs::read(root.path().join("a.txt")).unwrap(), b"old");
        assert_eq!(count(root.path()), 1);
    }

    #[test]
    fn a_failing_rename_is_undone() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join("a.txt"), "old").unwrap();
        fs::create_dir(root.path().join("c.txt")).unwrap();
        let mut set = Folder::new(root.path()).unwrap();
        for name in ["a.txt", "b.txt", "c.txt"] {
            set.bytes(name, b"new").unwrap();
        }
        assert!(set.commit().is_err());
        assert_eq!(fs::read(root.path().join("a.txt")).unwrap(), b"old");
        assert!(!root.path().join("b.txt").exists());
        assert!(root.path().join("c.txt").is_dir());
        assert_eq!(count(root.path()), 2);
    }

    #[test]
    fn a_file_in_the_way_is_named() {
        let root = tempfile::tempdir().unwrap();
        let path = root.path().join("out");
        fs::write(&path, "mine").unwrap();
        let text = Folder::new(&path).err().unwrap().to_string();
        assert!(text.contains("a file with that name"), "{text}");
        assert_eq!(fs::read(&path).unwrap(), b"mine");
    }
}
