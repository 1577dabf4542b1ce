//! At the printer: the list to watch by, and the cause of what was seen.

use calibrate::observations;
use geometry::Progress;
use plan::trace::Tracing;
use plan::watch::Watch;
use report::watch::{self, SEEN};

use super::order::{Order, text_of, typed, worked};
use crate::jobs::Stop;
use crate::model::errand::{Answer, Line};

/// Writes the list to watch by.
pub(super) fn watch(order: Order, progress: &Progress) -> Result<Answer, Stop> {
    let folder = typed(&order.forms.watch_folder, "the folder")?;
    let every_mm = order.forms.every_mm;
    let job = order.into_job(progress)?;
    let (schedule, printed) = worked(&job, progress)?;
    let table = Watch::new(job.painted.plan(), &schedule, &printed, every_mm);
    let seen = folder.join(SEEN);
    // Readings are work that nobody wants to do twice.
    if seen.exists() && observations::has_readings(&text_of(&seen)?, table.spools.len()) {
        return Err(Stop::Failed(format!(
            "{}: this table has readings in it; choose another folder, or move the table",
            seen.display()
        )));
    }
    let empty = observations::template(&table);
    watch::write(&folder, &table, &schedule.provenance, &empty)
        .map_err(|error| Stop::failed(&error))?;
    let mut answer = Answer::wrote(&folder);
    answer.lines.extend(
        [
            ("watch.txt", "what each drive must have done at each height"),
            (
                "watch.png",
                "the same as a page to print, with boxes to tick",
            ),
            ("watch.csv", "the same for a spreadsheet"),
            (SEEN, "an empty table for what you see"),
        ]
        .map(|(file, about)| Line::File(file.to_owned(), about.to_owned())),
    );
    answer
        .lines
        .push(Line::Table(watch::text(&table, &schedule.provenance)));
    Ok(answer)
}

/// Looks for the cause of what was seen.
pub(super) fn trace(order: Order, progress: &Progress) -> Result<Answer, Stop> {
    let forms = order.forms.clone();
    let spools = order.part.plan.spools.len();
    let (named, text) = match (&forms.photographed, forms.seen_file.trim()) {
        (Some(read), _) => (read.names.clone(), read.table.clone()),
        (None, "") => ("What you saw".to_owned(), forms.seen_table(spools)),
        (None, file) => (file.to_owned(), text_of(file.as_ref())?),
    };
    let job = order.into_job(progress)?;
    let (schedule, printed) = worked(&job, progress)?;
    let top_mm = schedule.layers.last().map_or(0.0, |l| l.span.top_mm);
    let mut sighting = observations::read_print(&text, spools, top_mm)
        .map_err(|error| Stop::Failed(format!("{named}: {error}")))?;
    if !sighting.is_photographed() {
        sighting.colour_error_de00 = forms.colour_error_de00;
    }
    let (plan, model) = (job.painted.plan(), job.painted.model());
    let tracing = plan::trace::trace(plan, model, &schedule, &printed, &sighting, progress)?;
    Ok(told(sighting.seen.len(), &tracing))
}

fn told(count: usize, tracing: &Tracing) -> Answer {
    let mut lines = vec![Line::Text(format!(
        "{count} observations. Causes, the likeliest first:"
    ))];
    lines.extend(tracing.doubt.clone().map(Line::Warning));
    let told = tracing.told();
    for (i, finding) in told.likely.iter().enumerate() {
        lines.push(Line::Text(format!(
            "{}. {} ({:.0} %)\n{}\nTry: {}\nTest, without printing the part again: {}",
            i + 1,
            finding.cause.name(),
            100.0 * finding.chance,
            finding.evidence,
            finding.advice,
            finding.test
        )));
    }
    if let Some(chance) = told.none_of_these {
        let percent = 100.0 * chance;
        lines.push(Line::Text(format!("None of these: {percent:.0} %")));
    }
    if !told.unlikely.is_empty() {
        lines.push(Line::Text(format!(
            "Unlikely: {}",
            told.unlikely.join(", ")
        )));
    }
    lines.push(Line::Warning(
        "Switch off and let it cool before you touch the hotend or wiring. The odds come from your \
         observations and from what is usual (common practice, no source)."
            .to_owned(),
    ));
    Answer {
        revision: None,
        lines,
        opens: None,
    }
}
