//! The commands as CSV: when to change the blend, and to what.

use std::io;

use csv::{Terminator, WriterBuilder};
use plan::economy::Heights;
use plan::{AsPrinted, Schedule};

use super::fields::{comment, number};

/// Writes the commands, one a row: after how much extruded plastic, where that is, and the
/// shares from there on.
///
/// # Errors
/// What the writer says.
pub fn write_commands(
    schedule: &Schedule,
    printed: &AsPrinted,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let from = &schedule.provenance;
    comment(out, "Commands", &from.title)?;
    comment(out, "Plan", &format!("SHA-256 {}", from.plan_sha256))?;
    comment(out, "Machine", &from.machine)?;
    comment(
        out,
        "Volumes",
        "of plastic printed from the start, with flushes",
    )?;
    comment(out, "Route", &from.route)?;
    let mut table = WriterBuilder::new()
        .terminator(Terminator::Any(b'\n'))
        .from_writer(out);
    let count = schedule.totals.spools.len();
    let mut columns: Vec<String> = ["extruded_mm3", "layer", "in_layer_mm3", "height_mm"]
        .map(str::to_owned)
        .into();
    columns.extend((1..=count).map(|i| format!("share_{i}")));
    table.write_record(&columns)?;
    let heights = Heights::new(&printed.extrusion, schedule);
    for command in &printed.compensation.commands.0 {
        let (layer, in_layer_mm3) = printed.extrusion.place(command.at_mm3);
        let mut row = vec![
            number(command.at_mm3),
            (layer + 1).to_string(),
            number(in_layer_mm3),
            number(heights.height_mm(command.at_mm3)),
        ];
        row.extend(command.shares.as_slice().iter().copied().map(number));
        table.write_record(&row)?;
    }
    table.flush()
}
