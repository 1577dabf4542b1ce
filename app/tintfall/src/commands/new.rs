//! `tintfall new`.

use std::path::{Path, PathBuf};

use geometry::Progress;
use geometry::inspect::Inspection;
use geometry::mend::mend;
use plan::{FirstPlan, MeshSource, Plan};
use project::write;

use crate::console::Console;
use crate::fault::Fault;
use crate::part::{Part, PartArgs, not_mended, stem};

/// Write a first plan for a part: two spools and a fade from the bed to the top
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall new cup.stl                 writes cup.plan.ron beside the mesh
  tintfall prepare cup.plan.ron --out cup

The plan is a text file with comments. Change its spools, heights and shares in any editor.")]
pub(crate) struct Args {
    #[command(flatten)]
    part: PartArgs,
    /// The plan to write; by default MESH with the ending .plan.ron
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace an existing plan
    #[arg(long)]
    replace: bool,
    /// Write mend: true into the plan, to mend the mesh
    #[arg(long)]
    mend: bool,
}

impl Args {
    /// Writes the plan.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let mesh = &self.part.mesh;
        let name = stem(mesh);
        let path = self
            .out
            .clone()
            .unwrap_or_else(|| mesh.with_file_name(format!("{name}.plan.ron")));
        if path.exists() && !self.replace {
            return Err(Fault::Input(format!(
                "{}: this plan exists; choose another with --out, or replace it with --replace",
                path.display()
            )));
        }
        let (part, told) = console.working(|progress| -> Result<_, Fault> {
            let part = self.part.read(progress)?;
            let told = match self.mend {
                true => {
                    mend(&part.reading.mesh, progress)
                        .map_err(|e| not_mended(mesh, e))?
                        .done
                }
                false => unmended(&part, progress)?,
            };
            Ok((part, told))
        })?;
        let height_mm = part.mesh.bounds().1.z;
        let plan = Plan::first(FirstPlan {
            mesh: MeshSource {
                file: from_folder_of(&path, mesh)?,
                place: part.placement,
                mend: self.mend,
            },
            title: name,
            height_mm,
        });
        let text = plan.to_ron().map_err(Fault::system)?;
        write::file(&path, |out| out.write_all(text.as_bytes()))?;
        for note in part.reading.notes.iter().chain(&told) {
            console.note(note);
        }
        let path = path.display();
        console.out(&format!(
            "Wrote {path}\nEdit it, then run\n  tintfall prepare {path} --out {}\n",
            stem(mesh)
        ))
    }
}

/// What is wrong with the mesh, in words.
fn unmended(part: &Part, progress: &Progress) -> Result<Vec<String>, Fault> {
    progress.stage("Inspecting the mesh");
    let seen = Inspection::of(&part.reading.mesh);
    progress.check()?;
    Ok(seen.unmended())
}

/// The mesh as the plan must name it: relative to the plan's folder where it lies beside or
/// below it, else in full.
fn from_folder_of(plan: &Path, mesh: &Path) -> Result<String, Fault> {
    let in_full = |path: &Path| {
        std::path::absolute(path)
            .map_err(|e| Fault::Input(format!("{}: not found: {e}", path.display())))
    };
    let (plan, mesh) = (in_full(plan)?, in_full(mesh)?);
    let folder = plan.parent().unwrap_or(Path::new(""));
    let named = mesh.strip_prefix(folder).unwrap_or(&mesh);
    named.to_str().map(str::to_owned).ok_or_else(|| {
        Fault::Input(format!(
            "{}: the file's name is not UTF-8 text, so a plan can't name it; rename the file",
            mesh.display()
        ))
    })
}
