//! The schedule as CSV (RFC 4180): one row for each dose, what is asked and what comes out,
//! units in the column names.

use std::io;

use csv::{Terminator, WriterBuilder};
use plan::delivery::DeliveredDose;
use plan::schedule::{Dose, Layer, told};
use plan::{AsPrinted, Schedule};

use super::fields::{comment, number};
use crate::amount::amount;
use crate::print_quality;

/// Writes the schedule as CSV: lines that begin with `#` say what it was made from, then come
/// the column names and a row for each dose.
///
/// # Errors
/// What the writer says.
pub fn write_csv(
    schedule: &Schedule,
    printed: &AsPrinted,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    head(schedule, printed, out)?;
    let mut table = WriterBuilder::new()
        .terminator(Terminator::Any(b'\n'))
        .from_writer(out);
    table.write_record(columns(schedule))?;
    for (i, layer) in schedule.layers.iter().enumerate() {
        for (order, dose) in layer.doses.iter().enumerate() {
            let delivered = printed.delivery.layers.get(i);
            let delivered = delivered.and_then(|l| l.doses.get(order));
            table.write_record(row(schedule, (i, layer), (order, dose), delivered))?;
        }
    }
    table.flush()
}

/// What the file is and where it comes from, as comment lines.
fn head(schedule: &Schedule, printed: &AsPrinted, out: &mut dyn io::Write) -> io::Result<()> {
    let from = &schedule.provenance;
    comment(out, "Schedule", &from.title)?;
    comment(out, "Format", &schedule.version.to_string())?;
    comment(out, "Plan", &format!("SHA-256 {}", from.plan_sha256))?;
    let mesh = format!("{}, SHA-256 {}", from.mesh_file, from.mesh_sha256);
    comment(out, "Mesh", &mesh)?;
    comment(out, "Colours", &from.model)?;
    comment(out, "Machine", &from.machine)?;
    comment(out, "Route", &from.route)?;
    comment(out, "Made by", &from.made_by)?;
    comment(out, "Review", &from.review)?;
    for (i, spool) in schedule.totals.spools.iter().enumerate() {
        let value = format!(
            "{}, {} g, {} m",
            spool.name,
            amount(spool.mass_g),
            amount(spool.length_m)
        );
        comment(out, &format!("Spool {}", i + 1), &value)?;
    }
    comment(out, "Flushed away", &print_quality::waste(&printed.waste))?;
    if let Some(offer) = &printed.jump_offer {
        comment(out, "Jumps", &offer.text)?;
    }
    for warning in told(schedule.warnings.iter().chain(&printed.warnings)) {
        comment(out, "Warning", &warning)?;
    }
    Ok(())
}

fn columns(schedule: &Schedule) -> Vec<String> {
    let mut columns: Vec<String> = [
        "layer",
        "bottom_mm",
        "top_mm",
        "layer_height_mm",
        "order",
        "region",
        "region_name",
        "volume_mm3",
        "visible_area_mm2",
    ]
    .map(str::to_owned)
    .into();
    let count = schedule.totals.spools.len();
    columns.extend((1..=count).map(|i| format!("share_{i}")));
    columns.extend((1..=count).map(|i| format!("filament_{i}_mm")));
    columns.extend(["srgb", "lab_l", "lab_a", "lab_b", "uncertainty_de00"].map(str::to_owned));
    columns.extend((1..=count).map(|i| format!("fed_share_{i}")));
    columns.extend((1..=count).map(|i| format!("printed_share_{i}")));
    columns.extend(
        [
            "printed_srgb",
            "printed_lab_l",
            "printed_lab_a",
            "printed_lab_b",
            "printed_de00",
            "printed_worst_de00",
        ]
        .map(str::to_owned),
    );
    columns
}

fn row(
    schedule: &Schedule,
    (index, layer): (usize, &Layer),
    (order, dose): (usize, &Dose),
    delivered: Option<&DeliveredDose>,
) -> Vec<String> {
    let span = layer.span;
    let region = schedule.totals.regions.get(dose.region);
    let mut row = vec![
        (index + 1).to_string(),
        number(span.bottom_mm),
        number(span.top_mm),
        number(span.height_mm()),
        (order + 1).to_string(),
        (dose.region + 1).to_string(),
        region.map_or(String::new(), |r| r.name.clone()),
        number(dose.volume_mm3),
        number(dose.area_mm2),
    ];
    // As many as there are spools, whatever the dose has: every row needs every column.
    let count = schedule.totals.spools.len();
    let padded = |values: &[f64]| {
        let values = values.iter().copied().chain(std::iter::repeat(0.0));
        values.take(count).map(number).collect::<Vec<_>>()
    };
    row.extend(padded(dose.shares.as_slice()));
    row.extend(padded(&dose.filament_mm));
    row.push(dose.srgb.to_string());
    row.extend([dose.lab.l, dose.lab.a, dose.lab.b].map(number));
    row.push(dose.uncertainty_de00.map_or(String::new(), number));
    match delivered {
        Some(out) => {
            row.extend(padded(out.fed.as_slice()));
            row.extend(padded(out.shares.as_slice()));
            row.push(out.srgb.to_string());
            row.extend([out.lab.l, out.lab.a, out.lab.b].map(number));
            row.extend([out.de00, out.worst_de00].map(number));
        }
        None => row.extend(vec![String::new(); 2 * count + 6]),
    }
    row
}
