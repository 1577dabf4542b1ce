//! Makes regions of the colours that a model has of its own.

use std::path::PathBuf;
use std::sync::Arc;

use colours::{Choice, Counted, ModelFile, Row, Sampled, choose, read_model};
use geometry::Progress;
use geometry::mask::Nearness;
use geometry::pieces::Finest;
use plan::{Plan, Region};
use project::job::load_pictures_with;
use project::models::{model_file, piece_mm};

use super::Stop;
use crate::model::names::{PLAN_ENDING, folder_of, from_plan};

/// Most blends that are compared.
pub(crate) const MOST_BLENDS: usize = 8;

/// What to make them of.
#[derive(Clone)]
pub struct Order {
    /// The plan, with its spools, machine and layers.
    pub plan: Plan,
    /// Where it is saved, if it is.
    pub plan_file: Option<PathBuf>,
    /// The mesh with its colours.
    pub mesh_file: PathBuf,
    /// How many blends to take; none for as many as are worth it.
    pub blends: Option<usize>,
    /// The blends that were chosen before for the same plan and mesh.
    pub known: Option<Arc<Chosen>>,
}

/// Blends that were chosen for a model.
#[derive(Debug)]
pub struct Chosen {
    choice: Choice,
    file: ModelFile,
}

impl Chosen {
    /// What each number of blends gives and costs.
    pub fn rows(&self) -> &[Row] {
        &self.choice.rows
    }

    /// The number of blends to take.
    pub fn recommended(&self) -> usize {
        self.choice.recommended
    }
}

/// What came of it.
#[derive(Clone, Debug)]
pub struct OwnColours {
    /// The blends.
    pub chosen: Arc<Chosen>,
    /// How many of them are taken.
    pub blends: usize,
    /// Their regions, the base first.
    pub regions: Vec<Region>,
}

/// Chooses blends for a model's colours, and makes regions of them.
///
/// # Errors
/// [`Stop`] in words that name the file, or when cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<OwnColours, Stop> {
    let chosen = match &order.known {
        Some(known) => Arc::clone(known),
        None => Arc::new(chosen(&order, progress)?),
    };
    let most = chosen.choice.most();
    let blends = order
        .blends
        .unwrap_or(chosen.recommended())
        .clamp(1, most.max(1));
    let mut plan = order.plan;
    plan.regions = chosen
        .choice
        .regions(blends, &chosen.file)
        .ok_or_else(|| Stop::Failed("there are no blends for these colours".to_owned()))?;
    let unsaved = folder_of(&order.mesh_file).join(format!("part{PLAN_ENDING}"));
    let from = order.plan_file.unwrap_or(unsaved);
    load_pictures_with(&mut plan, &from, progress)?;
    Ok(OwnColours {
        chosen,
        blends,
        regions: plan.regions,
    })
}

fn chosen(order: &Order, progress: &Progress) -> Result<Chosen, Stop> {
    let (plan, mesh) = (&order.plan, order.mesh_file.as_path());
    let failed = |why: &dyn std::fmt::Display| Stop::Failed(format!("{}: {why}", mesh.display()));
    progress.stage("Reading the model's colours");
    let read = read_model(mesh, &plan.mesh.place, progress);
    progress.check()?;
    let (model, reading) = read.map_err(|why| failed(&why))?;
    let finest = Finest {
        width_mm: plan.filling.line_width_mm,
        height_mm: plan.layers.layer_mm,
    };
    let sampled = Sampled::new(&model, piece_mm(finest.width_mm), progress)?;
    let counted = Counted::new(&sampled);
    let how = (Nearness::Difference, finest);
    let choice = choose(&sampled, &counted, plan, how, MOST_BLENDS, progress);
    progress.check()?;
    let choice = choice.map_err(|why| failed(&why))?;
    let named = from_plan(mesh, order.plan_file.as_deref());
    let file = model_file(mesh, named, &reading.side_files).map_err(|why| failed(&why))?;
    Ok(Chosen { choice, file })
}
