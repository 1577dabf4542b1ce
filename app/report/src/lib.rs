//! What people read of a plan and of its print: tables, sheets and pages.
//!
//! Nothing here touches the disk: each part takes a plan on its part, its schedule and what comes
//! out, and gives a text or a picture.

pub mod amount;
pub mod comparison;
mod markup;
mod page;
pub mod panel_table;
pub mod patches;
pub mod print_quality;
pub mod reach_chart;
pub mod review;
pub mod schedule;
pub mod seen_sheet;
pub mod sheet;
pub mod skin_colours;
pub mod tools_page;
pub mod watch;
