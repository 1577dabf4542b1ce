//! `tintfall trace`.

use std::path::PathBuf;

use calibrate::observations;
use plan::trace::{Finding, trace};

use super::swatch::text_of;
use super::watch::Worked;
use crate::console::Console;
use crate::fault::Fault;

/// Findings less likely than this are only counted.
const WORTH_TELLING: f64 = 0.01;

/// Rank the causes of a bad print from what you saw of it
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall watch lamp-shade.plan.ron --out watch      writes an empty watch/seen.csv
  (fill in what you saw)
  tintfall trace lamp-shade.plan.ron watch/seen.csv

SEEN is a table with the column height_mm and any of turns_1, turns_2 …, filament_1_mm …, and
l, a, b or hex for the colour at that height; turns and filament count from the beginning.

The likeliest cause is a guess to try first, not a proof. Switch the printer off and let it cool
before you follow advice that touches the hotend or wiring; mains wiring is for licensed people.")]
pub struct Args {
    /// The plan that was printed
    plan: PathBuf,
    /// The table of what was seen
    seen: PathBuf,
    /// The usual error of a colour reading, ΔE00: more for a photograph
    #[arg(
        long,
        value_name = "DE00",
        default_value_t = 1.5,
        allow_negative_numbers = true
    )]
    colour_error: f64,
    /// Write the findings to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Looks for the cause.
    pub fn run(self, console: &Console) -> Result<(), Fault> {
        if !(self.colour_error.is_finite() && self.colour_error > 0.0) {
            return Err(Fault::Input(format!(
                "--colour-error {}: it must be above 0, such as 1.5",
                self.colour_error
            )));
        }
        let text = text_of(&self.seen)?;
        let (count, findings) = console.working(|progress| -> Result<_, Fault> {
            let worked = Worked::open(&self.plan, progress)?;
            let (plan, model) = (worked.job.painted.plan(), worked.job.painted.model());
            let mut sighting = observations::read_print(&text, plan.spools.len(), worked.top_mm())
                .map_err(|e| Fault::Input(format!("{}: {e}", self.seen.display())))?;
            sighting.colour_error_de00 = self.colour_error;
            let (schedule, printed) = (&worked.schedule, &worked.printed);
            let findings = trace(plan, model, schedule, printed, &sighting, progress)?;
            Ok((sighting.seen.len(), findings))
        })?;
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&findings).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(count, &findings)),
        }
    }
}

fn told(count: usize, findings: &[Finding]) -> String {
    let mut text = format!("{count} things were seen. Causes, the likeliest first:\n");
    let (worth, rest): (Vec<&Finding>, Vec<&Finding>) =
        findings.iter().partition(|f| f.chance >= WORTH_TELLING);
    for (i, finding) in worth.iter().enumerate() {
        text.push_str(&format!(
            "\n{}. {} ({:.0} %)\n   {}\n   Try: {}\n",
            i + 1,
            finding.cause.name(),
            100.0 * finding.chance,
            finding.evidence,
            finding.advice
        ));
    }
    if !rest.is_empty() {
        let names: Vec<&str> = rest.iter().map(|f| f.cause.name()).collect();
        text.push_str(&format!("\nUnlikely: {}\n", names.join(", ")));
    }
    text.push_str("\nSwitch off and let it cool before you touch the hotend or wiring.\n");
    text
}
