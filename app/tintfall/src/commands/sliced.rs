//! The toolpath that a part will be printed from, for commands that count its plastic.

use std::fs::File;
use std::io::{self, Read};
use std::path::PathBuf;

use geometry::Progress;
use plan::schedule::Laid;
use project::job::Job;
use weave::{Source, WeaveError, plastic_by_layer};

use super::weave::{not_woven, settings};
use crate::fault::Fault;

/// The toolpath that the part will be printed from.
#[derive(clap::Args)]
pub(super) struct Sliced {
    /// The part's sliced toolpath (G-code). Its plastic is counted, layer by layer, in place of the
    /// plan's filling
    #[arg(long, value_name = "FILE")]
    toolpath: Option<PathBuf>,
    /// The firmware takes G90 and G91 for the E axis too
    #[arg(long, requires = "toolpath")]
    e_follows: bool,
}

impl Sliced {
    /// The plastic of each of the plan's layers, if a toolpath is given.
    pub(super) fn laid(&self, job: &Job, progress: &Progress) -> Result<Option<Laid>, Fault> {
        let Some(path) = &self.toolpath else {
            return Ok(None);
        };
        let fault = |error| not_woven(path, error);
        let painted = &job.painted;
        let (plan, mesh) = (painted.plan(), painted.surface().mesh());
        let spans = plan
            .layers
            .spans(mesh.bounds().1.z)
            .map_err(|error| Fault::input(format!("{}: {error}", job.path.display())))?;
        let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(File::open(path)?)) };
        let size_bytes = std::fs::metadata(path)
            .map_err(|error| fault(WeaveError::Open(error)))?
            .len();
        let source = Source::new(&open, size_bytes);
        let settings = settings(self.e_follows);
        let diameter_mm = plan.spools.first().map_or(1.75, |spool| spool.diameter_mm);
        let layers_mm3 =
            plastic_by_layer(&source, settings, &spans, diameter_mm, progress).map_err(fault)?;
        let name = path.file_name().unwrap_or(path.as_os_str());
        Ok(Some(Laid {
            layers_mm3,
            route: format!(
                "Plastic counted from the toolpath {}; blends in the plan's order within a layer",
                name.to_string_lossy()
            ),
        }))
    }
}
