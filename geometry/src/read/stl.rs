//! STL in bytes, read and written by the `stl_io` library behind a few checks of our own;
//! for STL in words see [`super::stl_text`].
//!
//! Layout of binary STL: 80 bytes of anything, a count of facets (u32, little-endian),
//! then 50 bytes a facet. Source: 3D Systems, StereoLithography Interface Specification,
//! 1989, as commonly described.

use std::io::{self, Read, Seek, SeekFrom};

use glam::DVec3;

use super::build::Builder;
use super::text::words;
use super::{Facts, Format, Problem, Source};
use crate::Mesh;

const HEADER_BYTES: u64 = 84;
const FACET_BYTES: u64 = 50;

/// The count that the header of a binary file promises.
fn promised(head: &[u8]) -> Option<u64> {
    let count = head.get(80..84)?.try_into().ok()?;
    Some(u64::from(u32::from_le_bytes(count)))
}

/// Whether the file is just as long as a binary STL with its count.
pub(super) fn is_exactly_binary(head: &[u8], length: u64) -> bool {
    promised(head).is_some_and(|count| HEADER_BYTES + count * FACET_BYTES == length)
}

/// Whether it begins as text STL does: 'solid', and soon 'facet' or 'endsolid'.
pub(super) fn begins_as_text(head: &[u8]) -> bool {
    let lower = head.to_ascii_lowercase();
    let mut words = words(&lower);
    words.next() == Some(b"solid") && words.any(|w| w == b"facet" || w == b"endsolid")
}

/// Whether it can be text at all.
pub(super) fn is_text(head: &[u8]) -> bool {
    !head.contains(&0)
        && std::str::from_utf8(head).map_or_else(|e| e.error_len().is_none(), |_| true)
}

/// Reads binary STL. The count is checked against the length before anything else.
pub(super) fn read_binary(
    source: &mut Source<'_>,
    builder: &mut Builder,
) -> Result<Facts, Problem> {
    let broken = |what| Problem::broken(Format::StlBinary, what);
    let mut head = [0; HEADER_BYTES as usize];
    if source.length < HEADER_BYTES {
        return Err(broken(format!(
            "it is {} bytes long, but the header alone takes {HEADER_BYTES}",
            source.length
        )));
    }
    source.file.read_exact(&mut head)?;
    source.file.seek(SeekFrom::Start(0))?;
    let count = promised(&head).unwrap_or(0);
    let needed = HEADER_BYTES + count * FACET_BYTES;
    if source.length < needed {
        let whole = (source.length - HEADER_BYTES) / FACET_BYTES;
        return Err(broken(format!(
            "its header declares {count} facets, but the file ends after {whole}; it was cut \
             short, so copy or export it again"
        )));
    }
    builder.reserve(count as usize);
    let mut blanked = Blanked {
        inner: &mut source.file,
        position: 0,
    };
    read_facets(&mut blanked, builder, count, &source.progress)?;
    let mut facts = Facts {
        objects: 1,
        ..Facts::default()
    };
    if source.length > needed {
        let extra = source.length - needed;
        let note = format!("{extra} bytes after the last facet were skipped.");
        facts.notes.push(note);
    }
    Ok(facts)
}

/// Takes facets from the library until there are no more.
fn read_facets<R: Read + Seek>(
    reader: &mut R,
    builder: &mut Builder,
    expected: u64,
    progress: &crate::Progress,
) -> Result<(), Problem> {
    let facets = stl_io::create_stl_reader(reader).map_err(in_words)?;
    for (number, facet) in facets.enumerate() {
        let facet = facet.map_err(in_words)?;
        let mut corners = [0; 3];
        for (corner, vertex) in corners.iter_mut().zip(&facet.vertices) {
            let position = DVec3::from_array(vertex.0.map(f64::from));
            if !position.is_finite() {
                let what = format!(
                    "facet {} has a coordinate that is not a finite number",
                    number + 1
                );
                return Err(Problem::broken(Format::StlBinary, what));
            }
            *corner = builder.vertex(position)?;
        }
        builder.facet(corners)?;
        if number % 65_536 == 0 {
            progress.set(number as f32 / expected.max(1) as f32);
        }
    }
    Ok(())
}

/// The library's errors about content are content errors, the others the file system's.
fn in_words(error: io::Error) -> Problem {
    let format = Format::StlBinary;
    match error.kind() {
        io::ErrorKind::InvalidData => Problem::broken(format, error.to_string()),
        io::ErrorKind::UnexpectedEof => {
            Problem::broken(format, "it ends in the middle; copy or export it again")
        }
        _ => Problem::Io(error),
    }
}

/// A binary file whose free header reads as zeros, since the library takes a file that
/// begins with 'solid' for text.
struct Blanked<R> {
    inner: R,
    position: u64,
}

impl<R: Read> Read for Blanked<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        let free = 80u64.saturating_sub(self.position).min(count as u64) as usize;
        buffer.get_mut(..free).unwrap_or_default().fill(0);
        self.position += count as u64;
        Ok(count)
    }
}

impl<R: Seek> Seek for Blanked<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.position = self.inner.seek(to)?;
        Ok(self.position)
    }
}

/// A mesh as a binary STL file's bytes, coordinates rounded to the format's single
/// precision.
pub fn mesh_to_stl(mesh: &Mesh) -> Vec<u8> {
    let facets = (0..mesh.triangles().len()).map(|facet| {
        let normal = mesh.area_vector(facet).normalize_or_zero();
        let rounded = |p: DVec3| stl_io::Vector::new(p.as_vec3().to_array());
        stl_io::Triangle {
            normal: rounded(normal),
            vertices: mesh.corners(facet).map(rounded),
        }
    });
    let count = mesh.triangles().len() as u64;
    let mut bytes = Vec::with_capacity((HEADER_BYTES + count * FACET_BYTES) as usize);
    match stl_io::write_stl(&mut bytes, facets) {
        Ok(()) => bytes,
        // Writing to memory has no way to fail.
        Err(_) => Vec::new(),
    }
}
