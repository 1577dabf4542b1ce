//! What a mask's file shows, once somebody has read it.

use std::sync::{Arc, Mutex, PoisonError};

use super::{Covers, Raster, Sorted, Stencil};

/// The content of a picture or of a line of text, which a plan's text does not have. Two are
/// always equal: what they hold is told apart by the hash and the words beside them.
#[derive(Clone, Debug, Default)]
pub struct Loaded(Option<Arc<Content>>);

#[derive(Debug)]
struct Content {
    raster: Arc<Raster>,
    /// Its pixels by a list of colours, where a mask takes one of them.
    sorted: Option<Arc<Sorted>>,
    /// The edge that was asked for last: it stays while a picture is moved about.
    edge: Mutex<Option<Edge>>,
}

#[derive(Debug)]
struct Edge {
    covers: Covers,
    threshold: f64,
    stencil: Arc<Stencil>,
}

impl PartialEq for Loaded {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Loaded {
    /// What was read.
    pub fn raster(&self) -> Option<&Arc<Raster>> {
        self.0.as_ref().map(|content| &content.raster)
    }

    /// The same, with its pixels sorted by the list of colours that its mask names.
    #[must_use]
    pub fn sorted_by(raster: Arc<Raster>, sorted: Arc<Sorted>) -> Self {
        Self::of(raster, Some(sorted))
    }

    fn of(raster: Arc<Raster>, sorted: Option<Arc<Sorted>>) -> Self {
        Self(Some(Arc::new(Content {
            raster,
            sorted,
            edge: Mutex::new(None),
        })))
    }

    /// The edge of what a mask covers of it; `None` if nobody has read it.
    pub(crate) fn stencil(&self, covers: &Covers, threshold: f64) -> Option<Arc<Stencil>> {
        let content = self.0.as_ref()?;
        // Whoever broke off while holding it has left it whole.
        let mut edge = content.edge.lock().unwrap_or_else(PoisonError::into_inner);
        let known = edge
            .as_ref()
            .filter(|e| e.covers == *covers && e.threshold == threshold);
        if let Some(known) = known {
            return Some(Arc::clone(&known.stencil));
        }
        let stencil = Arc::new(match covers {
            Covers::Colour(one) => Stencil::of_colour(content.sorted.as_ref()?, one.place()?),
            _ => Stencil::new(&content.raster, covers, threshold),
        });
        *edge = Some(Edge {
            covers: covers.clone(),
            threshold,
            stencil: Arc::clone(&stencil),
        });
        Some(stencil)
    }
}

impl From<Arc<Raster>> for Loaded {
    fn from(raster: Arc<Raster>) -> Self {
        Self::of(raster, None)
    }
}
