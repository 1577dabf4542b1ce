//! A record's folder, read and checked.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use plan::TextError;
use plan::document::sha256_hex;

use super::document::Record;
use super::names::{PictureOf, RECORD};
use crate::signoff::Seal;
use crate::text_file::{TextFileError, read_text};

/// No file of a record is anywhere near this long, bytes.
const LONGEST: u64 = 256 << 20;

/// No picture for a page is wider or taller, pixels.
const MOST_PIXELS: u32 = 4096;

/// Why a folder is not taken for the record of a print.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It has no file that says what is in it, or one that can't be read.
    #[error("{}: {why}; name a folder that `tintfall seen` wrote, with its {RECORD}", path.display())]
    NoRecord {
        /// The file.
        path: PathBuf,
        /// Why.
        why: TextFileError,
    },
    /// That file is wrong.
    #[error(transparent)]
    Text(#[from] TextError),
    /// Another file is missing, or not as it was.
    #[error("{}: {why}; read the photographs again with `tintfall seen`", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        why: FileFault,
    },
}

/// What is wrong with a file of a record: a clause that goes on from its name.
#[derive(Debug, thiserror::Error)]
pub enum FileFault {
    /// The system says no.
    #[error("can't be read: {0}")]
    Io(#[from] io::Error),
    /// There is something else in its place, or more than a record ever holds.
    #[error("is no file of up to {} MiB", LONGEST >> 20)]
    NoFile,
    /// It is not as it was.
    #[error("was changed after the record was written: its SHA-256 differs")]
    Changed,
    /// A page can't show it.
    #[error("is no PNG picture of up to {MOST_PIXELS} × {MOST_PIXELS} pixels")]
    NoPicture,
}

/// A record and all of its files, as they are said to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Opened {
    /// What was seen.
    pub record: Record,
    /// The files: names and bytes, [`RECORD`] first.
    pub files: Vec<(String, Vec<u8>)>,
}

/// A picture for a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Png<'a> {
    /// The file's bytes.
    pub bytes: &'a [u8],
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

impl Opened {
    /// Reads a record's folder and checks every file against its hash.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn read(folder: &Path) -> Result<Self, RecordError> {
        let path = folder.join(RECORD);
        let text = match read_text(&path) {
            Ok(text) => text,
            Err(why) => return Err(RecordError::NoRecord { path, why }),
        };
        let named = path.display().to_string();
        let record = Record::from_ron(&text).map_err(|error| error.in_file(&named))?;
        let mut files = vec![(RECORD.to_owned(), text.into_bytes())];
        for file in &record.files {
            let path = folder.join(&file.name);
            match checked(&path, &file.sha256) {
                Ok(bytes) => files.push((file.name.clone(), bytes)),
                Err(why) => return Err(RecordError::File { path, why }),
            }
        }
        let opened = Self { record, files };
        opened.pictures_can_be_shown(folder)?;
        Ok(opened)
    }

    /// A file's bytes.
    pub fn file(&self, name: &str) -> Option<&[u8]> {
        let found = self.files.iter().find(|(own, _)| own == name);
        found.map(|(_, bytes)| bytes.as_slice())
    }

    /// SHA-256 of the file that names the others.
    pub fn sha256(&self) -> String {
        sha256_hex(self.file(RECORD).unwrap_or_default())
    }

    /// A picture of a photograph by its number from 1.
    pub fn picture(&self, of: PictureOf, photograph: usize) -> Option<Png<'_>> {
        png(self.file(&of.file(photograph))?)
    }

    /// What is another in a plan than when the photographs were read, in words for a list; empty
    /// if the record is of this very state.
    pub fn changed(&self, now: &Seal) -> Vec<String> {
        if self.record.seal == *now {
            return Vec::new();
        }
        match now.changed_since(&self.record.seal) {
            // A seal whose hashes contradict each other.
            none if none.is_empty() => vec!["something".to_owned()],
            changed => changed,
        }
    }

    fn pictures_can_be_shown(&self, folder: &Path) -> Result<(), RecordError> {
        for number in 1..=self.record.photographs.len() {
            for of in PictureOf::ALL {
                if self.picture(of, number).is_none() {
                    return Err(RecordError::File {
                        path: folder.join(of.file(number)),
                        why: FileFault::NoPicture,
                    });
                }
            }
        }
        Ok(())
    }
}

/// A file's bytes if they have this hash.
fn checked(path: &Path, sha256: &str) -> Result<Vec<u8>, FileFault> {
    let data = fs::metadata(path)?;
    if !data.is_file() || data.len() > LONGEST {
        return Err(FileFault::NoFile);
    }
    let bytes = fs::read(path)?;
    match sha256_hex(&bytes) == sha256 {
        true => Ok(bytes),
        false => Err(FileFault::Changed),
    }
}

/// A PNG picture by its signature and the header that comes first in it (PNG, third edition,
/// W3C, 5.2 and 11.2.1).
fn png(bytes: &[u8]) -> Option<Png<'_>> {
    let head = bytes.strip_prefix(b"\x89PNG\r\n\x1a\n")?;
    let head = head.get(4..)?.strip_prefix(b"IHDR")?;
    let number = |from: usize| {
        let four = head.get(from..from + 4)?;
        let number = u32::from_be_bytes(four.try_into().ok()?);
        (1..=MOST_PIXELS).contains(&number).then_some(number)
    };
    Some(Png {
        bytes,
        width: number(0)?,
        height: number(4)?,
    })
}

#[cfg(test)]
mod tests {
    use super::super::document::tests::{seal, taken};
    use super::super::document::{FileHash, Taken};
    use super::super::names::file_names;
    use super::*;

    /// The smallest picture there is: one pixel.
    fn pixel() -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x01\0\0\0\x01".to_vec();
        bytes.extend(b"\x08\x02\0\0\0");
        bytes
    }

    fn write(folder: &Path, taken: Taken) {
        let mut files = Vec::new();
        for name in file_names(taken.photographs.len()) {
            let bytes = match name.ends_with(".png") {
                true => pixel(),
                false => name.clone().into_bytes(),
            };
            fs::write(folder.join(&name), &bytes).unwrap();
            let sha256 = sha256_hex(&bytes);
            files.push(FileHash { name, sha256 });
        }
        let record = Record::new(taken, seal(), "2026-03-01T09:30:00Z".to_owned(), files);
        fs::write(folder.join(RECORD), record.unwrap().to_ron().unwrap()).unwrap();
    }

    #[test]
    fn a_folder_is_read_whole_and_what_was_changed_in_it_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let folder = folder.path();
        let refused = || Opened::read(folder).unwrap_err().to_string();
        assert!(refused().contains("a folder that `tintfall seen` wrote"));
        write(folder, taken("Post", &[(40.0, 1.0)]));
        let opened = Opened::read(folder).unwrap();
        assert_eq!(opened.files.len(), 1 + 2 + 6);
        assert_eq!(opened.file("regions.csv"), Some(&b"regions.csv"[..]));
        let seen = opened.picture(PictureOf::Seen, 1).unwrap();
        assert_eq!((seen.width, seen.height), (1, 1));
        assert_eq!(opened.picture(PictureOf::Seen, 2), None);

        fs::write(folder.join("colours.csv"), "other").unwrap();
        let error = refused();
        assert!(error.contains("colours.csv: was changed"), "{error}");
        fs::remove_file(folder.join("colours.csv")).unwrap();
        assert!(refused().contains("colours.csv: can't be read"));
        fs::write(folder.join(RECORD), "(version: 9)").unwrap();
        let error = refused();
        assert!(error.contains("record.ron: line 1, column 11"), "{error}");
        assert!(error.contains("version 9"), "{error}");
    }

    #[test]
    fn it_says_what_is_another_in_the_plan() {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), taken("Post", &[]));
        let opened = Opened::read(folder.path()).unwrap();
        assert!(opened.changed(&seal()).is_empty());
        let mut now = seal();
        now.mesh_file_sha256 = sha256_hex(b"another");
        assert_eq!(opened.changed(&now), ["the mesh"]);
        now.plan_file_sha256 = sha256_hex(b"another");
        now.contents_sha256 = sha256_hex(b"another");
        assert_eq!(opened.changed(&now), ["the mesh", "the plan"]);
    }

    #[test]
    fn what_is_no_picture_is_not_shown() {
        assert!(png(&pixel()).is_some());
        let mut wide = pixel();
        wide[16] = 1;
        assert!(png(&wide).is_none());
        assert!(png(b"<svg/>").is_none() && png(&pixel()[..20]).is_none());
    }
}
