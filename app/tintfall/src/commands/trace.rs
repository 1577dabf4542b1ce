//! `tintfall trace`.

use std::path::{Path, PathBuf};

use calibrate::observations;
use geometry::Progress;
use plan::trace::{Tracing, trace};

use super::swatch::text_of;
use super::watch::Worked;
use crate::console::Console;
use crate::fault::Fault;

/// Rank the causes of a bad print from what you saw of it
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall watch lamp-shade.plan.ron --out watch      writes an empty watch/seen.csv
  (fill in what you saw)
  tintfall trace lamp-shade.plan.ron watch/seen.csv

SEEN is a table with the column height_mm and any of turns_1, turns_2 …, filament_1_mm …, and
l, a, b or hex for the colour at that height. Turns and filament count from the start.

The likeliest cause is a guess to try first, not a proof. Switch the printer off and let it cool
before you follow advice on the hotend or wiring. Mains wiring is for licensed people.")]
pub(crate) struct Args {
    /// The plan that was printed
    plan: PathBuf,
    /// The table of what you saw; give several tables for several prints, each traced alone
    #[arg(required = true)]
    seen: Vec<PathBuf>,
    /// The usual error of a colour reading, ΔE00 [default: as the table says, else 1.5]
    #[arg(long, value_name = "DE00", allow_negative_numbers = true)]
    colour_error: Option<f64>,
    /// Write the findings to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Looks for the cause.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        if let Some(error) = self.colour_error
            && !(error.is_finite() && error > 0.0)
        {
            return Err(Fault::Input(format!(
                "--colour-error {error}: it must be above 0, such as 1.5"
            )));
        }
        let mut texts = Vec::with_capacity(self.seen.len());
        for path in &self.seen {
            texts.push((path, text_of(path)?));
        }
        let traced = console.working(|progress| -> Result<_, Fault> {
            let worked = Worked::open(&self.plan, progress)?;
            let of = |(path, text): &(&PathBuf, String)| self.traced(path, text, &worked, progress);
            texts.iter().map(of).collect::<Result<Vec<_>, Fault>>()
        })?;
        if self.json {
            let tracings: Vec<&Tracing> = traced.iter().map(|(_, tracing)| tracing).collect();
            let text = match tracings[..] {
                [one] => serde_json::to_string_pretty(one),
                _ => serde_json::to_string_pretty(&tracings),
            };
            return console.out(&format!("{}\n", text.map_err(Fault::system)?));
        }
        for (path, (count, tracing)) in self.seen.iter().zip(&traced) {
            if self.seen.len() > 1 {
                console.out(&format!("{}\n", path.display()))?;
            }
            console.out(&told(*count, tracing))?;
        }
        Ok(())
    }

    fn traced(
        &self,
        path: &Path,
        text: &str,
        worked: &Worked,
        progress: &Progress,
    ) -> Result<(usize, Tracing), Fault> {
        let (plan, model) = (worked.job.painted.plan(), worked.job.painted.model());
        let mut sighting = observations::read_print(text, plan.spools.len(), worked.top_mm())
            .map_err(|e| Fault::Input(format!("{}: {e}", path.display())))?;
        if let Some(error) = self.colour_error {
            sighting.colour_error_de00 = error;
        }
        let (schedule, printed) = (&worked.schedule, &worked.printed);
        let tracing = trace(plan, model, schedule, printed, &sighting, progress)?;
        Ok((sighting.seen.len(), tracing))
    }
}

fn told(count: usize, tracing: &Tracing) -> String {
    let mut text = format!("{count} observations. Causes, the likeliest first:\n");
    if let Some(doubt) = &tracing.doubt {
        text.push_str(&format!("\n{doubt}\n"));
    }
    let told = tracing.told();
    for (i, finding) in told.likely.iter().enumerate() {
        text.push_str(&format!(
            "\n{}. {} ({:.0} %)\n   {}\n   Try: {}\n   Test, without printing the part again: {}\n",
            i + 1,
            finding.cause.name(),
            100.0 * finding.chance,
            finding.evidence,
            finding.advice,
            finding.test
        ));
    }
    if let Some(chance) = told.none_of_these {
        text.push_str(&format!("\nNone of these: {:.0} %\n", 100.0 * chance));
    }
    if !told.unlikely.is_empty() {
        text.push_str(&format!("\nUnlikely: {}\n", told.unlikely.join(", ")));
    }
    text.push_str(
        "\n\
         The odds come from your observations and from what is usual (common practice, no \
         source).\n\
         Switch off and let it cool before you touch the hotend or wiring.\n",
    );
    text
}
