//! Checking a hand-off on the other side.

use std::collections::HashSet;
use std::fs;
use std::path::Path;

use geometry::Progress;
use plan::Schedule;
use plan::document::sha256_hex;
use serde::Serialize;

use super::contents::{three_mf, whole};
use super::error::{CheckError, Refusal};
use super::manifest::{MANIFEST, Manifest, SUMS, place_of_record};
use super::unpack::unpack;
use crate::prepare::{PrepareError, Work};
use crate::three_mf::read_back;
use project::job::{Job, JobError};
use project::record::{Opened, RecordError};
use project::signoff::{self, Standing};
use project::text_file::read_text;

/// What a check found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// What the part is.
    pub title: String,
    /// How the plan stands now, by the files that were handed over.
    pub review: Standing,
    /// How many files the manifest names.
    pub files: usize,
    /// What was found in order.
    pub held: Vec<String>,
    /// What is wrong; empty if the hand-off can be relied on.
    pub faults: Vec<String>,
    /// What else to know.
    pub notes: Vec<String>,
}

/// Checks a hand-off, a folder or a ZIP file: every file against the manifest, then the plan
/// against its signatures, and then all of it worked out again.
///
/// # Errors
/// [`CheckError`] when there is nothing that could be checked. What is wrong with a hand-off
/// stands in [`Report::faults`].
pub fn check(path: &Path, progress: &Progress) -> Result<Report, CheckError> {
    progress.stage("Checking the hand-off");
    if path.is_dir() {
        return check_folder(path, path, progress);
    }
    if !path.exists() {
        return Err(CheckError::Refused {
            path: path.to_owned(),
            why: Refusal::Missing,
        });
    }
    let unpacked = unpack(path, progress)?;
    check_folder(unpacked.path(), path, progress)
}

fn check_folder(folder: &Path, named: &Path, progress: &Progress) -> Result<Report, CheckError> {
    let text = read_text(&folder.join(MANIFEST)).map_err(|why| CheckError::Refused {
        path: named.to_owned(),
        why: Refusal::NoManifest(why),
    })?;
    let manifest = Manifest::from_ron(&text).map_err(|error| {
        let place = format!("{}/{MANIFEST}", named.display());
        CheckError::Manifest(error.in_file(&place))
    })?;
    let mut report = Report {
        title: manifest.title.clone(),
        review: Standing::not_reviewed(),
        files: manifest.files.len(),
        held: Vec::new(),
        faults: Vec::new(),
        notes: Vec::new(),
    };
    files(folder, &manifest, &mut report, progress)?;
    // What was changed is not worth a closer look.
    if report.faults.is_empty() {
        report
            .held
            .push(format!("{} files match the manifest", manifest.files.len()));
        contents(folder, &manifest, &mut report, progress)?;
    }
    Ok(report)
}

/// Every file is there and as it was, and there is no other.
fn files(
    folder: &Path,
    manifest: &Manifest,
    report: &mut Report,
    progress: &Progress,
) -> Result<(), CheckError> {
    for entry in &manifest.files {
        progress.check()?;
        let path = folder.join(&entry.name);
        let fault = match fs::symlink_metadata(&path) {
            Err(_) => Some("is missing".to_owned()),
            Ok(data) if !data.is_file() => Some("is not a plain file".to_owned()),
            Ok(data) if data.len() != entry.bytes => Some(format!(
                "was changed: it has {} bytes, not {}",
                data.len(),
                entry.bytes
            )),
            Ok(_) => match fs::read(&path) {
                Err(error) => Some(format!("can't be read: {error}")),
                Ok(bytes) if sha256_hex(&bytes) != entry.sha256 => {
                    Some("was changed: its SHA-256 differs".to_owned())
                }
                Ok(_) => None,
            },
        };
        if let Some(fault) = fault {
            report.faults.push(format!("{} {fault}", entry.name));
        }
    }
    let sums = fs::read(folder.join(SUMS)).unwrap_or_default();
    if sums != manifest.sums().as_bytes() {
        report
            .faults
            .push(format!("{SUMS} does not match the manifest"));
    }
    let mut others = Vec::new();
    walk(folder, "", &mut others);
    let named: HashSet<&str> = manifest.files.iter().map(|e| e.name.as_str()).collect();
    for name in others {
        let known = name == MANIFEST || name == SUMS;
        if !known && !named.contains(name.as_str()) {
            report.faults.push(format!(
                "{name} is not in the manifest; ask the sender about it"
            ));
        }
    }
    Ok(())
}

/// The names of all files, but hidden ones that systems leave behind; links are not followed.
fn walk(folder: &Path, prefix: &str, found: &mut Vec<String>) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    let mut entries: Vec<_> = entries.flatten().collect();
    entries.sort_by_key(std::fs::DirEntry::file_name);
    for entry in entries {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') || found.len() > 10_000 {
            continue;
        }
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => {
                walk(&entry.path(), &format!("{prefix}{name}/"), found);
            }
            _ => found.push(format!("{prefix}{name}")),
        }
    }
}

/// The plan opens, its signatures hold or not as they did, and the files are what the plan makes.
fn contents(
    folder: &Path,
    manifest: &Manifest,
    report: &mut Report,
    progress: &Progress,
) -> Result<(), CheckError> {
    let job = match Job::open(&folder.join(&manifest.plan), progress) {
        Ok(job) => job,
        Err(JobError::Cancelled(stop)) => return Err(stop.into()),
        Err(error) => {
            report.faults.push(error.to_string());
            return Ok(());
        }
    };
    match signoff::standing(&job) {
        Ok(standing) => {
            match standing == manifest.review {
                true => report.held.push(format!("the plan: {}", standing.words())),
                false => report.faults.push(format!(
                    "the plan's review has changed: {} (the manifest: {})",
                    standing.words(),
                    manifest.review.words()
                )),
            }
            report.review = standing;
        }
        Err(error) => report.faults.push(error.to_string()),
    }
    let records = records(folder, manifest, report);
    let work = match Work::new(&job, progress).and_then(|work| work.with(&records)) {
        Ok(work) => work,
        Err(PrepareError::Cancelled(stop)) => return Err(stop.into()),
        Err(error) => {
            report.faults.push(error.to_string());
            return Ok(());
        }
    };
    for (i, came) in work.came.iter().enumerate() {
        let place = place_of_record(i + 1);
        match came.warning() {
            None => report
                .held
                .push(format!("{place}: of this state of the plan")),
            Some(warning) => report.notes.push(format!("{place}: {warning}")),
        }
    }
    let from = &work.schedule.provenance;
    let mut same = |holds: bool, what: &str| match holds {
        true => report.held.push(what.to_owned()),
        false => report.faults.push(format!("not true: {what}")),
    };
    same(
        from.plan_sha256 == manifest.plan_sha256,
        "the plan matches the manifest",
    );
    same(
        from.mesh_sha256 == manifest.mesh_sha256,
        "the mesh matches the manifest",
    );
    let read = |name: &str| fs::read(folder.join(name)).unwrap_or_default();
    if manifest.made_by != from.made_by {
        let text = String::from_utf8(read("schedule.ron")).unwrap_or_default();
        let schedule = Schedule::from_ron(&text).ok();
        let of_plan = schedule.is_some_and(|s| s.provenance.plan_sha256 == manifest.plan_sha256);
        same(of_plan, "schedule.ron belongs to this plan");
        report.notes.push(format!(
            "It was made by {}, and this is {}: files were not made again to compare.",
            manifest.made_by, from.made_by
        ));
        return Ok(());
    }
    let model = three_mf(&job, &work, progress).ok();
    let back = read_back(&read("part.3mf")).ok();
    same(
        model.is_some() && back == model,
        "part.3mf has the plan's blends (made again and compared)",
    );
    for (name, content) in work.tables().unwrap_or_default() {
        let what = format!("{name} matches the plan (made again and compared)");
        same(read(name) == content, &what);
    }
    // Drawing takes longer than all the rest, so it is done where the page shows more than the plan.
    if !records.is_empty() {
        let page = match work.page_again(whole, progress) {
            Ok(page) => Some(page),
            Err(PrepareError::Cancelled(stop)) => return Err(stop.into()),
            Err(_) => None,
        };
        same(
            page.is_some_and(|page| read("review.html") == page.as_bytes()),
            "review.html matches the plan and the records (made again and compared)",
        );
    }
    Ok(())
}

/// The records of prints, each checked against its own list of hashes.
fn records(folder: &Path, manifest: &Manifest, report: &mut Report) -> Vec<Opened> {
    let read = |number: usize| Opened::read(&folder.join(place_of_record(number)));
    let all: Result<Vec<Opened>, RecordError> = (1..=manifest.records()).map(read).collect();
    all.unwrap_or_else(|error| {
        // As the hand-off has it, not where it was unpacked.
        let unpacked = format!("{}/", folder.display());
        report.faults.push(error.to_string().replace(&unpacked, ""));
        Vec::new()
    })
}
