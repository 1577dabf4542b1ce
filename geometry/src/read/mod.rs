//! Mesh files: STL, OBJ, PLY, OFF, 3MF and glTF, recognised by what is in them.
//!
//! [`read_mesh`] reads a file of any of these formats and welds its corners. It never
//! takes much more memory than the file is long, whatever counts the file claims. If asked, it
//! also reads how the facets look ([`crate::appearance`]).
//!
//! A format is a file of this folder and a line in [`Format`].

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod beside;
mod build;
mod detect;
mod error;
mod format;
mod gltf;
mod limits;
mod mtl;
mod obj;
mod off;
mod ply;
mod source;
mod stl;
mod stl_text;
#[cfg(test)]
mod tests;
mod text;
mod threemf;

use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;

use crate::appearance::Appearance;
use crate::mesh::weld_near;
use crate::unit::Unit;
use crate::{Mesh, Progress};
use beside::Beside;
use build::Builder;
use source::{Facts, Source};

pub use error::{Problem, ReadError};
pub use format::Format;
pub use limits::MOST_EXPANSION;
pub use stl::mesh_to_stl;

/// How to read a mesh file.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// The unit of its numbers; otherwise the one the file states, or millimetres.
    pub unit: Option<Unit>,
    /// Weld vertices that lie this near each other, mm; 0 welds equal positions alone.
    pub weld_mm: f64,
    /// Read how the facets look, too, and the files beside it that say so.
    pub appearance: bool,
    /// Told how far reading is, and asked whether to stop.
    pub progress: Progress,
}

/// What was read from a mesh file.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The mesh, welded, in millimetres.
    pub mesh: Mesh,
    /// What the file is.
    pub format: Format,
    /// The unit its numbers were taken to be in.
    pub unit: Unit,
    /// How many objects the file holds, each counted as often as it is placed.
    pub objects: usize,
    /// What a person should know about how it was read, a sentence or two each.
    pub notes: Vec<String>,
    /// How its facets look, if that was asked for and the file says anything of it.
    pub appearance: Option<Appearance>,
    /// The files beside it that were read, as seen from its folder.
    pub side_files: Vec<String>,
}

/// Reads a mesh file.
///
/// The format is told by the content; where the file's name says otherwise, a note says
/// so. Corners at equal positions become one vertex, and facets that name one vertex twice
/// are left out, with a note.
///
/// ```no_run
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use geometry::read::{ReadOptions, read_mesh};
/// let reading = read_mesh("lamp.stl".as_ref(), &ReadOptions::default())?;
/// println!("{} facets", reading.mesh.triangles().len());
/// # Ok(())
/// # }
/// ```
///
/// # Errors
/// [`ReadError`] names the file and what is wrong with it, with a line or place where
/// there is one.
pub fn read_mesh(path: &Path, options: &ReadOptions) -> Result<Reading, ReadError> {
    options.progress.stage("Reading the mesh");
    open(path, &options.progress)
        .and_then(|source| read(path, source, options))
        .map_err(|problem| ReadError {
            file: path.to_owned(),
            problem,
        })
}

/// The files beside a mesh file that its shape is in, as seen from its folder, each once: the
/// buffers of a glTF. Those that are not there are left out, for reading the mesh tells of them.
///
/// # Errors
/// What the system says if the mesh file can't be read.
pub fn shape_files(path: &Path) -> std::io::Result<Vec<String>> {
    let mut file = File::open(path)?;
    let mut bytes = Vec::new();
    file.by_ref()
        .take(detect::HEAD_BYTES)
        .read_to_end(&mut bytes)?;
    if !gltf::may_be(&bytes) {
        return Ok(Vec::new());
    }
    file.read_to_end(&mut bytes)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut names = gltf::buffer_files(&bytes);
    names.retain(|name| folder.join(name).is_file());
    Ok(names)
}

/// Reads a mesh file that is in memory, as [`read_mesh`] reads one on the disk; `name` is what
/// it is called.
///
/// ```
/// use geometry::read::{ReadOptions, mesh_to_stl, read_mesh_bytes};
/// let block = geometry::solids::cuboid(geometry::DVec3::splat(2.0))?;
/// let bytes = mesh_to_stl(&block);
/// let reading = read_mesh_bytes("block.stl".as_ref(), &bytes, &ReadOptions::default())?;
/// assert_eq!(reading.mesh.triangles().len(), 12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// As [`read_mesh`].
pub fn read_mesh_bytes(
    name: &Path,
    bytes: &[u8],
    options: &ReadOptions,
) -> Result<Reading, ReadError> {
    options.progress.stage("Reading the mesh");
    Source::new(
        Cursor::new(bytes),
        bytes.len() as u64,
        Beside::new(None),
        &options.progress,
    )
    .and_then(|source| read(name, source, options))
    .map_err(|problem| ReadError {
        file: name.to_owned(),
        problem,
    })
}

fn read(path: &Path, mut source: Source<'_>, options: &ReadOptions) -> Result<Reading, Problem> {
    let (format, mut notes) = detect::format(path, &mut source)?;
    let mut builder = Builder::new(options.appearance, options.progress.clone());
    let facts = match format {
        Format::StlBinary => stl::read_binary(&mut source, &mut builder)?,
        Format::StlText => stl_text::read(&mut source, &mut builder)?,
        Format::Obj => obj::read(&mut source, &mut builder)?,
        Format::Ply => ply::read(&mut source, &mut builder)?,
        Format::Off => off::read(&mut source, &mut builder)?,
        Format::ThreeMf => threemf::read(source, &mut builder)?,
        Format::Gltf | Format::Glb => gltf::read(source, &mut builder)?,
    };
    let unit = choose_unit(facts.unit, options.unit, &mut notes);
    notes.extend(facts.notes);
    let (mesh, appearance) = builder.finish(&mut notes)?;
    let mesh = in_millimetres(mesh, unit, format)?;
    let (mesh, appearance) = weld(mesh, appearance, options.weld_mm, &mut notes)?;
    notes.extend(odd_size(&mesh, unit));
    Ok(Reading {
        mesh,
        format,
        unit,
        objects: facts.objects,
        notes,
        appearance,
        side_files: facts.side_files,
    })
}

fn open(path: &Path, progress: &Progress) -> Result<Source<'static>, Problem> {
    let metadata = std::fs::metadata(path)?;
    if !metadata.is_file() {
        return Err(Problem::NotAFile);
    }
    let beside = Beside::new(Some(path));
    Source::new(File::open(path)?, metadata.len(), beside, progress)
}

fn choose_unit(stated: Option<Unit>, asked: Option<Unit>, notes: &mut Vec<String>) -> Unit {
    if let (Some(stated), Some(asked)) = (stated, asked)
        && stated != asked
    {
        notes.push(format!(
            "The file says that it is in {}; it was read in {}, as asked.",
            stated.name(),
            asked.name()
        ));
    }
    asked.or(stated).unwrap_or(Unit::Millimetre)
}

fn in_millimetres(mesh: Mesh, unit: Unit, format: Format) -> Result<Mesh, Problem> {
    if unit == Unit::Millimetre {
        return Ok(mesh);
    }
    mesh.map(|p| p * unit.mm())
        .map_err(|error| Problem::broken(format, error.to_string()))
}

fn weld(
    mesh: Mesh,
    appearance: Option<Appearance>,
    tolerance_mm: f64,
    notes: &mut Vec<String>,
) -> Result<(Mesh, Option<Appearance>), Problem> {
    if tolerance_mm == 0.0 {
        return Ok((mesh, appearance));
    }
    if !(tolerance_mm > 0.0 && tolerance_mm.is_finite()) {
        let what = format!("the welding distance is {tolerance_mm} mm; it must be 0 or more");
        return Err(Problem::Options(what));
    }
    let Some(welded) = weld_near(&mesh, tolerance_mm) else {
        let what = format!(
            "welding within {tolerance_mm} mm would leave no facets; choose a shorter distance"
        );
        return Err(Problem::Options(what));
    };
    if welded.moved_vertices > 0 {
        notes.push(format!(
            "{} vertices were welded to a neighbour within {tolerance_mm} mm, and {} facets \
             disappeared.",
            welded.moved_vertices, welded.lost_facets
        ));
    }
    let appearance = appearance.map(|looks| looks.of_kept(&welded.kept_facets));
    Ok((welded.mesh, appearance))
}

/// The lengths that a part is likely to have, mm: from a few extrusion widths to more than most
/// printers print (common practice, no source). Beyond them, it is most likely in another unit.
pub const LIKELY_MM: std::ops::RangeInclusive<f64> = 2.0..=1000.0;

/// The longest side of the box around a mesh, mm.
pub fn longest_side_mm(mesh: &Mesh) -> f64 {
    let (least, greatest) = mesh.bounds();
    (greatest - least).max_element()
}

/// What to tell of a mesh, read in a unit, whose size is unlikely ([`LIKELY_MM`]).
pub fn odd_size(mesh: &Mesh, unit: Unit) -> Option<String> {
    let longest = longest_side_mm(mesh);
    let advice = match longest {
        x if LIKELY_MM.contains(&x) => return None,
        x if x < *LIKELY_MM.start() => "smaller than most nozzles can print",
        _ => "larger than most printers",
    };
    Some(format!(
        "Read in {}, the part is {longest:.3} mm long, {advice}; check the unit.",
        unit.name()
    ))
}
