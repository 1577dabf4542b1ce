//! The comment at the head of a woven file: what it was made from, and what to mind.

use std::fmt::Write;

use blend::Shares;
use plan::Plan;
use plan::delivery::Command;

use super::arrange::Arranged;
use super::dialect::Dialect;
use super::register::Stand;
use project::signoff::Standing;

/// What the header tells.
pub(super) struct Facts<'a> {
    pub plan: &'a Plan,
    pub plan_sha256: &'a str,
    pub dialect: &'a Dialect,
    pub stands: &'a [Stand],
    pub changes: &'a [Command],
    pub review: &'a Standing,
    pub arranged: Option<&'a Arranged>,
    pub cautions: &'a [String],
}

/// Blends that the table shows; a long fade has hundreds.
const MOST_ROWS: usize = 40;

/// Copies that are told one by one.
const MOST_STANDS: usize = 256;

/// Cautions that are told.
const MOST_CAUTIONS: usize = 20;

/// How the header begins.
const WOVEN_BY: &str = "Blends woven in by Tintfall";

/// Whether the first bytes of a file, some thousands, say that blends were woven into it.
pub fn head_tells_of_weaving(head: &[u8]) -> bool {
    String::from_utf8_lossy(head).contains(WOVEN_BY)
}

/// How the header tells that runs changed places.
pub(super) const MOVED: &str = "Order: runs changed places within their layers";

/// Characters in a line: some firmwares read no more than 96 (common practice, no source).
const WIDTH: usize = 80;

/// The header's text, without comment marks.
pub(super) fn text(facts: &Facts<'_>) -> String {
    let mut out = String::new();
    // Writing to a String can't fail.
    let _ = write_all(&mut out, facts);
    out
}

fn write_all(out: &mut String, facts: &Facts<'_>) -> std::fmt::Result {
    let plan = facts.plan;
    writeln!(out, "{WOVEN_BY} {}", env!("CARGO_PKG_VERSION"))?;
    writeln!(out, "Part: {}", one_line(&plan.title))?;
    writeln!(out, "Plan: SHA-256 {}", facts.plan_sha256)?;
    writeln!(out, "{}", one_line(&facts.review.words()))?;
    writeln!(
        out,
        "Dialect: {}. Check its commands against the firmware's manual.",
        one_line(&facts.dialect.name)
    )?;
    for (i, stand) in facts.stands.iter().take(MOST_STANDS).enumerate() {
        let [x, y] = stand.placement.shift_mm;
        let raised = match stand.placement.lift_mm {
            0.0 => String::new(),
            lift_mm => format!(", raised {lift_mm:.3} mm"),
        };
        writeln!(
            out,
            "Copy {}: turned {:.3} degrees, shifted x {x:.3} y {y:.3} mm{raised}, outline within \
             {:.3} mm",
            i + 1,
            stand.placement.turn_deg,
            stand.residual_mm
        )?;
    }
    if let Some(more) = facts.stands.len().checked_sub(MOST_STANDS + 1) {
        writeln!(out, "and {} copies more", more + 1)?;
    }
    if let Some(arranged) = facts.arranged {
        writeln!(out, "{MOVED}")?;
        for placed in &arranged.blocks {
            let (block, (low, high)) = (&placed.block, placed.block.bounds_mm());
            writeln!(
                out,
                "Purge block: x {:.3} {:.3} y {:.3} {:.3} up to {:.3} mm",
                low[0], high[0], low[1], high[1], block.top_mm
            )?;
        }
        let clearance = plan.machine.clearance;
        if let Some(clearance) = clearance.filter(|_| !arranged.blocks.is_empty()) {
            writeln!(out, "Room about the nozzle: {:.3} mm", clearance.around_mm)?;
        }
    }
    shares_table(out, facts)?;
    writeln!(out, "Cautions:")?;
    if facts.arranged.is_some() {
        writeln!(
            out,
            "- Moves are in another order than in the sliced file. Watch the"
        )?;
        writeln!(
            out,
            "  first layers, and check that the purge block is on your bed."
        )?;
    }
    for caution in CAUTIONS {
        writeln!(out, "- {caution}")?;
    }
    for caution in facts.cautions.iter().take(MOST_CAUTIONS) {
        wrapped(out, &plain(caution, 1000))?;
    }
    Ok(())
}

/// An item of a list in lines of a length that every firmware takes.
fn wrapped(out: &mut String, text: &str) -> std::fmt::Result {
    let mut line = String::from("-");
    for word in text.split_whitespace() {
        if line.len() + word.len() > WIDTH && line.len() > 1 {
            writeln!(out, "{line}")?;
            line = String::from(" ");
        }
        line.push(' ');
        line.push_str(word);
    }
    writeln!(out, "{line}")
}

/// The usual cautions (common practice, no source).
const CAUTIONS: [&str; 4] = [
    "Load the spools in the order of the table, or every colour is wrong.",
    "Hot end and bed burn skin. Plastic fumes: air the room.",
    "Stay near while it prints; heaters can start a fire.",
    "The printer's and filament's own manuals and local rules come first.",
];

fn shares_table(out: &mut String, facts: &Facts<'_>) -> std::fmt::Result {
    writeln!(out, "Spools:")?;
    for (i, spool) in facts.plan.spools.iter().enumerate() {
        writeln!(out, "  {} {}", i + 1, one_line(&spool.name))?;
    }
    let mut rows: Vec<Shares> = Vec::new();
    for change in facts.changes {
        let shares = facts.dialect.rounded(&change.shares);
        if rows.len() > MOST_ROWS {
            break;
        }
        if !rows.contains(&shares) {
            rows.push(shares);
        }
    }
    writeln!(out, "Shares of the spools, percent, in order of first use:")?;
    for (i, shares) in rows.iter().take(MOST_ROWS).enumerate() {
        let row: Vec<String> = shares
            .as_slice()
            .iter()
            .map(|share| format!("{:5.1}", share * 100.0))
            .collect();
        writeln!(out, "  {:3} {}", i + 1, row.join(" "))?;
    }
    if rows.len() > MOST_ROWS {
        writeln!(out, "  and more")?;
    }
    Ok(())
}

/// Text from a person's file, safe within a comment.
fn one_line(text: &str) -> String {
    plain(text, 70)
}

/// The first characters of a text, safe within a comment.
fn plain(text: &str, most: usize) -> String {
    text.chars()
        .map(|c| match c {
            c if c.is_control() => ' ',
            // Some firmwares look for these even in comments.
            '(' | ')' | '*' => ' ',
            c if c.is_ascii() => c,
            _ => '?',
        })
        .take(most)
        .collect()
}
