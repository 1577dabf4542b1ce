//! The table as plain text.

use std::fmt::Write as _;

use plan::schedule::Provenance;
use plan::watch::Watch;

/// The whole table with how to use it.
pub fn text(watch: &Watch, from: &Provenance) -> String {
    let mut text = format!("What each drive must have done: {}\n\n", from.title);
    for (i, name) in watch.spools.iter().enumerate() {
        // Writing into a text can't fail.
        let _ = writeln!(text, "drive {}  {name}", i + 1);
    }
    text.push('\n');
    let mut first = format!("{:>7} {:>6} {:>6}", "", "", "");
    let mut second = format!("{:>7} {:>6} {:>6}", "mm", "layers", "min");
    for i in 1..=watch.spools.len() {
        let _ = write!(first, " | {:<26}", format!("drive {i}"));
        let _ = write!(second, " | {:>8} {:>7} {:>9}", "turns", "since", "fil. mm");
    }
    for line in [&first, &second] {
        let _ = writeln!(text, "{}", line.trim_end());
    }
    let _ = writeln!(text, "{}", "-".repeat(second.chars().count()));
    for row in &watch.rows {
        let _ = write!(
            text,
            "{:>7.2} {:>6} {:>6.0}",
            row.height_mm, row.layers, row.minutes
        );
        for drive in &row.drives {
            let (turns, since) = (drive.turns, drive.turns_since);
            let _ = write!(
                text,
                " | {turns:>8.2} {since:>7.2} {:>9.1}",
                drive.filament_mm
            );
        }
        text.push('\n');
    }
    let _ = write!(
        text,
        "\n\
         turns: of the drive's marked gear from the start; since: from the row above;\n\
         fil. mm: filament from the start.\n\
         \n\
         {}\n\
         {}\n\
         {}\n",
        super::HOW,
        super::plastic(from),
        super::CARE
    );
    text
}
