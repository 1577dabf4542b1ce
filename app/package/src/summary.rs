//! What a prepared folder holds, and its numbers for other programs.

use geometry::DVec3;
use plan::schedule::{Provenance, Totals, Warning};
use plan::{AsPrinted, Schedule};
use project::cautions;
use project::job::Job;
use project::signoff::Standing;
use report::print_quality::Outcome;
use report::review::Came;
use serde::{Deserialize, Serialize};

/// The files that are written, and what each is.
pub const FILES: &[(&str, &str)] = &[
    (
        "schedule.ron",
        "the schedule: every layer and every blend, for programs",
    ),
    (
        "schedule.csv",
        "the same for a spreadsheet or a script, one row for each dose",
    ),
    (
        "commands.csv",
        "when to send each blend change, ahead of its place by the lag",
    ),
    (
        "as-printed.ron",
        "what comes out of the nozzle, dose by dose, for programs",
    ),
    (
        "sheet.png",
        "the part as requested and as printed, by height and in numbers, to look at or print",
    ),
    (
        "watch.png",
        "what each drive must have done at each height, to hold beside the printer",
    ),
    ("watch.csv", "the same for a spreadsheet"),
    (
        "review.html",
        "the page to review before you sign; open it in any browser",
    ),
    (
        "summary.json",
        "sizes, totals and sources for other programs",
    ),
    ("index.txt", "this list, and the cautions"),
];

/// A machine-readable summary of what was prepared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// Version of this format.
    pub version: u32,
    /// What it was made from.
    pub provenance: Provenance,
    /// Whether a person has looked the plan over.
    #[serde(default = "Standing::not_reviewed")]
    pub review: Standing,
    /// Size of the part as it stands on the bed: width, depth, height.
    pub size_mm: [f64; 3],
    /// Sums over the schedule.
    pub totals: Totals,
    /// What comes out, how far off it is, and what is flushed away.
    pub as_printed: Outcome,
    /// What a person should know about how the mesh was read.
    pub notes: Vec<String>,
    /// What a person should know before printing.
    pub warnings: Vec<Warning>,
}

impl Summary {
    /// Version of the format that is written here. Version 1 has `most_de00` for `p95_de00`.
    pub const VERSION: u32 = 2;

    /// Its notes, then its warnings, as a person reads them: many that are alike are counted.
    pub fn told(&self) -> Vec<String> {
        let mut lines = self.notes.clone();
        lines.extend(plan::schedule::told(&self.warnings));
        lines
    }
}

/// The summary of a job.
pub(crate) fn summary(
    job: &Job,
    schedule: &Schedule,
    printed: &AsPrinted,
    review: Standing,
) -> Summary {
    let (lo, hi) = job.painted.surface().bounds_mm();
    Summary {
        version: Summary::VERSION,
        provenance: schedule.provenance.clone(),
        review,
        size_mm: DVec3::to_array(&(hi - lo)),
        totals: schedule.totals.clone(),
        as_printed: Outcome::of(printed),
        notes: job.told(),
        warnings: [&schedule.warnings[..], &printed.warnings].concat(),
    }
}

/// A page of text that says what the folder holds.
pub(crate) fn index(summary: &Summary, came: &[Came<'_>]) -> String {
    let from = &summary.provenance;
    let title = match from.title.trim() {
        "" => &from.mesh_file,
        title => title,
    };
    let mut text = format!("{title}\n{}\n\n", from.review);
    for (name, what) in FILES {
        text.push_str(&format!("{name:18}{what}\n"));
    }
    text.push_str("\nMade from\n");
    for (label, value) in [
        ("plan", format!("SHA-256 {}", from.plan_sha256)),
        (
            "mesh",
            format!("{}, SHA-256 {}", from.mesh_file, from.mesh_sha256),
        ),
        ("colours", from.model.clone()),
        ("machine", from.machine.clone()),
        ("route", from.route.clone()),
        ("by", from.made_by.clone()),
    ] {
        text.push_str(&format!("  {label:9}{value}\n"));
    }
    for came in came {
        let (day, sha256) = (came.opened.record.day(), came.opened.sha256());
        let day = day.replace(char::is_control, " ");
        text.push_str(&format!(
            "  record   of a print, read on {day}, SHA-256 {sha256}\n"
        ));
        if let Some(warning) = came.warning() {
            text.push_str(&format!("           {warning}\n"));
        }
    }
    text.push_str("\nAs printed\n");
    for line in summary.as_printed.lines() {
        text.push_str(&format!("  {line}\n"));
    }
    let known = summary.told();
    if !known.is_empty() {
        text.push_str("\nAbout this part\n");
    }
    for note in known {
        text.push_str(&format!("  - {note}\n"));
    }
    text.push_str("\nBefore you print\n");
    for caution in cautions::SHORT {
        text.push_str(&format!("  - {caution}\n"));
    }
    text
}
