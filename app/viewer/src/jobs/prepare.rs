//! Writes what the printer needs.

use std::path::{Path, PathBuf};

use geometry::inspect::Finding;
use geometry::{Progress, Surface};
use package::PrepareError;
use plan::{Painted, Plan};
use project::job::Job;

use super::Stop;
use super::errands::records;
use crate::model::document::Origin;
use crate::model::names::plan_stem;

/// What to prepare.
pub struct Order {
    /// The plan's file, or where it would be.
    pub plan_file: PathBuf,
    /// The plan.
    pub plan: Plan,
    /// The part.
    pub surface: Surface,
    /// What a person should know about the mesh.
    pub notes: Vec<String>,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// The folder of a print's record, as it was typed; empty for none.
    pub record: String,
    /// Where to write.
    pub folder: PathBuf,
}

/// What was written.
#[derive(Clone, Debug, PartialEq)]
pub struct Prepared {
    /// Where.
    pub folder: PathBuf,
    /// Files, and what each is.
    pub files: Vec<(String, String)>,
    /// What to know about the print's record, if it is of another state of the plan.
    pub warning: Option<String>,
}

/// The folder that is proposed.
pub fn suggested_folder(origin: &Origin) -> PathBuf {
    let beside = |file: &Path, stem: String| file.with_file_name(format!("{stem}-prepared"));
    if let Some(file) = &origin.plan_file {
        return beside(file, plan_stem(file));
    }
    if let Some(file) = &origin.mesh_file {
        let stem = file
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        return beside(file, stem);
    }
    let name = origin.demo.clone().unwrap_or_else(|| "part".to_owned());
    let here = std::env::current_dir().unwrap_or_default();
    here.join(&name).join(format!("{name}-prepared"))
}

/// Does it.
///
/// # Errors
/// [`Stop`] in words, or when cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<Prepared, Stop> {
    // A record that can't be read should not cost the wait.
    let records = records(&order.record)?;
    let model = order.plan.model();
    let painted =
        Painted::new(order.plan, order.surface, model, progress).map_err(super::repaint::stop)?;
    let job = Job {
        path: order.plan_file,
        painted,
        notes: order.notes,
        findings: order.findings,
    };
    let prepared = package::prepare_woven(&job, None, None, &records, &order.folder, progress);
    let prepared = prepared.map_err(|e| match e {
        PrepareError::Cancelled(_) => Stop::Cancelled,
        e => Stop::failed(&e),
    })?;
    let files = package::FILES.iter();
    let files = files.map(|(name, about)| ((*name).to_owned(), (*about).to_owned()));
    Ok(Prepared {
        folder: order.folder,
        files: files.collect(),
        warning: prepared.records.into_iter().flatten().next(),
    })
}
