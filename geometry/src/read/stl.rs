//! STL in bytes, read and written by the `stl_io` library behind a few checks of our own;
//! for STL in words see [`super::stl_text`].
//!
//! Layout of binary STL: 80 bytes of anything, a count of facets (u32, little-endian),
//! then 50 bytes a facet. Source: 3D Systems, StereoLithography Interface Specification,
//! 1989, as commonly described.

use std::io::{self, Read};

use glam::DVec3;
use rayon::prelude::*;

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
    let mut rows = Rows {
        file: &mut source.file,
        left: count,
    };
    let mut at_hand = rows.next_corners()?;
    let mut first = 0;
    while !at_hand.is_empty() {
        source.progress.set(first as f32 / count as f32);
        // Corners are welded in the file's order, while the next are read on the other cores.
        let (welded, next) = rayon::join(|| weld(&at_hand, first, builder), || rows.next_corners());
        first = welded?;
        at_hand = next?;
    }
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

/// Facets that the library reads at a time.
const TOGETHER: u64 = 1 << 13;

/// The corners of a facet, in the file's own precision.
type Corners = [[f32; 3]; 3];

/// What is left of a file's facets.
struct Rows<'a, R> {
    file: &'a mut R,
    left: u64,
}

impl<R: Read> Rows<'_, R> {
    /// The next facets, some for each core; none at the end.
    fn next_corners(&mut self) -> Result<Vec<Vec<Corners>>, Problem> {
        let mut files = Vec::new();
        while self.left > 0 && files.len() < rayon::current_num_threads() {
            files.push(self.next_file()?);
        }
        files.into_par_iter().map(corners).collect()
    }

    /// The next facets as a file of their own. Its free header is zeros, since the library takes
    /// a file that begins with 'solid' for text.
    fn next_file(&mut self) -> Result<Vec<u8>, Problem> {
        let count = self.left.min(TOGETHER);
        self.left -= count;
        let mut file = vec![0; HEADER_BYTES as usize - 4];
        file.extend((count as u32).to_le_bytes());
        let mut rows = self.file.by_ref().take(count * FACET_BYTES);
        let needed = file.len() + (count * FACET_BYTES) as usize;
        file.reserve_exact(needed - file.len());
        rows.read_to_end(&mut file)?;
        match file.len() == needed {
            true => Ok(file),
            false => Err(in_words(io::ErrorKind::UnexpectedEof.into())),
        }
    }
}

/// A file's facets, by the library.
fn corners(file: Vec<u8>) -> Result<Vec<Corners>, Problem> {
    let mut file = io::Cursor::new(file);
    let facets = stl_io::create_stl_reader(&mut file).map_err(in_words)?;
    let corners = facets.map(|facet| Ok(facet?.vertices.map(|corner| corner.0)));
    corners.collect::<io::Result<_>>().map_err(in_words)
}

/// Takes facets, of which the first has a number; tells the number of the next.
fn weld(facets: &[Vec<Corners>], first: u64, builder: &mut Builder) -> Result<u64, Problem> {
    let mut number = first;
    for facet in facets.iter().flatten() {
        number += 1;
        let mut corners = [0; 3];
        for (corner, place) in corners.iter_mut().zip(facet) {
            let position = DVec3::from_array(place.map(f64::from));
            if !position.is_finite() {
                let what = format!("facet {number} has a coordinate that is not a finite number");
                return Err(Problem::broken(Format::StlBinary, what));
            }
            *corner = builder.vertex(position)?;
        }
        builder.facet(corners)?;
    }
    Ok(number)
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
