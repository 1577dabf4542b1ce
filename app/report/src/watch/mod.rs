//! The table to hold beside the printer, written out: as text, as CSV, and as a page to print.

mod csv;
mod files;
mod page;
mod text;

pub use self::csv::write_csv;
pub use self::files::{SEEN, WatchFilesError, write};
pub use self::page::page;
pub use self::text::text;

use plan::schedule::Provenance;

/// Usual distance of two rows, mm of height.
pub const EVERY_MM: f64 = 5.0;

/// How to use the table.
const HOW: &str = "Mark each drive's gear, and each filament about 10 cm above its drive. Compare \
    while the part prints: a drive is at fault from the first row that does not agree. Then write \
    what you saw into a file and run tintfall trace.";

/// Cautions while watching.
const CARE: &str = "Keep fingers, hair and sleeves away from gears, belts and the hotend. Stop the \
    printer before you touch a filament or a drive.";

/// What plastic the turns are for.
fn plastic(from: &Provenance) -> String {
    format!(
        "{}. If your toolpath is sliced differently, change the plan's filling. Until then, \
         compare the shares of the drives, not their totals.",
        from.route
    )
}
