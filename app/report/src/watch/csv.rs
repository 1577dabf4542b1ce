//! The table as CSV: a row for each height.

use std::io;

use csv::{Terminator, WriterBuilder};
use plan::schedule::Provenance;
use plan::watch::Watch;

use crate::schedule::{comment, number};

/// Writes it.
///
/// # Errors
/// What the writer says.
pub fn write_csv(watch: &Watch, from: &Provenance, out: &mut dyn io::Write) -> io::Result<()> {
    comment(out, "Watch table", &from.title)?;
    comment(out, "Plan", &format!("SHA-256 {}", from.plan_sha256))?;
    comment(out, "Machine", &from.machine)?;
    comment(out, "Route", &from.route)?;
    for (i, name) in watch.spools.iter().enumerate() {
        comment(out, &format!("Drive {}", i + 1), name)?;
    }
    let mut table = WriterBuilder::new()
        .terminator(Terminator::Any(b'\n'))
        .from_writer(out);
    let mut columns: Vec<String> = ["height_mm", "layers", "minutes"].map(str::to_owned).into();
    for i in 1..=watch.spools.len() {
        columns.extend([
            format!("turns_{i}"),
            format!("turns_since_{i}"),
            format!("filament_{i}_mm"),
            format!("filament_since_{i}_mm"),
        ]);
    }
    table.write_record(&columns)?;
    for row in &watch.rows {
        let mut fields = vec![
            number(row.height_mm),
            row.layers.to_string(),
            number(row.minutes),
        ];
        for drive in &row.drives {
            fields.extend(
                [
                    drive.turns,
                    drive.turns_since,
                    drive.filament_mm,
                    drive.filament_since_mm,
                ]
                .map(number),
            );
        }
        table.write_record(&fields)?;
    }
    table.flush()
}
