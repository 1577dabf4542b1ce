//! `tintfall new`.

use std::path::{Path, PathBuf};

use blend::Shares;
use geometry::Progress;
use geometry::inspect::Inspection;
use geometry::mend::mend;
use plan::{External, FirstPlan, Machine, MeshSource, Paint, Plan};
use project::write;

use super::new_colours::ColourArgs;
use super::swatch::{read_spools, text_of};
use crate::console::Console;
use crate::fault::Fault;
use crate::part::{Part, PartArgs, from_folder_of, not_mended, stem};

/// Write a first plan for a part: two spools and a fade, or the model's own colours
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall new cup.stl                 writes cup.plan.ron beside the mesh
  tintfall prepare cup.plan.ron --out cup
  tintfall new scan.glb --colours auto --spools spools.ron
                                       give the part its model's own colours

With --colours, the blends are chosen whose mean difference from the model's colours is least, by
CIEDE2000 and by area. A table says for each number of blends how near they come and what changing
between them costs, if each layer changes between all the blends in it and nothing is flushed inside
the part.

The plan is a text file with comments. Change its spools, heights and shares in any editor.
A region can also be a picture or letters: see docs/pictures.md. Colours: see docs/colours.md.")]
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
    /// Take the spools from this file; by default a blue and a white
    #[arg(long, value_name = "FILE")]
    spools: Option<PathBuf>,
    /// Take the machine from this file
    #[arg(long, value_name = "FILE")]
    machine: Option<PathBuf>,
    #[command(flatten)]
    colours: ColourArgs,
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
        let (part, model, told) = console.working(|progress| -> Result<_, Fault> {
            let (part, model) = match self.colours.are_asked() {
                true => self.part.read_coloured(progress)?,
                false => (self.part.read(progress)?, None),
            };
            let told = match self.mend {
                true => {
                    mend(&part.reading.mesh, progress)
                        .map_err(|e| not_mended(mesh, e))?
                        .done
                }
                false => unmended(&part, progress)?,
            };
            Ok((part, model, told))
        })?;
        let height_mm = part.mesh.bounds().1.z;
        let mut plan = Plan::first(FirstPlan {
            mesh: MeshSource {
                file: from_folder_of(&path, mesh)?,
                place: part.placement.clone(),
                mend: self.mend,
            },
            title: name,
            height_mm,
        });
        self.take_files(&path, &mut plan)?;
        let choice = match self.colours.are_asked() {
            true => Some(
                self.colours
                    .choose(console, mesh, &path, model, &part, &mut plan)?,
            ),
            false => None,
        };
        let text = plan.to_ron().map_err(Fault::system)?;
        write::file(&path, |out| out.write_all(text.as_bytes()))?;
        for note in part.reading.notes.iter().chain(&told) {
            console.note(note);
        }
        if let Some(choice) = choice {
            if self.spools.is_none() {
                console.note(
                    "The plan's spools are an example. Name your own with --spools, or the blends \
                     are not for what is in your printer.",
                );
            }
            return self.colours.tell(console, &choice, &plan, &path);
        }
        let path = path.display();
        console.out(&format!(
            "Wrote {path}\nEdit it, then run\n  tintfall prepare {path} --out {}\n",
            stem(mesh)
        ))
    }
}

impl Args {
    /// Puts the files of spools and of the machine into the plan.
    fn take_files(&self, path: &Path, plan: &mut Plan) -> Result<(), Fault> {
        if let Some(file) = &self.machine {
            let text = text_of(file)?;
            let machine = Machine::from_ron(&text)
                .map_err(|e| Fault::input(e.in_file(&file.display().to_string())))?;
            plan.machine = External {
                file: Some(from_folder_of(path, file)?),
                value: machine,
            };
        }
        let Some(file) = &self.spools else {
            return Ok(());
        };
        let spools = read_spools(file)?;
        let count = spools.len();
        plan.spools = External {
            file: Some(from_folder_of(path, file)?),
            value: spools,
        };
        // The fade of a first plan is from the first spool to the last.
        for region in &mut plan.regions {
            if let Paint::Fade { fade, .. } = &mut region.paint {
                for (stop, component) in fade.stops.iter_mut().zip([0, count - 1]) {
                    stop.shares = Shares::pure(component, count).unwrap_or(stop.shares);
                }
            }
        }
        let problems = plan.problems();
        match problems.first() {
            Some(problem) => Err(Fault::Input(format!(
                "{}: {}",
                file.display(),
                problem.what
            ))),
            None => Ok(()),
        }
    }
}

/// What is wrong with the mesh, in words.
fn unmended(part: &Part, progress: &Progress) -> Result<Vec<String>, Fault> {
    progress.stage("Inspecting the mesh");
    let seen = Inspection::of(&part.reading.mesh);
    progress.check()?;
    Ok(seen.unmended())
}
