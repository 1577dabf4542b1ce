//! The picture of the view that is being made.

use arboard::Clipboard;

use super::filled::Filled;
use crate::jobs::view_copy::Done;
use crate::model::view_copy::ViewCopy;

/// The picture that is being made.
#[derive(Default)]
pub(super) struct ViewCopying {
    /// What the scene is to draw.
    pub(super) wanted: Option<ViewCopy>,
    pub(super) job: Filled<(), Done>,
    /// Holds the last picture that went to the clipboard.
    pub(super) clipboard: Option<Clipboard>,
}
