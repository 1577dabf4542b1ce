//! `tintfall diff`.

use std::path::{Path, PathBuf};

use plan::changes::{Change, changes, told};
use project::job::Job;
use project::{signoff, write};
use report::comparison::picture;

use super::prepare::{not_opened, not_signed};
use crate::console::Console;
use crate::fault::Fault;

/// Show the differences between two plans, in words and in a picture
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall diff old.plan.ron new.plan.ron --picture changes.png
  tintfall diff cup.plan.ron              what changed since it was last signed")]
pub(crate) struct Args {
    /// The older plan, or the only one: it is compared with its last signature
    old: PathBuf,
    /// The newer plan
    new: Option<PathBuf>,
    /// Draw both plans and their differences into this PNG file
    #[arg(long, value_name = "FILE", requires = "new")]
    picture: Option<PathBuf>,
    /// Write the changes to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Compares the plans.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let found = console.working(|progress| match &self.new {
            None => {
                let job = Job::open(&self.old, progress).map_err(not_opened)?;
                since_signed(&job)
            }
            Some(new) => {
                let old = Job::open(&self.old, progress).map_err(not_opened)?;
                let new = Job::open(new, progress).map_err(not_opened)?;
                if let Some(file) = &self.picture {
                    draw(&old, &new, file, progress)?;
                }
                let shape = |job: &Job| plan::schedule::mesh_sha256(job.painted.surface().mesh());
                let (was, is) = (old.painted.plan(), new.painted.plan());
                let placed_alike = was.mesh.place == is.mesh.place;
                Ok(changes(was, is, placed_alike && shape(&old) != shape(&new)))
            }
        })?;
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&found).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&found, "The plans are the same.")),
        }
    }
}

fn since_signed(job: &Job) -> Result<Vec<Change>, Fault> {
    let found = signoff::since_signed(job).map_err(not_signed)?;
    found.ok_or_else(|| {
        Fault::Input(format!(
            "{}: this plan was never signed, so there is nothing to compare it with; name two \
             plans",
            job.path.display()
        ))
    })
}

fn draw(old: &Job, new: &Job, file: &Path, progress: &geometry::Progress) -> Result<(), Fault> {
    let name = |job: &Job| {
        let name = job.path.file_name().unwrap_or_default();
        name.to_string_lossy().into_owned()
    };
    let image = picture(
        (&name(old), &old.painted),
        (&name(new), &new.painted),
        progress,
    )
    .map_err(|error| match error {
        report::comparison::PictureError::Cancelled(_) => Fault::Cancelled,
        error => Fault::system(error),
    })?;
    Ok(write::file(file, |out| image.write_png(out))?)
}
