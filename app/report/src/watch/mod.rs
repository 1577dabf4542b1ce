//! The table to hold beside the printer, written out: as text, as CSV, and as a page to print.

mod csv;
mod page;
mod text;

pub use self::csv::write_csv;
pub use self::page::page;
pub use self::text::text;

use plan::schedule::Provenance;

/// Usual distance of two rows, mm of height.
pub const EVERY_MM: f64 = 5.0;

/// How to use the table.
const HOW: &str = "Put a mark on each drive's gear, and one on each filament a hand's breadth above \
    its drive. Compare as the print grows; the first row that does not agree tells from where on \
    a drive is at fault. Then write what you saw into a file and run tintfall trace.";

/// What to take care of while watching.
const CARE: &str = "Look, and keep fingers, hair and sleeves away from gears, belts and the hotend. \
    Stop the printer before you touch a filament or a drive.";

/// What plastic the turns are for.
fn plastic(from: &Provenance) -> String {
    format!(
        "{}. If your toolpath is sliced otherwise, set the plan's filling to it; until then compare \
         the shares of the drives, not their sums.",
        from.route
    )
}
