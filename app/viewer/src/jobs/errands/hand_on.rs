//! Handing the plan on: the table to key in, and hand-offs written and checked.

use geometry::Progress;
use package::bundle::{self, BundleError, CheckError};
use package::scheduled;
use project::signoff;
use project::write;
use report::panel_table::{PanelTable, Screen, table};

use super::order::{Order, not_prepared, typed};
use crate::jobs::Stop;
use crate::model::errand::{Answer, Forms, Line};

/// Makes the table to key in, and writes it to a file.
pub(super) fn key_in(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let forms = &order.forms;
    let file = typed(&forms.key_in_file, "the file")?;
    let job = order.as_saved(progress)?;
    let standing = signoff::standing(&job).map_err(|error| Stop::failed(&error))?;
    let schedule = scheduled(&job, None, &standing, progress).map_err(not_prepared)?;
    let screen = Screen {
        fades: forms.fades,
        stored: forms.stored,
        outside: forms.outside,
    };
    let keyed = PanelTable::new(&job.painted, &schedule, screen);
    let text = table(&keyed, screen, &job.painted, &schedule);
    write::bytes(&file, text.as_bytes()).map_err(|error| Stop::failed(&error))?;
    let mut answer = Answer::wrote(&file);
    answer.lines.push(Line::Table(text));
    Ok(answer)
}

/// Writes a hand-off.
pub(super) fn hand_off(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let target = typed(&order.forms.handoff, "the hand-off")?;
    let job = order.as_saved(progress)?;
    if order.forms.needs_review {
        let standing = signoff::standing(&job).map_err(|error| Stop::failed(&error))?;
        standing.require().map_err(|error| Stop::failed(&error))?;
    }
    let records = order.records()?;
    let done =
        bundle::hand_off(&job, &records, &target, progress).map_err(|error| match error {
            BundleError::Prepare(error) => not_prepared(error),
            BundleError::Cancelled(_) => Stop::Cancelled,
            error => Stop::failed(&error),
        })?;
    let mut answer = Answer::wrote(&done.path);
    let manifest = &done.manifest;
    let standing = format!("{}.", manifest.review.words());
    answer.lines.push(Line::Text(standing));
    answer
        .lines
        .extend(done.records.into_iter().flatten().map(Line::Warning));
    answer.lines.extend(manifest.files.iter().map(|entry| {
        let kib = entry.bytes.div_ceil(1024);
        Line::File(entry.name.clone(), format!("{} ({kib} KiB)", entry.what))
    }));
    Ok(answer)
}

/// Checks a hand-off.
pub(super) fn check(forms: &Forms, progress: &Progress) -> Result<Answer, Stop> {
    let path = typed(&forms.received, "the hand-off")?;
    let found = bundle::check(&path, progress).map_err(|error| match error {
        CheckError::Cancelled(_) => Stop::Cancelled,
        error => Stop::failed(&error),
    })?;
    let mut lines = Vec::new();
    let unsigned = found.review.require().err();
    let unsigned = unsigned.filter(|_| forms.needs_review);
    if found.faults.is_empty() && unsigned.is_none() {
        let whole = format!("{}: complete and unchanged.", path.display());
        lines.push(Line::Holds(whole));
    }
    if !found.faults.is_empty() {
        lines.push(Line::Warning(
            "Don't print from this hand-off; ask for a new one.".to_owned(),
        ));
    }
    lines.extend(unsigned.map(|why| Line::Warning(format!("{why}."))));
    lines.extend(found.faults.into_iter().map(Line::Warning));
    lines.extend(found.held.into_iter().map(Line::Holds));
    lines.extend(found.notes.into_iter().map(Line::Text));
    Ok(Answer {
        revision: None,
        lines,
        opens: None,
    })
}
