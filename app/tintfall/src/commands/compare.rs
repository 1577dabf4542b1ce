//! The table of `tintfall weave --compare`.

use std::fmt::Write;

use blend::Shares;
use weave::compare::{Comparison, Way};

/// Ways to weave, the recommended one first.
pub(super) fn table(found: &Comparison) -> String {
    let mut text = String::new();
    // Writing to a String can't fail.
    let _ = write_all(&mut text, found);
    text
}

fn write_all(out: &mut String, found: &Comparison) -> std::fmt::Result {
    writeln!(
        out,
        "Ways to weave, the recommended one first. ΔE00 at the skin, as read back; purge beside the \
         part.\n"
    )?;
    writeln!(out, "{:30} mean ΔE00 95 % ΔE00 purge, g    min   how", "")?;
    for way in &found.ways {
        writeln!(
            out,
            "  {:28} {:9.2} {:9.1} {:8.1} {:6.0}   {}",
            way.name, way.mean_de00, way.p95_de00, way.purged_g, way.purged_minutes, way.how
        )?;
        lost(out, way)?;
    }
    writeln!(out)?;
    for caution in &found.cautions {
        writeln!(out, "Order and block: {caution}.")?;
    }
    if found.least_g > 0.0 {
        writeln!(
            out,
            "Lower bound: the changes of order and block need {:.1} g; the rest is for the block to stand.",
            found.least_g
        )?;
        writeln!(
            out,
            "The same purge at each change, large enough for the worst, would be {:.1} g. For two blends \
             in each layer, twice the part's weight is usual: {:.1} g (common practice, no source).",
            found.fixed_g, found.custom_g
        )?;
    }
    if let Some(lighter) = &found.lighter {
        writeln!(
            out,
            "Purest blends need the most purge. With {} in place of {} (ΔE00 {:.1} apart), its changes \
             need a third: about {:.1} g less.",
            shares(&lighter.shares),
            shares(&lighter.instead_of),
            lighter.de00,
            lighter.saves_g
        )?;
    }
    Ok(())
}

/// Regions that do not come out in a way.
fn lost(out: &mut String, way: &Way) -> std::fmt::Result {
    for lost in &way.lost {
        writeln!(
            out,
            "      lost: {}, {:.0} mm², off by ΔE00 {:.0}",
            lost.name, lost.area_mm2, lost.mean_de00
        )?;
    }
    Ok(())
}

/// A blend's shares in percent.
pub(super) fn shares(shares: &Shares) -> String {
    let parts: Vec<String> = shares
        .as_slice()
        .iter()
        .map(|share| format!("{:.0}", share * 100.0))
        .collect();
    format!("{} %", parts.join("/"))
}
