//! Agreeing on the plan: review page, signatures, and what is different from another plan.

use geometry::Progress;
use plan::changes::{Change, changes};
use project::job::Job;
use project::signoff::{self, Decision, SignoffError, Verdict};
use project::write;
use report::comparison::{PictureError, picture};

use super::order::{Order, not_prepared, typed};
use crate::jobs::Stop;
use crate::model::errand::{Answer, Errand, Line};
use crate::model::names::file_name;

/// Compares the plan, as it stands, with another.
pub(super) fn compare(order: Order, progress: &Progress) -> Result<Answer, Stop> {
    let other = typed(&order.forms.other_plan, "the other plan")?;
    let to_draw = Some(order.forms.differences.trim().to_owned()).filter(|file| !file.is_empty());
    let other = Job::open(&other, progress)?;
    let ours = order.into_job(progress)?;
    let shape = |job: &Job| plan::schedule::mesh_sha256(job.painted.surface().mesh());
    let (was, is) = (other.painted.plan(), ours.painted.plan());
    let placed_alike = was.mesh.place == is.mesh.place;
    let found = changes(was, is, placed_alike && shape(&other) != shape(&ours));
    let mut answer = Answer {
        revision: None,
        lines: listed(&found, "The plans are the same."),
        opens: None,
    };
    if let Some(file) = to_draw.filter(|_| !found.is_empty()) {
        let name = |job: &Job| match file_name(&job.path) {
            name if name.is_empty() => "in the window".to_owned(),
            name => name,
        };
        let image = picture(
            (&name(&other), &other.painted),
            (&name(&ours), &ours.painted),
            progress,
        )
        .map_err(|error| match error {
            PictureError::Cancelled(_) => Stop::Cancelled,
            error @ PictureError::TooLarge => Stop::failed(&error),
        })?;
        let file = std::path::PathBuf::from(file);
        write::file(&file, |out| image.write_png(out)).map_err(|error| Stop::failed(&error))?;
        answer.opens = Some(file);
    }
    Ok(answer)
}

fn listed(found: &[Change], none: &str) -> Vec<Line> {
    match found.is_empty() {
        true => vec![Line::Holds(none.to_owned())],
        false => found
            .iter()
            .map(|change| Line::Text(format!("{}: {}", change.about, change.what)))
            .collect(),
    }
}

/// Writes the review page.
pub(super) fn review(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let file = typed(&order.forms.review_page, "the page")?;
    let job = order.as_saved(progress)?;
    let page = package::review_page(&job, &order.records()?, progress).map_err(not_prepared)?;
    write::bytes(&file, page.as_bytes()).map_err(|error| Stop::failed(&error))?;
    Ok(Answer::wrote(&file))
}

/// Signs the plan, or sends it back.
pub(super) fn sign(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let job = order.as_saved(progress)?;
    let decision = match order.errand {
        Errand::SendBack => Decision::SentBack,
        _ => Decision::Approved,
    };
    let verdict = Verdict {
        name: order.forms.reviewer.clone(),
        decision,
        note: order.forms.note.clone(),
    };
    let signature = signoff::sign(&job, verdict).map_err(not_signed)?;
    let done = match decision {
        Decision::Approved => "approved",
        Decision::SentBack => "sent back",
    };
    let lines = vec![
        Line::Holds(format!(
            "{} {done} {} on {}.",
            signature.name,
            file_name(&job.path),
            signature.at
        )),
        Line::Text(format!(
            "SHA-256 of all: {}. Change one byte of the plan, the mesh, or the spool and machine \
             files, and the signature is out of date.",
            signature.seal.whole_sha256
        )),
    ];
    Ok(Answer {
        revision: None,
        lines,
        opens: None,
    })
}

fn not_signed(error: SignoffError) -> Stop {
    match error {
        SignoffError::NoName => Stop::Failed("A signature needs a name: type yours.".to_owned()),
        SignoffError::NoReason => Stop::Failed("Say in the note what has to change.".to_owned()),
        error => Stop::failed(&error),
    }
}

/// Tells what has changed since the plan was last signed.
pub(super) fn changes_since(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let job = order.as_saved(progress)?;
    let found = signoff::since_signed(&job).map_err(|error| Stop::failed(&error))?;
    let lines = match found {
        Some(found) => listed(&found, "Nothing has changed since it was signed."),
        None => vec![Line::Text(
            "This plan was never signed, so there is nothing to compare it with.".to_owned(),
        )],
    };
    Ok(Answer {
        revision: None,
        lines,
        opens: None,
    })
}
