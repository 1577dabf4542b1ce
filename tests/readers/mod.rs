//! The readers of what strangers may hand in, and what must hold of each: bytes go in, and it
//! answers with a value or with an error, soon, and never with a panic.
//!
//! Each [`FuzzTarget`] is one reader with the checks that any answer of it must pass. The fuzzer
//! (`tests/fuzz/targets`, one file each) runs it over bytes that it makes up, and `cargo test`
//! over the files kept in `tests/readers/corpus`, one folder each: small good files, and every
//! file that was ever a bug.

pub mod bundle;
pub mod mesh;
pub mod picture;
pub mod strokes;
pub mod tables;
pub mod texts;
pub mod toolpath;
pub mod weave;

/// A reader, and the checks on what it answers.
#[derive(Clone, Copy, Debug)]
pub struct FuzzTarget {
    /// Its name, which is also its function's, its fuzz target's and its folder's in the corpus.
    pub name: &'static str,
    /// Hands it bytes; panics when the answer breaks a promise.
    pub run: fn(&[u8]) -> Answer,
}

/// What a reader answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// A value, which passed the checks.
    Read,
    /// An error, which passed the checks.
    Refused,
}

const fn target(name: &'static str, run: fn(&[u8]) -> Answer) -> FuzzTarget {
    FuzzTarget { name, run }
}

/// All of them.
pub const TARGETS: [FuzzTarget; 33] = [
    target("read_stl", mesh::read_stl),
    target("read_obj", mesh::read_obj),
    target("read_ply", mesh::read_ply),
    target("read_off", mesh::read_off),
    target("read_gltf", mesh::read_gltf),
    target("read_glb", mesh::read_glb),
    target("read_mtl", mesh::read_mtl),
    target("read_3mf", mesh::read_3mf),
    target("read_3mf_model", mesh::read_3mf_model),
    target("read_back_3mf", mesh::read_back_3mf),
    target("mend_mesh", mesh::mend_mesh),
    target("draw_strokes", strokes::draw_strokes),
    target("read_plan", texts::read_plan),
    target("read_machine", texts::read_machine),
    target("read_spools", texts::read_spools),
    target("read_schedule", texts::read_schedule),
    target("read_dialect", texts::read_dialect),
    target("read_signatures", texts::read_signatures),
    target("read_manifest", texts::read_manifest),
    target("read_record", texts::read_record),
    target("read_patches", texts::read_patches),
    target("read_measured", tables::read_measured),
    target("read_spectrum", tables::read_spectrum),
    target("read_seen", tables::read_seen),
    target("read_lag", tables::read_lag),
    target("read_toolpath", toolpath::read_toolpath),
    target("weave_toolpath", weave::weave_toolpath),
    target("reorder_toolpath", weave::reorder_toolpath),
    target("check_handoff", bundle::check_handoff),
    target("read_photo", picture::read_photo),
    target("read_picture", picture::read_picture),
    target("read_font", picture::read_font),
    target("find_card", picture::find_card),
];
