//! The manifest: what a hand-off holds.

use std::collections::HashSet;
use std::path::{Component, Path};

use plan::TextError;
use plan::document::sha256_hex;
use plan::ron_text::{self, Document, Path as Place, Problem};
use ron::ser::path_meta::Field;
use serde::{Deserialize, Serialize};

use project::record::RECORD;
use project::signoff::Standing;

/// The manifest's name.
pub const MANIFEST: &str = "manifest.ron";
/// The name of the list for `sha256sum --check`.
pub const SUMS: &str = "SHA256SUMS";

/// Where the records of prints go.
const RECORDS: &str = "record";

/// Where the record of a print goes, by its number from 1.
pub(super) fn place_of_record(number: usize) -> String {
    format!("{RECORDS}/{number}")
}

/// No hand-off holds as many files.
pub(super) const MOST_FILES: usize = 1000;

/// What is said of one that does.
pub(super) fn too_many(count: usize) -> String {
    format!("holds {count} files; a hand-off holds {MOST_FILES} at most")
}

/// What a hand-off holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Version of this format.
    pub version: u32,
    /// What the part is.
    pub title: String,
    /// The program's version.
    pub made_by: String,
    /// The plan's place within the hand-off.
    pub plan: String,
    /// SHA-256 over the plan's contents.
    pub plan_sha256: String,
    /// SHA-256 over the placed mesh.
    pub mesh_sha256: String,
    /// How the plan stood when it was handed off.
    pub review: Standing,
    /// Every file but the manifest itself and the list of sums.
    pub files: Vec<Entry>,
}

/// One file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Its place within the hand-off, with `/` between folders.
    pub name: String,
    /// What it is.
    pub what: String,
    /// Its size.
    pub bytes: u64,
    /// Its SHA-256.
    pub sha256: String,
}

impl Entry {
    /// Of a file at hand.
    pub fn of(name: &str, what: &str, content: &[u8]) -> Self {
        Self {
            name: name.to_owned(),
            what: what.to_owned(),
            bytes: content.len() as u64,
            sha256: sha256_hex(content),
        }
    }
}

impl Manifest {
    /// Version of the format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Reads a manifest.
    ///
    /// # Errors
    /// [`TextError`] with line and column; a name that points out of the hand-off is an error.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a manifest; [`Manifest::from_ron`] of it gives the same one.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }

    /// How many records of prints there are.
    pub(super) fn records(&self) -> usize {
        let named = |number: &usize| {
            let name = format!("{}/{RECORD}", place_of_record(*number));
            self.files.iter().any(|entry| entry.name == name)
        };
        (1..).take_while(named).count()
    }

    /// The list as `sha256sum` of GNU coreutils writes and checks it.
    pub fn sums(&self) -> String {
        let line = |entry: &Entry| format!("{}  {}\n", entry.sha256, entry.name);
        self.files.iter().map(line).collect()
    }
}

/// Whether a name stays within the hand-off on every system.
pub(super) fn is_plain(name: &str) -> bool {
    let plain = |c: Component<'_>| matches!(c, Component::Normal(_));
    !name.is_empty()
        && !name.contains(['\\', ':', '\0', '\n'])
        && !name.starts_with('/')
        && !name
            .split('/')
            .any(|part| part.is_empty() || part == "." || part == "..")
        && Path::new(name).components().all(plain)
}

impl Document for Manifest {
    const KIND: &'static str = "manifest";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        let files = Place::field("files");
        if self.files.len() > MOST_FILES {
            return vec![Problem::new(files, too_many(self.files.len()))];
        }
        let mut known = HashSet::new();
        for (i, entry) in self.files.iter().enumerate() {
            if !is_plain(&entry.name) {
                let what = format!(
                    "'{}' is not a valid file name in a hand-off; don't use it",
                    entry.name
                );
                found.push(Problem::new(files.at(i).then("name"), what));
            }
            if !known.insert(entry.name.as_str()) {
                let what = format!("'{}' is here twice", entry.name);
                found.push(Problem::new(files.at(i).then("name"), what));
            }
        }
        if !known.contains(self.plan.as_str()) {
            let what = format!("the plan '{}' is not among the files", self.plan);
            found.push(Problem::new(Place::field("plan"), what));
        }
        found
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            fields
                .field("files")
                .with_doc("Every file. Check them with `tintfall check-handoff`.");
        });
        top
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_stay_within() {
        for good in ["a.txt", "source/a b.plan.ron", "ä/ö.stl", "..a/b..c"] {
            assert!(is_plain(good), "{good}");
        }
        for bad in [
            "", "/a", "../a", "a/../b", "a//b", "./a", "a/", "a\\b", "c:a", "a\0",
        ] {
            assert!(!is_plain(bad), "{bad:?}");
        }
    }

    #[test]
    fn a_thousand_files_and_no_more() {
        let text = |count: usize| {
            let entry = |i| Entry::of(&format!("{i}.txt"), "a note", b"");
            let manifest = Manifest {
                version: 1,
                title: String::new(),
                made_by: "Tintfall".into(),
                plan: "0.txt".into(),
                plan_sha256: String::new(),
                mesh_sha256: String::new(),
                review: Standing::not_reviewed(),
                files: (0..count).map(entry).collect(),
            };
            manifest.to_ron().unwrap()
        };
        assert_eq!(Manifest::from_ron(&text(1000)).unwrap().files.len(), 1000);
        let error = Manifest::from_ron(&text(1001)).unwrap_err().to_string();
        assert!(
            error.contains("holds 1001 files; a hand-off holds 1000 at most"),
            "{error}"
        );
        assert!(error.contains("line "), "{error}");
    }

    proptest! {
        #[test]
        fn it_reads_back_equal(names in prop::collection::btree_set("[a-z ]{1,12}", 1..6), title in "\\PC{0,30}") {
            let files: Vec<Entry> = names.iter()
                .map(|n| Entry::of(&format!("x{n}"), &title, n.as_bytes())).collect();
            let manifest = Manifest {
                version: 1,
                title: title.clone(),
                made_by: "Tintfall".into(),
                plan: files[0].name.clone(),
                plan_sha256: String::new(),
                mesh_sha256: String::new(),
                review: Standing::not_reviewed(),
                files,
            };
            let text = manifest.to_ron().unwrap();
            prop_assert_eq!(Manifest::from_ron(&text).unwrap(), manifest);
        }
    }
}
