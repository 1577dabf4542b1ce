//! The old names of what is written out, until the window has moved to the crates themselves.

pub use calibrate as calibration;
pub use package::{FILES, PrepareError, Prepared, Summary, prepare};
pub use project::{job, signoff, write};
pub use render;
pub use report::skin_colours::colours;

/// The plan put into a sliced toolpath.
pub mod weave {
    pub use ::weave::*;

    /// A woven toolpath read back.
    pub mod verify {
        pub use ::weave::verify::deposition as laid;
        pub use ::weave::verify::*;

        /// The same print but for its blends.
        pub mod same {
            pub use ::weave::verify::equivalence::Equivalence as Same;
        }
    }
}
