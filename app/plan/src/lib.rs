//! The plan: regions of a shape, the blends they get, the machine, and the schedule.
//!
//! A [`Plan`] is the one document that a person edits. [`Painted`] joins it to the shape and
//! answers, for any point, which region wins there and which blend it asks for; the viewer,
//! the render, the schedule and the woven toolpath all ask it and nobody else.
//! A [`Schedule`] is derived from it and never edited. [`AsPrinted`] follows the schedule
//! through the [`Machine`]'s melt chamber: what is sent to it, what comes out, what is wasted.

mod as_printed;
pub mod changes;
pub mod compensate;
pub mod delivery;
pub mod document;
pub mod economy;
pub mod edit;
pub mod lag_fit;
pub mod machine;
pub mod painted;
pub mod preflight;
pub mod ron_text;
pub mod schedule;
pub mod trace;
pub mod watch;

pub use as_printed::{AsPrinted, JumpOffer, ReadBack};
pub use document::{
    BrushStroke, External, Filling, FirstPlan, Laying, LoadError, MeshSource, NamedBlend, Paint,
    Plan, Region, SharedLayers, SpoolSet, Wall,
};
pub use edit::{Drag, Edit, EditError, History};
pub use machine::{Chamber, Drive, Machine};
pub use painted::{PaintError, Painted};
pub use ron_text::TextError;
pub use schedule::{Schedule, ScheduleError};
