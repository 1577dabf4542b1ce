//! Telling formats apart: by content first, by the file's name where that leaves a doubt.

use std::ffi::OsStr;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::text::BYTE_ORDER_MARK;
use super::{Format, Problem, Source, gltf, off, stl};

/// How much of a file is looked at.
pub(super) const HEAD_BYTES: u64 = 4096;

/// Finds the format and leaves the source at its beginning; the notes tell where the
/// file's name is misleading.
pub(super) fn format(
    path: &Path,
    source: &mut Source<'_>,
) -> Result<(Format, Vec<String>), Problem> {
    let mut head = Vec::new();
    source
        .file
        .by_ref()
        .take(HEAD_BYTES)
        .read_to_end(&mut head)?;
    source.file.seek(SeekFrom::Start(0))?;
    let named = by_name(path);
    let is_long = source.length > HEAD_BYTES;
    let head = head.strip_prefix(BYTE_ORDER_MARK).unwrap_or(&head);
    if let Some(found) = by_content(head, source.length) {
        let same = named.is_none_or(|named| named.same_family(found));
        let note = || {
            let extension = extension(path);
            format!(
                "The name ends in .{extension}, but the content is {found}; it was read as that."
            )
        };
        return Ok((found, (!same).then(note).into_iter().collect()));
    }
    if let Some(other) = known_stranger(head) {
        return Err(Problem::Unknown(format!("it is {other}")));
    }
    match named {
        // A name may be longer than what was looked at.
        Some(_) if head.starts_with(b"solid") && stl::is_text(head) && is_long => {
            Ok((Format::StlText, Vec::new()))
        }
        Some(_) if head.starts_with(b"solid") => Err(Problem::broken(
            Format::StlText,
            "it begins with the word 'solid', but no facet follows",
        )),
        Some(Format::StlBinary | Format::StlText) if stl::is_text(head) => Err(Problem::broken(
            Format::StlText,
            "it is text, but does not begin with the word 'solid'",
        )),
        Some(Format::StlBinary | Format::StlText) => Ok((Format::StlBinary, Vec::new())),
        Some(Format::Ply) => Err(Problem::broken(
            Format::Ply,
            "it does not begin with the word 'ply'",
        )),
        Some(Format::ThreeMf) => Err(Problem::broken(
            Format::ThreeMf,
            "it is not a ZIP package, as every 3MF file must be",
        )),
        Some(Format::Gltf | Format::Glb) => Err(Problem::broken(
            Format::Gltf,
            "it begins neither with the word 'glTF' nor with a curly bracket",
        )),
        Some(Format::Obj) => Ok((Format::Obj, Vec::new())),
        Some(Format::Off) => Err(Problem::broken(
            Format::Off,
            "it does not begin with the word 'OFF'",
        )),
        None => Err(Problem::Unknown(
            "neither its content nor its name shows its format".into(),
        )),
    }
}

impl Format {
    fn same_family(self, other: Self) -> bool {
        let families = [[Self::StlBinary, Self::StlText], [Self::Gltf, Self::Glb]];
        let both = |family: &[Self; 2]| family.contains(&self) && family.contains(&other);
        self == other || families.iter().any(both)
    }
}

fn extension(path: &Path) -> String {
    let extension = path.extension().unwrap_or(OsStr::new(""));
    extension.to_string_lossy().to_ascii_lowercase()
}

fn by_name(path: &Path) -> Option<Format> {
    match extension(path).as_str() {
        "stl" => Some(Format::StlBinary),
        "obj" => Some(Format::Obj),
        "ply" => Some(Format::Ply),
        "off" => Some(Format::Off),
        "3mf" => Some(Format::ThreeMf),
        "gltf" => Some(Format::Gltf),
        "glb" => Some(Format::Glb),
        _ => None,
    }
}

fn by_content(head: &[u8], length: u64) -> Option<Format> {
    if head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06") {
        return Some(Format::ThreeMf);
    }
    if head.starts_with(b"glTF") {
        return Some(Format::Glb);
    }
    if gltf::begins(head) {
        return Some(Format::Gltf);
    }
    if head.starts_with(b"ply\n") || head.starts_with(b"ply\r") {
        return Some(Format::Ply);
    }
    if off::begins(head) {
        return Some(Format::Off);
    }
    // The length decides before the word 'solid' does: many binary files begin with it.
    if stl::is_exactly_binary(head, length) {
        return Some(Format::StlBinary);
    }
    if stl::begins_as_text(head) {
        return Some(Format::StlText);
    }
    is_obj(head).then_some(Format::Obj)
}

/// Text in which a line begins as a vertex does, before any that OBJ does not know.
fn is_obj(head: &[u8]) -> bool {
    if head.contains(&0) {
        return false;
    }
    let words = head
        .split(|&b| b == b'\n' || b == b'\r')
        .filter_map(|line| line.split(u8::is_ascii_whitespace).find(|w| !w.is_empty()));
    for word in words {
        match word {
            b"v" => return true,
            b"vn" | b"vt" | b"vp" | b"o" | b"g" | b"s" | b"mtllib" | b"usemtl" => {}
            comment if comment.starts_with(b"#") => {}
            _ => return false,
        }
    }
    false
}

/// Files that people take for meshes, or that a download leaves in a mesh's place.
fn known_stranger(head: &[u8]) -> Option<&'static str> {
    let begins = |magic: &[u8]| head.starts_with(magic);
    let text = head.trim_ascii_start();
    let strangers: [(bool, &str); 6] = [
        (
            begins(b"ISO-10303-21"),
            "a STEP file; export a mesh from it",
        ),
        (begins(b"\x89PNG"), "a PNG picture"),
        (begins(b"\xff\xd8\xff"), "a JPEG picture"),
        (begins(b"%PDF"), "a PDF document"),
        (begins(b"\x1f\x8b"), "packed by gzip; unpack it first"),
        (
            text.starts_with(b"<!DOCTYPE") || text.starts_with(b"<html"),
            "a web page, perhaps saved in place of the file",
        ),
    ];
    strangers.iter().find(|s| s.0).map(|s| s.1)
}
