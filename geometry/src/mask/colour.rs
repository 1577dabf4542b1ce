//! Where a model's own colour is nearest to one of a list.
//!
//! Nothing here knows a colour: whoever opens the plan reads the model, and labels the pieces of
//! its skin by the list.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::MaskError;
use super::among::{self, Nearness};
use super::values::positive;
use crate::imprint::check_hash;
use crate::pieces::Labelled;
use crate::{DVec3, Surface, SurfacePoint};

/// Where the colour of a coloured model is nearest to one of a list, smoothed to what can be
/// printed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelColour {
    /// The file of the model, relative to the plan's folder. It stands as the plan's mesh does.
    pub file: String,
    /// The SHA-256 of its bytes. Where a plan gives it, no other content will do; where it does
    /// not, it is filled in as the file is read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// The files beside it that its colours are in, such as materials and textures.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub with: Vec<SideFile>,
    /// The colour of the list that this mask has, as it stands there.
    pub colour: String,
    /// The list: sRGB codes.
    pub among: Vec<String>,
    /// How nearness is measured.
    #[serde(default, skip_serializing_if = "Nearness::is_difference")]
    pub by: Nearness,
    /// The width and the height, mm, of the finest detail that stays.
    pub finest_mm: (f64, f64),
    /// The labelled skin, once the file has been read.
    #[serde(skip)]
    pub content: LoadedLabels,
}

/// A file beside a model.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SideFile {
    /// Its name, relative to the model's folder.
    pub file: String,
    /// The SHA-256 of its bytes.
    pub sha256: String,
}

/// The labelled skin of a model, which a plan's text does not have. Two are always equal: what
/// they hold is told apart by the hash and the list beside them.
#[derive(Clone, Default)]
pub struct LoadedLabels(Option<Arc<Labelled>>);

impl LoadedLabels {
    /// What was read.
    pub fn labelled(&self) -> Option<&Arc<Labelled>> {
        self.0.as_ref()
    }
}

impl From<Arc<Labelled>> for LoadedLabels {
    fn from(labelled: Arc<Labelled>) -> Self {
        Self(Some(labelled))
    }
}

impl PartialEq for LoadedLabels {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl std::fmt::Debug for LoadedLabels {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(if self.0.is_some() { "Read" } else { "Unread" })
    }
}

impl ModelColour {
    /// Whether every value makes sense.
    pub(super) fn check(&self) -> Result<(), MaskError> {
        let mut files = self.with.iter().map(|side| &side.file);
        if self.file.trim().is_empty() || files.any(|file| file.trim().is_empty()) {
            return Err(MaskError::NoFile);
        }
        check_hash(self.sha256.as_deref())?;
        for side in &self.with {
            check_hash(Some(&side.sha256))?;
        }
        among::check(&self.colour, &self.among)?;
        positive("finest_mm", self.finest_mm.0)?;
        positive("finest_mm", self.finest_mm.1)
    }

    /// The place of its colour in the list.
    pub fn number(&self) -> Option<u8> {
        among::place(&self.colour, &self.among)
    }
}

/// A model's colour laid on the part.
#[derive(Clone)]
pub(super) struct PreparedColour {
    labelled: Arc<Labelled>,
    label: u8,
    /// Whether the part's skin is the model's own, facet for facet.
    own_skin: bool,
}

impl PreparedColour {
    pub(super) fn new(colour: &ModelColour, surface: &Surface) -> Result<Self, MaskError> {
        let unread = || MaskError::Unread {
            what: format!("the coloured model '{}'", colour.file),
        };
        let labelled = colour.content.labelled().ok_or_else(unread)?;
        let own_skin = labelled.surface().mesh() == surface.mesh();
        Ok(Self {
            labelled: Arc::clone(labelled),
            // It was checked that there is one.
            label: colour.number().unwrap_or(0),
            own_skin,
        })
    }

    pub(super) fn contains(&self, at: SurfacePoint) -> bool {
        let label = match self.own_skin {
            true => self.labelled.label(at),
            false => self.labelled.label_near(at.point_mm),
        };
        label == self.label
    }

    pub(super) fn clearance_mm(&self, place: DVec3) -> f64 {
        let clear_mm = self
            .labelled
            .clearance_mm(place, |label| label == self.label);
        match self.own_skin {
            true => clear_mm,
            // A mended skin may be off its own by a hair, and nearest points by as much.
            false => (clear_mm - self.labelled.pieces().size_mm()).max(0.0),
        }
    }
}
