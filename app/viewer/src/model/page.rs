//! What lies open on the window: a drawer at the side, a page over everything.

use std::path::PathBuf;

use bodies::Options;

use super::view_copy::Form;

/// What the drawer at the right shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Drawer {
    /// Regions and their blends.
    #[default]
    Colour,
    /// The spools.
    Spools,
    /// The part and how it is printed.
    Part,
    /// What is wrong or worth knowing.
    Checks,
    /// The person's own toolpath.
    Weave,
    /// The whole job, step by step.
    Job,
}

impl Drawer {
    /// All of them, in order.
    pub const ALL: [Self; 6] = [
        Self::Colour,
        Self::Spools,
        Self::Part,
        Self::Checks,
        Self::Weave,
        Self::Job,
    ];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Colour => "Colour",
            Self::Spools => "Spools",
            Self::Part => "Part",
            Self::Checks => "Checks",
            Self::Weave => "Weave",
            Self::Job => "Job",
        }
    }
}

/// A panel at the side that can be folded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SidePanel {
    /// The drawer.
    Drawer,
    /// The ribbon of heights.
    Ribbon,
}

/// A page over the window.
#[derive(Clone, Debug, PartialEq)]
pub enum Page {
    /// Help and cautions.
    Help,
    /// All keys.
    Keys,
    /// Find a command by name.
    Find {
        /// What was typed.
        text: String,
    },
    /// Reading a photograph of a test print.
    Photograph,
    /// Reading the finished part from photographs of it.
    FinishedPart,
    /// The steps of a test print, predicted and measured.
    Steps,
    /// Which file to take spools from.
    SpoolFile {
        /// The path in the field.
        path: String,
    },
    /// Which file to open.
    OpenFile {
        /// The path in the field.
        path: String,
    },
    /// Which picture to put on the part.
    Picture {
        /// The path in the field.
        path: String,
    },
    /// Where to save.
    SaveAs {
        /// The path in the field.
        path: String,
        /// What to do once it is saved.
        then: Option<After>,
    },
    /// A picture of the view.
    ViewCopy(Box<Form>),
    /// Where to write what the printer needs.
    Prepare {
        /// The folder in the field.
        folder: String,
    },
    /// The part in bodies, and where to write them.
    Bodies {
        /// The folder in the field.
        folder: String,
        /// How the part is cut.
        options: Options,
    },
    /// Saving would lose what somebody else wrote.
    Overwrite {
        /// The file to save to.
        file: PathBuf,
        /// Whether it is the plan's own file, changed since it was read; else it is another.
        changed: bool,
        /// What to do once it is saved.
        then: Option<After>,
    },
    /// Unsaved work is about to be lost.
    Unsaved {
        /// What to do once that is settled.
        then: After,
    },
}

/// What waits for unsaved work to be settled.
#[derive(Clone, Debug, PartialEq)]
pub enum After {
    /// Leave the program.
    Quit,
    /// Go to the start page.
    Close,
    /// Open a file.
    Open(PathBuf),
    /// Open a demonstration.
    Demo(String),
}
