//! The workspace as its files have it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::modules::Files;

/// A crate of the workspace.
pub(crate) struct Member {
    pub name: String,
    /// Its folder, from the workspace on.
    pub folder: String,
    /// Crates of the workspace that its code names, tests left out.
    pub dependencies: BTreeSet<String>,
    pub files: Files,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The lines of a table of a Cargo.toml.
fn table<'a>(toml: &'a str, name: &str) -> impl Iterator<Item = &'a str> {
    let head = format!("[{name}]");
    let after = toml.lines().skip_while(move |line| line.trim() != head);
    after.skip(1).take_while(|line| !line.starts_with('['))
}

/// All crates that hold more than tests.
pub(crate) fn members() -> Vec<Member> {
    let workspace = text(&root().join("Cargo.toml"));
    let places: Vec<(String, String)> = table(&workspace, "workspace.dependencies")
        .filter_map(|line| {
            let (name, rest) = line.split_once(" = { path = \"")?;
            Some((name.to_owned(), rest.split('"').next()?.to_owned()))
        })
        .chain(["tintfall", "tintfall-viewer"].map(|name| {
            let folder = match name {
                "tintfall" => "app/tintfall",
                _ => "app/viewer",
            };
            (name.to_owned(), folder.to_owned())
        }))
        .collect();
    assert!(places.len() > 5, "the workspace's own crates");
    let read = |(name, folder): &(String, String)| {
        let at = root().join(folder);
        let toml = text(&at.join("Cargo.toml"));
        let dependencies = table(&toml, "dependencies")
            .filter_map(|line| line.split(['.', ' ', '=']).next())
            .filter(|name| places.iter().any(|(other, _)| other == name))
            .map(str::to_owned)
            .collect();
        let mut files = Files::new();
        gather(&at.join("src"), "src", &mut files);
        Member {
            name: name.clone(),
            folder: folder.clone(),
            dependencies,
            files,
        }
    };
    places.iter().map(read).collect()
}

fn gather(folder: &Path, named: &str, files: &mut Files) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let entry = entry.expect("an entry");
        let name = format!("{named}/{}", entry.file_name().to_string_lossy());
        match entry.path().is_dir() {
            true => gather(&entry.path(), &name, files),
            false if name.ends_with(".rs") => {
                files.insert(name, text(&entry.path()));
            }
            false => {}
        }
    }
}

/// The arrows between crates as DEVELOPERS.md draws them: after the line `crate ◄ names`, one
/// crate a line and those that it names.
pub(crate) fn map() -> Vec<(String, BTreeSet<String>)> {
    let page = text(&root().join("DEVELOPERS.md"));
    let block = page.lines().skip_while(|line| !line.starts_with("crate "));
    let rows = block.skip(1).take_while(|line| !line.starts_with("```"));
    let read = |line: &str| {
        let mut words = line.split_whitespace().map(str::to_owned);
        Some((words.next()?, words.filter(|w| w != "◄").collect()))
    };
    rows.filter_map(read).collect()
}
