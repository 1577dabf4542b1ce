//! `tintfall mend`.

use std::path::{Path, PathBuf};

use geometry::Mesh;
use geometry::inspect::{Inspection, volume_words};
use geometry::mend::{Mended, mend};
use geometry::place::Placement;
use geometry::read::{mesh_to_stl, read_mesh};
use geometry::write::{mesh_to_obj, mesh_to_ply};
use project::write;

use crate::console::Console;
use crate::fault::Fault;
use crate::part::{not_mended, not_read};

/// Mend a mesh: weld, turn facets, fill holes, drop doubles and slivers, unite shells that cross
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall mend cup.stl --out cup-mended.ply

The mended mesh keeps the file's coordinates, in millimetres. The ending of --out sets the
format: .ply and .obj keep every digit, .stl rounds to single precision.")]
pub(crate) struct Args {
    /// The mesh: an STL, OBJ, PLY, OFF or 3MF file
    mesh: PathBuf,
    /// The file to write: .ply, .obj or .stl
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Replace an existing file
    #[arg(long)]
    replace: bool,
}

impl Args {
    /// Reads, mends and writes.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let bytes_of = self.writer()?;
        if self.out.exists() && !self.replace {
            return Err(Fault::Input(format!(
                "{}: this file exists; choose another with --out, or replace it with --replace",
                self.out.display()
            )));
        }
        let (reading, mended) = console.working(|progress| -> Result<_, Fault> {
            let mut options = Placement::default().read_options();
            options.progress = progress.clone();
            let reading = read_mesh(&self.mesh, &options).map_err(not_read)?;
            let mended = mend(&reading.mesh, progress).map_err(|e| not_mended(&self.mesh, e))?;
            Ok((reading, mended))
        })?;
        write::bytes(&self.out, &bytes_of(&mended.mesh))?;
        for note in &reading.notes {
            console.note(note);
        }
        console.out(&told(&self.out, &reading.mesh, &mended))
    }

    fn writer(&self) -> Result<fn(&Mesh) -> Vec<u8>, Fault> {
        let ending = self.out.extension().unwrap_or_default().to_string_lossy();
        match ending.to_ascii_lowercase().as_str() {
            "stl" => Ok(mesh_to_stl),
            "obj" => Ok(mesh_to_obj),
            "ply" => Ok(mesh_to_ply),
            _ => Err(Fault::Input(format!(
                "{}: the ending sets the format; give it a name that ends in .ply, .obj or .stl",
                self.out.display()
            ))),
        }
    }
}

fn told(out: &Path, before: &Mesh, mended: &Mended) -> String {
    let mut text = String::new();
    match mended.done.is_empty() {
        true => text.push_str("There was nothing to mend.\n"),
        false => {
            for what in &mended.done {
                text.push_str(&format!("{what}\n"));
            }
            let (was, is) = (Inspection::of(before), &mended.mesh);
            text.push_str(&format!(
                "Volume: {} by the old facets, {} now; {} facets were {}.\n",
                volume_words(was.facet_volume_mm3),
                volume_words(is.volume_mm3()),
                is.triangles().len(),
                was.facets
            ));
        }
    }
    text + &format!("Wrote {}\n", out.display())
}
