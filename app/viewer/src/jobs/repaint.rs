//! Lays the plan on the skin anew and makes the pieces that changed ready to draw.

use std::sync::Arc;

use blend::MixModel;
use geometry::{Progress, Surface};
use plan::painted::PaintError;
use plan::{Painted, Plan};
use rayon::prelude::*;

use super::Stop;
use super::dirty::Scope;
use super::patch;
use super::skin::Skin;
use crate::model::skin::SkinMesh;

/// What to paint.
pub struct Order {
    /// The plan's revision.
    pub revision: u64,
    /// The plan.
    pub plan: Plan,
    /// The part.
    pub surface: Surface,
    /// An earlier plan of this part laid on it, from which much can be taken over.
    pub before: Option<Arc<Painted>>,
    /// Its skin.
    pub skin: Arc<Skin>,
    /// The mixing model.
    pub model: Arc<dyn MixModel>,
    /// What has to be drawn again.
    pub scope: Scope,
}

/// A part painted anew.
pub struct Repainted {
    /// The plan's revision.
    pub revision: u64,
    /// The plan laid on the shape.
    pub painted: Arc<Painted>,
    /// What was drawn again.
    pub scope: Scope,
    /// The pieces, with regions counted from 0.
    pub pieces: Vec<(usize, SkinMesh)>,
}

/// Does it.
///
/// # Errors
/// [`Stop::Cancelled`].
pub fn run(order: Order, progress: &Progress) -> Result<Repainted, Stop> {
    progress.stage("Applying the plan to the part");
    let painted = match &order.before {
        Some(before) => before.revised(order.plan, order.model, progress),
        None => Painted::new(order.plan, order.surface, order.model, progress),
    };
    let painted = painted.map_err(stop)?;
    let wanted: Vec<usize> = match &order.scope {
        Scope::Colours => Vec::new(),
        Scope::Pieces(pieces) => pieces.iter().copied().collect(),
        Scope::All => (0..order.skin.pieces.len()).collect(),
    };
    progress.stage("Colouring the part");
    let total = wanted.len().max(1) as f32;
    let done = std::sync::atomic::AtomicUsize::new(0);
    let pieces = wanted
        .into_par_iter()
        .map(|index| {
            progress.check()?;
            let mesh = patch::of_piece(&painted, &order.skin, index, progress);
            progress.check()?;
            let done = 1 + done.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            progress.set(done as f32 / total);
            Ok((index, mesh))
        })
        .collect::<Result<_, geometry::Cancelled>>()?;
    Ok(Repainted {
        revision: order.revision,
        painted: Arc::new(painted),
        scope: order.scope,
        pieces,
    })
}

/// A plan that can't be laid on its part, as a job ends.
pub fn stop(error: PaintError) -> Stop {
    match error {
        PaintError::Cancelled(_) => Stop::Cancelled,
        error => Stop::failed(&error),
    }
}
