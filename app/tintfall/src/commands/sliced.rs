//! The toolpath that a part will be printed from, for commands that count its plastic.

use std::path::PathBuf;

use geometry::{LayerSpan, Progress};
use plan::schedule::Laid;
use plan::{Painted, ReadBack};
use project::job::Job;
use project::signoff::Standing;
use weave::arrange::Arrange;
use weave::figures::{Figures, any_dialect};
use weave::register::RegisterError;
use weave::{Source, Weave, WeaveError, plastic_by_layer};

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

/// A toolpath's plastic, and what comes out of it with the plan woven in.
pub(super) struct Counted {
    /// Its plastic, layer by layer.
    pub laid: Laid,
    /// What comes out; none if it can't be woven as it is.
    pub woven: Option<ReadBack>,
}

impl Sliced {
    /// The plastic of each of the plan's layers, if a toolpath is given. The plan is woven into
    /// it for that, so that figures are those of reading it back, and nothing is kept of it.
    pub(super) fn laid(&self, job: &Job, progress: &Progress) -> Result<Option<Counted>, Fault> {
        let Some(path) = &self.toolpath else {
            return Ok(None);
        };
        let painted = &job.painted;
        let top_mm = painted.surface().bounds_mm().1.z;
        let spans = painted.plan().layers.spans(top_mm);
        let spans =
            spans.map_err(|error| Fault::input(format!("{}: {error}", job.path.display())))?;
        let name = path.file_name().unwrap_or(path.as_os_str());
        let name = name.to_string_lossy();
        Source::with_file(path, |source| {
            self.counted(painted, source, (&name, &spans), progress)
        })
        .flatten()
        .map(Some)
        .map_err(|error| not_woven(path, error))
    }

    fn counted(
        &self,
        painted: &Painted,
        source: &Source<'_>,
        (name, spans): (&str, &[LayerSpan]),
        progress: &Progress,
    ) -> Result<Counted, WeaveError> {
        let settings = settings(self.e_follows);
        let spools = &painted.plan().spools;
        let diameter_mm = spools.first().map_or(1.75, |spool| spool.diameter_mm);
        let layers_mm3 = plastic_by_layer(source, settings, spans, diameter_mm, progress)?;
        let weave = Weave {
            painted,
            dialect: &any_dialect()?,
            settings,
            stands: Vec::new(),
            arrange: Arrange::default(),
            review: Standing::not_reviewed(),
        };
        match Figures::of(&weave, painted, source, progress) {
            Ok(figures) => Ok(Counted {
                laid: Laid {
                    layers_mm3: figures.with_block(layers_mm3, spans),
                    route: woven_route(name, &figures),
                },
                woven: Some(figures.read_back()),
            }),
            Err(
                stop @ (WeaveError::Cancelled(_)
                | WeaveError::Register(RegisterError::Cancelled(_))),
            ) => Err(stop),
            Err(error) => Ok(Counted {
                laid: Laid {
                    layers_mm3,
                    route: format!(
                        "Plastic counted from the toolpath {name}; blends in the plan's order \
                         within a layer, because the plan can't be woven into it ({error})"
                    ),
                },
                woven: None,
            }),
        }
    }
}

/// The route of a woven toolpath, in words.
fn woven_route(name: &str, figures: &Figures) -> String {
    let block = match figures.purged_g > 0.0 {
        true => format!(", with a purge block of {:.1} g", figures.purged_g),
        false => String::new(),
    };
    format!("Woven into the toolpath {name}{block}; figures as `tintfall verify` finds them")
}
