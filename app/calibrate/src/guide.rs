//! The page of text that goes with a test print: what is where, and how to measure it.

use std::fmt::Write as _;

use blend::Spool;

use super::test_part::{FACE_MM, MEASURED_MM, TestPart};
use project::cautions;

/// The page for some bars of some spools; each bar goes by its file stem.
pub fn text(spools: &[Spool], bars: &[(String, TestPart)]) -> String {
    let mut text = String::from(
        "Test print for measuring spools\n\nSpools, in the order of the hotend's inlets\n",
    );
    let mut line = |words: String| {
        text.push_str(&words);
        text.push('\n');
    };
    for (i, spool) in spools.iter().enumerate() {
        line(format!("  {}  {}", i + 1, spool.name));
    }
    for (name, bar) in bars {
        line(format!(
            "\n\
             {name}.stl: an upright bar with a foot. Its flat face, {FACE_MM} mm wide, is flush \
             with\n\
             the foot; the notches at its sides show where steps meet. From the foot up:\n\
             \n  \
             step   from mm     to mm   measure at   shares"
        ));
        for step in &bar.steps {
            let mut shares = String::new();
            for (i, share) in step.shares.as_slice().iter().enumerate() {
                let gap = if i > 0 { " / " } else { "" };
                // A String takes whatever is written.
                let _ = write!(shares, "{gap}{:.0}", share * 100.0);
            }
            line(format!(
                "  {:>4} {:>9.1} {:>9.1} {:>12.1}   {shares} %",
                step.number,
                step.from_mm,
                step.to_mm,
                step.measure_at_mm()
            ));
        }
    }
    text.push_str(&format!(
        "\n\
Printing\n  \
- Slice each bar upright, with 0.2 mm layers and 100 % infill, and print it by its schedule.\n    \
The blend changes with height only, and no purge is needed. In each step, the blend before\n    \
is flushed out to 1 % where you measure. A hollow bar has too little plastic for that.\n  \
- The steps go up by every second blend and come back by those between. If the hotend lags\n    \
more than its machine file says, the fit shows it.\n\
\n\
Measuring\n  \
- Measure the flat face, in the middle of its width, {MEASURED_MM} mm or less across, at the \
height\n    \
above: the upper half of each step. The bar lies on its back; nothing shines through it.\n  \
- With a colorimeter or spectrophotometer: use D65, 2° observer, CIELAB. Write l, a and b\n    \
into measured.csv. Above the columns, write whether gloss is included. If you can, measure\n    \
each step two or three times, one row for each reading: they are averaged.\n  \
- A code (hex) from an instrument or a colour fan works too, but less exactly.\n  \
- With a camera: print the card of\n      \
tintfall card --out card.pdf\n    \
lay the bar and a grey card of known reflectance on it, photograph it from above, and run\n      \
tintfall read-photo PHOTO.jpg --plan BAR.plan.ron --neutral 0.18 --out measured.csv\n    \
Without that card, set the places in patches.ron and give --patches instead of --plan.\n\
\n\
Then\n  \
tintfall fit measured.csv --out pair.ron\n  \
and write spools: \"pair.ron\" in the plans that print with these spools.\n\
\n\
Before you print\n"
    ));
    for caution in cautions::SHORT {
        let _ = writeln!(text, "  - {caution}");
    }
    text
}
