//! What strangers may hand in, and what must hold of it: bytes go in, and whoever reads them
//! answers with a value or with an error, soon, and never with a panic.
//!
//! Each [`Door`] is one reader with the checks that any answer of it must pass. The same bodies
//! are run by the fuzzer (`tests/fuzz`), which makes up bytes, and by `cargo test`, which goes
//! through the bytes kept in `tests/knocks/corpus`, one folder a door: small good files, and
//! every file that was ever a bug. A new reader is one line in [`DOORS`].

mod bundle;
mod mesh;
mod picture;
mod tables;
mod texts;
mod toolpath;
mod weave;

/// A reader, and the checks on what it answers.
#[derive(Clone, Copy, Debug)]
pub struct Door {
    /// Its name, which is also its folder's in the corpus.
    pub name: &'static str,
    /// Hands it bytes; panics when the answer breaks a promise.
    pub knock: fn(&[u8]),
}

const fn door(name: &'static str, knock: fn(&[u8])) -> Door {
    Door { name, knock }
}

/// All readers.
pub const DOORS: [Door; 21] = [
    door("stl", mesh::stl),
    door("obj", mesh::obj),
    door("ply", mesh::ply),
    door("3mf", mesh::three_mf),
    door("3mf-read-back", mesh::three_mf_read_back),
    door("plan", texts::plan),
    door("machine", texts::machine),
    door("spools", texts::spools),
    door("schedule", texts::schedule),
    door("dialect", texts::dialect),
    door("signatures", texts::signatures),
    door("manifest", texts::manifest),
    door("patches", texts::patches),
    door("measured", tables::measured),
    door("spectrum", tables::spectrum),
    door("seen", tables::seen),
    door("lag", tables::lag),
    door("toolpath", toolpath::round_trip),
    door("weave", weave::weave),
    door("bundle", bundle::zip),
    door("photo", picture::photo),
];

/// The door of a name.
pub fn named(name: &str) -> Option<Door> {
    DOORS.into_iter().find(|door| door.name == name)
}
