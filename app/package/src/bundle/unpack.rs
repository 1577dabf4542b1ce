//! A ZIP file unpacked into a folder of its own, with care: it comes from outside.

use std::fs::{self, File};
use std::io::{self, BufReader, Read, Write};
use std::path::Path;

use geometry::Progress;
use tempfile::TempDir;
use zip::ZipArchive;

use super::error::{CheckError, Refusal};
use super::manifest::{MOST_FILES, is_plain};

/// A hand-off may unpack to so many times its own size, and to [`FREE`] in any case. Tables pack
/// by 5 to 30 times.
const MOST_EXPANSION: u64 = 60;
const FREE: u64 = 64 << 20;

/// Unpacks a file; nothing is ever written outside of the folder that is given back.
pub(super) fn unpack(path: &Path, progress: &Progress) -> Result<TempDir, CheckError> {
    let refused = |why: Refusal| CheckError::Refused {
        path: path.to_owned(),
        why,
    };
    let file = File::open(path).map_err(|e| refused(Refusal::Unreadable(e)))?;
    let packed = file.metadata().map_or(0, |data| data.len());
    let mut archive =
        ZipArchive::new(BufReader::new(file)).map_err(|e| refused(Refusal::NotZip(e)))?;
    if archive.len() > MOST_FILES {
        return Err(refused(Refusal::TooMany(archive.len())));
    }
    // Of two the archive's reader shows the last alone, and others may show the first.
    if archive.has_duplicate_names() {
        return Err(refused(Refusal::TwoOfOneName));
    }
    if archive.has_overlapping_files().unwrap_or(true) {
        return Err(refused(Refusal::Overlap));
    }
    let folder = TempDir::new().map_err(|e| refused(Refusal::NoFolder(e)))?;
    let mut left = packed.saturating_mul(MOST_EXPANSION).max(FREE);
    for index in 0..archive.len() {
        progress.check()?;
        let entry = archive
            .by_index(index)
            .map_err(|e| refused(Refusal::Damaged(e)))?;
        let name = entry
            .name()
            .map_err(|e| refused(Refusal::NoName(e)))?
            .into_owned();
        if entry.is_dir() && is_plain(name.trim_end_matches('/')) {
            continue;
        }
        if !is_plain(&name) || entry.is_symlink() || !entry.is_file() {
            let name = name.replace(char::is_control, " ");
            return Err(refused(Refusal::NotPlain(name)));
        }
        let to = folder.path().join(&name);
        write(entry, &to, &mut left).map_err(|error| match error.kind() {
            io::ErrorKind::FileTooLarge => refused(Refusal::Expands(MOST_EXPANSION)),
            _ => refused(Refusal::File {
                name,
                source: error,
            }),
        })?;
    }
    Ok(folder)
}

fn write(mut from: impl Read, to: &Path, left: &mut u64) -> io::Result<()> {
    if let Some(parent) = to.parent() {
        fs::create_dir_all(parent)?;
    }
    // Never over a file that is there: a file system may take two names for one.
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    type Writer = ZipWriter<Cursor<Vec<u8>>>;

    fn zip_of(fill: impl FnOnce(&mut Writer)) -> Vec<u8> {
        let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
        fill(&mut archive);
        archive.finish().unwrap().into_inner()
    }

    fn texts(names: &[&str]) -> Vec<u8> {
        zip_of(|archive| {
            for name in names {
                archive
                    .start_file(*name, SimpleFileOptions::default())
                    .unwrap();
                archive.write_all(b"text").unwrap();
            }
        })
    }

    fn unpacked(bytes: &[u8]) -> Result<TempDir, String> {
        let file = tempfile::NamedTempFile::new().unwrap();
        fs::write(file.path(), bytes).unwrap();
        unpack(file.path(), &Progress::new()).map_err(|error| error.to_string())
    }

    #[test]
    fn a_thousand_files_and_no_more() {
        let many = |count: usize| {
            let names: Vec<String> = (0..count).map(|i| format!("{i}.txt")).collect();
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            unpacked(&texts(&names))
        };
        let folder = many(1000).unwrap();
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1000);
        let why = many(1001).unwrap_err();
        assert!(
            why.contains("holds 1001 files; a hand-off holds 1000 at most"),
            "{why}"
        );
    }

    #[test]
    fn files_that_overlap_and_links_are_refused() {
        let mut file = texts(&["a.txt", "b.txt"]);
        // The last entry of the archive's table is made to point to the first file.
        let entry = file
            .windows(4)
            .rposition(|four| four == b"PK\x01\x02")
            .unwrap();
        file[entry + 42..entry + 46].fill(0);
        let why = unpacked(&file).unwrap_err();
        assert!(why.contains("overlap"), "{why}");

        let link = zip_of(|archive| {
            let options = SimpleFileOptions::default();
            archive
                .add_symlink("a.txt", "/etc/hostname", options)
                .unwrap();
        });
        let why = unpacked(&link).unwrap_err();
        assert!(
            why.contains("'a.txt' in it is a link or lies outside of it"),
            "{why}"
        );
    }

    #[test]
    fn two_files_of_one_name_are_refused() {
        let mut file = texts(&["a.txt", "b.txt"]);
        for at in 0..file.len() - 5 {
            if file[at..].starts_with(b"b.txt") {
                file[at] = b'a';
            }
        }
        let why = unpacked(&file).unwrap_err();
        assert!(why.contains("two files in it have the same name"), "{why}");
    }
}
