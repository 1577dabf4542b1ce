//! STL, read and written by the `stl_io` library behind a few checks of our own.
//!
//! Layout of binary STL: 80 bytes of anything, a count of facets (u32, little-endian),
//! then 50 bytes a facet. Source: 3D Systems, StereoLithography Interface Specification,
//! 1989, as commonly described.

use std::io::{self, BufRead, Cursor, Read, Seek, SeekFrom};

use glam::DVec3;

use super::build::Builder;
use super::text::{Lines, words};
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
            "its header promises {count} facets, but the file ends after {whole}; it was cut \
             short, so copy or export it again"
        )));
    }
    builder.reserve(count as usize);
    let mut blanked = Blanked {
        inner: &mut source.file,
        position: 0,
    };
    read_facets(
        &mut blanked,
        builder,
        Format::StlBinary,
        count,
        &source.progress,
    )?;
    let mut facts = Facts {
        objects: 1,
        ..Facts::default()
    };
    if source.length > needed {
        let extra = source.length - needed;
        let note = format!("{extra} bytes after the last facet were passed over.");
        facts.notes.push(note);
    }
    Ok(facts)
}

/// Reads text STL.
pub(super) fn read_text(source: &mut Source<'_>, builder: &mut Builder) -> Result<Facts, Problem> {
    let mut tidy = Tidy::new(&mut source.file);
    let about = source.length / 250;
    let outcome = read_facets(&mut tidy, builder, Format::StlText, about, &source.progress);
    let line = tidy.lines.number;
    outcome.map_err(|problem| match problem {
        Problem::Broken { format, what } => {
            // The library reads ahead by a buffer, so the line is known roughly only.
            let what = format!(
                "{what} (facet {}, at or before line {line})",
                builder.facet_count() + 1
            );
            Problem::Broken { format, what }
        }
        other => other,
    })?;
    Ok(Facts {
        objects: tidy.solids,
        ..Facts::default()
    })
}

/// Takes facets from the library until there are no more.
fn read_facets<R: Read + Seek>(
    reader: &mut R,
    builder: &mut Builder,
    format: Format,
    expected: u64,
    progress: &crate::Progress,
) -> Result<(), Problem> {
    let facets = stl_io::create_stl_reader(reader).map_err(|e| in_words(e, format))?;
    for (number, facet) in facets.enumerate() {
        let facet = facet.map_err(|e| in_words(e, format))?;
        let mut corners = [0; 3];
        for (corner, vertex) in corners.iter_mut().zip(&facet.vertices) {
            let position = DVec3::from_array(vertex.0.map(f64::from));
            if !position.is_finite() {
                let what = format!(
                    "facet {} has a coordinate that is no finite number",
                    number + 1
                );
                return Err(Problem::broken(format, what));
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
fn in_words(error: io::Error, format: Format) -> Problem {
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

/// Text STL made strict for the library: lower case, one solid, a plain first line, and
/// facet normals, which are not used and often broken, as zeros.
struct Tidy<R> {
    lines: Lines<R>,
    line: Cursor<Vec<u8>>,
    /// Solids begun.
    solids: usize,
    inside: bool,
    ended: bool,
}

impl<R: BufRead + Seek> Tidy<R> {
    fn new(inner: R) -> Self {
        Self {
            lines: Lines::new(inner),
            line: Cursor::default(),
            solids: 0,
            inside: false,
            ended: false,
        }
    }

    /// Makes the next line; none at the end.
    fn advance(&mut self) -> io::Result<bool> {
        let out = self.line.get_mut();
        out.clear();
        while out.is_empty() {
            let Some(line) = self.lines.next(false)? else {
                // A file that ends inside a solid was cut short: the library says so.
                if self.ended || self.inside {
                    return Ok(false);
                }
                self.ended = true;
                out.extend(b"endsolid\n");
                break;
            };
            let lower = line.to_ascii_lowercase();
            match words(&lower).next() {
                Some(b"solid") => {
                    self.inside = true;
                    self.solids += 1;
                    if self.solids == 1 {
                        out.extend(b"solid \n");
                    }
                }
                Some(b"endsolid") => self.inside = false,
                Some(b"facet") => out.extend(b"facet normal 0 0 0\n"),
                Some(_) => {
                    out.extend(&lower);
                    out.push(b'\n');
                }
                None => {}
            }
        }
        self.line.set_position(0);
        Ok(true)
    }
}

impl<R: BufRead + Seek> Read for Tidy<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.line.position() >= self.line.get_ref().len() as u64 && !self.advance()? {
            return Ok(0);
        }
        self.line.read(buffer)
    }
}

impl<R: BufRead + Seek> Seek for Tidy<R> {
    /// Only back to the beginning, which is all that the library asks for.
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        if to != SeekFrom::Start(0) {
            return Err(io::Error::from(io::ErrorKind::Unsupported));
        }
        self.lines.inner_mut().seek(to)?;
        self.lines.number = 0;
        self.line = Cursor::default();
        (self.solids, self.inside, self.ended) = (0, false, false);
        Ok(0)
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
