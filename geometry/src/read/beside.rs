//! Files that a mesh file names and that lie beside it: materials, textures, buffers.

use std::fs::File;
use std::io::Read;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

/// What all files beside a mesh may hold together, bytes.
const MOST_BYTES: u64 = 512 << 20;
/// How many of them are read.
const MOST_FILES: usize = 256;

/// The folder of a mesh file, as far as its own names reach.
#[derive(Debug)]
pub(super) struct Beside {
    /// None where the mesh is in memory and lies nowhere.
    folder: Option<PathBuf>,
    /// How many bytes may still be read.
    left: u64,
    /// The names of the files that were read, in order, each once.
    read: Vec<String>,
}

impl Beside {
    /// Of a mesh file; of one that is in memory, nothing lies beside it.
    pub(super) fn new(mesh: Option<&Path>) -> Self {
        Self {
            folder: mesh.map(|path| path.parent().unwrap_or(Path::new("")).to_owned()),
            left: MOST_BYTES,
            read: Vec::new(),
        }
    }

    /// The names of the files that were read, as seen from the mesh's folder.
    pub(super) fn into_read(self) -> Vec<String> {
        self.read
    }

    /// Reads a file by the name that the mesh has for it; else says why not, in a clause that
    /// goes on from the name. A name that leads out of the folder stands for the file of the
    /// same name in it.
    pub(super) fn read(&mut self, named: &str) -> Result<Arc<Vec<u8>>, String> {
        let folder = self.folder.as_ref().ok_or("does not lie beside it")?;
        let name = plain(named).ok_or("is no file's name")?;
        let path = folder.join(&name);
        let data = path.metadata().map_err(|e| format!("can't be read: {e}"))?;
        if !data.is_file() {
            return Err("is a folder or a device, not a file".into());
        }
        let known = self.read.contains(&name);
        if self.read.len() >= MOST_FILES && !known {
            return Err(format!(
                "was not read: {MOST_FILES} files were read before it"
            ));
        }
        let mut bytes = Vec::new();
        let most = self.left;
        let file = File::open(&path).map_err(|e| format!("can't be read: {e}"))?;
        file.take(most + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| format!("can't be read: {e}"))?;
        self.left = most.checked_sub(bytes.len() as u64).ok_or_else(|| {
            format!(
                "was not read: more than {} MiB lie beside it",
                MOST_BYTES >> 20
            )
        })?;
        if !known {
            self.read.push(name);
        }
        Ok(Arc::new(bytes))
    }
}

/// A name that stays in the folder; `None` if there is none in it.
pub(super) fn plain(named: &str) -> Option<String> {
    let named = named.trim().replace('\\', "/");
    let mut parts: Vec<&str> = Vec::new();
    let mut inside = !named.contains(':') && !named.starts_with('/');
    for part in Path::new(&named).components() {
        match part {
            Component::Normal(part) => parts.push(part.to_str()?),
            Component::CurDir => {}
            _ => inside = false,
        }
    }
    let last = *parts.last()?;
    let name = match inside {
        true => parts.join("/"),
        false => last.rsplit(':').next().unwrap_or(last).to_owned(),
    };
    (!name.is_empty() && !name.contains(char::is_control)).then_some(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_leads_out_of_the_folder() {
        let is =
            |named: &str, name: Option<&str>| assert_eq!(plain(named).as_deref(), name, "{named}");
        is("skin.png", Some("skin.png"));
        is("./maps\\skin one.png", Some("maps/skin one.png"));
        is("../../etc/passwd", Some("passwd"));
        is("/etc/passwd", Some("passwd"));
        is("C:\\scans\\skin.png", Some("skin.png"));
        is("C:skin.png", Some("skin.png"));
        is("file:///etc/passwd", Some("passwd"));
        is("..", None);
        is(" ", None);
        is("a\u{0}b", None);
        assert!(Beside::new(None).read("skin.png").is_err());
    }

    #[test]
    fn files_are_read_and_named() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("skin.png"), b"abc").unwrap();
        let mut beside = Beside::new(Some(&folder.path().join("scan.obj")));
        assert_eq!(*beside.read("skin.png").unwrap(), b"abc");
        assert_eq!(*beside.read("./skin.png").unwrap(), b"abc");
        assert!(
            beside
                .read("none.png")
                .unwrap_err()
                .contains("can't be read")
        );
        assert_eq!(beside.into_read(), ["skin.png"]);
    }
}
