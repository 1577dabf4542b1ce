//! The tables as plain text.

use std::fmt::Write as _;

use blend::Shares;
use plan::{Painted, Schedule};

use super::table::{Off, PanelTable, Screen};

/// The tables as a page of text, as wide as a printed page.
pub fn table(keyed: &PanelTable, screen: Screen, painted: &Painted, schedule: &Schedule) -> String {
    let mut out = String::new();
    // A String takes whatever is written.
    let _ = write(&mut out, keyed, screen, painted, schedule);
    out
}

fn write(
    out: &mut String,
    keyed: &PanelTable,
    screen: Screen,
    painted: &Painted,
    schedule: &Schedule,
) -> std::fmt::Result {
    let from = &schedule.provenance;
    let title = match from.title.trim() {
        "" => &from.mesh_file,
        title => title,
    };
    writeln!(out, "{}: key this in at the printer", line(title))?;
    writeln!(out, "{}", line(&from.review))?;
    writeln!(out, "Plan SHA-256 {}\n", from.plan_sha256)?;
    writeln!(
        out,
        "Blends are percentages of these spools, in this order:"
    )?;
    for (i, spool) in painted.plan().spools.iter().enumerate() {
        writeln!(out, "  {}  {}", i + 1, line(&spool.name))?;
    }
    let hex = |shares: &Shares| painted.model().mix(shares).to_srgb();
    writeln!(
        out,
        "\nEither: fades between heights, at most {}\n",
        screen.fades
    )?;
    writeln!(
        out,
        "  from mm    to mm  blend at the start    blend at the end"
    )?;
    for row in &keyed.fades {
        writeln!(
            out,
            "  {:7.2}  {:7.2}  {:20}  {}",
            row.from_mm,
            row.to_mm,
            row.start.to_string(),
            row.end
        )?;
    }
    tell(out, keyed.fades_off)?;
    writeln!(out, "\n{}", screen.outside.words())?;
    writeln!(out, "\nOr: stored blends, at most {}\n", screen.stored)?;
    writeln!(out, "  number  blend                 colour")?;
    for (i, shares) in keyed.stored.iter().enumerate() {
        writeln!(
            out,
            "  {:6}  {:20}  {}",
            i + 1,
            shares.to_string(),
            hex(shares)
        )?;
    }
    writeln!(out, "\n  from mm  number")?;
    for swap in &keyed.swaps {
        writeln!(out, "  {:7.2}  {:6}", swap.from_mm, swap.blend + 1)?;
    }
    tell(out, keyed.stored_off)?;
    writeln!(
        out,
        "\n\
         A screen gives each layer one blend, so it can't separate regions that share layers. \
         The\n\
         figures above include that error, but not the melt chamber's lag: each change comes\n\
         {:.0} mm³ of plastic late.",
        painted.plan().machine.chamber.lag_mm3()
    )
}

fn tell(out: &mut String, off: Off) -> std::fmt::Result {
    writeln!(
        out,
        "\n  \
         Off the requested colours by a mean ΔE00 of {:.1}; 95 % of the surface within {:.1},\n  \
         {:.1} at worst.",
        off.mean_de00, off.p95_de00, off.worst_de00
    )
}

/// A text without breaks.
fn line(text: &str) -> String {
    text.replace(char::is_control, " ")
}
