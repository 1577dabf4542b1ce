//! What commands say beside numbers and names.

use std::path::PathBuf;

use emath::Pos2;

use crate::model::errand::FormFile;
use crate::model::finished_form::FinishedFile;
use crate::model::photo_form::PhotoFile;

/// Where the pointer is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Hover {
    /// Neither on the stage nor on the ribbon.
    #[default]
    Nowhere,
    /// On the stage, with nothing pressed or with the brush drawing.
    Stage(Pos2),
    /// On the ribbon, at a height, mm.
    Ribbon(f64),
    /// It drags something: what it showed before stays.
    Busy,
}

/// An edge of a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Edge {
    /// The lower one.
    Bottom,
    /// The upper one.
    Top,
}

/// Where in a layer to stand once it is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entering {
    /// At its first move.
    First,
    /// At its last: the whole layer is shown.
    Last,
}

/// What to do with the file that the system's dialog gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Browse {
    /// Open it.
    Open,
    /// Take spools from it.
    Spools,
    /// Put that picture on the part.
    Picture,
    /// Save to it; the path is proposed.
    Save(PathBuf),
    /// Write a picture of the view to it; the path is proposed.
    ViewCopy(PathBuf),
    /// Write what the printer needs into that folder.
    Folder,
    /// Weave into it.
    Toolpath,
    /// Write the woven file there, or read that.
    Woven,
    /// Take the dialect from it.
    Dialect,
    /// Put it into a field of the job's page.
    Form(FormFile),
    /// Put it into a field of the page for a photograph.
    Photo(PhotoFile),
    /// Put it into a field of the page for the finished part.
    Finished(FinishedFile),
}
