//! Signing a plan, and looking how it stands.

use std::path::{Path, PathBuf};

use plan::Plan;
use plan::changes::{Change, changes};

use super::clock::utc;
use super::document::{Decision, Signature, Signatures, Verdict};
use super::error::SignoffError;
use super::seal::Seal;
use super::standing::Standing;
use crate::job::Job;
use crate::text_file::read_text;
use crate::write;

/// The longest name and the longest note that are taken, in characters.
const LONGEST: (usize, usize) = (120, 4000);

/// The file that a plan's signatures stand in: `cup.plan.ron` has `cup.plan.review.ron`.
pub fn path_of(plan: &Path) -> PathBuf {
    let stem = plan.file_stem().unwrap_or_default().to_os_string();
    let mut name = stem;
    name.push(".review.ron");
    plan.with_file_name(name)
}

/// The signatures of a plan; none if there is no file of them.
///
/// # Errors
/// [`SignoffError::Signatures`] with file, line, column and what to do.
pub fn signatures(plan: &Path) -> Result<Signatures, SignoffError> {
    let path = path_of(plan);
    if !path.exists() {
        return Ok(Signatures::default());
    }
    let text = match read_text(&path) {
        Ok(text) => text,
        Err(source) => return Err(SignoffError::Unreadable { path, source }),
    };
    let named = path.display().to_string();
    Ok(Signatures::from_ron(&text).map_err(|error| error.in_file(&named))?)
}

/// How a plan stands: approved, sent back, signed but changed since, or not reviewed.
///
/// # Errors
/// [`SignoffError`] when the signatures or the signed files can't be read.
pub fn standing(job: &Job) -> Result<Standing, SignoffError> {
    standing_of(&job.path, job.painted.plan())
}

/// How a plan stands that was read from a file and is as the file has it.
///
/// # Errors
/// As [`standing`].
pub fn standing_of(path: &Path, plan: &Plan) -> Result<Standing, SignoffError> {
    let signatures = signatures(path)?;
    if signatures.list.is_empty() {
        return Ok(Standing::not_reviewed());
    }
    Ok(Standing::of(&signatures, &Seal::of(path, plan)?))
}

/// How a plan stands whose changes are not in its file yet: nobody can have signed them.
///
/// # Errors
/// [`SignoffError`] when the signatures can't be read.
pub fn unsaved_standing(path: &Path) -> Result<Standing, SignoffError> {
    Ok(Standing::unsaved(&signatures(path)?))
}

/// Signs a plan as it stands: adds a signature to those in its file.
///
/// # Errors
/// [`SignoffError`]; the old signatures are untouched then.
pub fn sign(job: &Job, verdict: Verdict) -> Result<Signature, SignoffError> {
    check(&verdict)?;
    let mut all = signatures(&job.path)?;
    let signature = Signature::new(
        verdict,
        Seal::of(&job.path, job.painted.plan())?,
        job.painted.plan(),
        utc(),
    );
    all.list.push(signature.clone());
    write::bytes(&path_of(&job.path), all.to_ron()?.as_bytes())?;
    Ok(signature)
}

/// What has changed since a plan was last signed, whoever signed it and however; `None` if it
/// never was, or if the plan that was signed is not known any more.
///
/// # Errors
/// [`SignoffError`] when the signatures or the signed files can't be read.
pub fn since_signed(job: &Job) -> Result<Option<Vec<Change>>, SignoffError> {
    let signatures = signatures(&job.path)?;
    let Some(last) = signatures.list.last() else {
        return Ok(None);
    };
    let seal = Seal::of(&job.path, job.painted.plan())?;
    let other_mesh = seal.is_of_other_mesh(&last.seal);
    let mut now = job.painted.plan().clone();
    let Some(mut old) = last.signed_plan() else {
        return Ok(None);
    };
    // Where spools and machine stand is no change of what they are.
    (now.spools.file, now.machine.file) = (None, None);
    (old.spools.file, old.machine.file) = (None, None);
    Ok(Some(changes(&old, &now, other_mesh)))
}

fn check(verdict: &Verdict) -> Result<(), SignoffError> {
    let name = verdict.name.trim();
    if name.is_empty() {
        return Err(SignoffError::NoName);
    }
    if name.chars().count() > LONGEST.0 || name.chars().any(char::is_control) {
        return Err(SignoffError::Words(
            "the name must be one line of no more than 120 characters",
        ));
    }
    if verdict.note.chars().count() > LONGEST.1 {
        return Err(SignoffError::Words(
            "the note is longer than 4000 characters; shorten it",
        ));
    }
    if verdict.decision == Decision::SentBack && verdict.note.trim().is_empty() {
        return Err(SignoffError::NoReason);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_plan_has_a_file_of_its_own() {
        let of = |name: &str| path_of(Path::new(name)).display().to_string();
        assert_eq!(of("shop/cup.plan.ron"), "shop/cup.plan.review.ron");
        assert_eq!(of("cup.ron"), "cup.review.ron");
        assert_eq!(of("cup"), "cup.review.ron");
    }

    #[test]
    fn a_signature_needs_a_name_and_a_refusal_a_reason() {
        let verdict = |name: &str, decision, note: &str| Verdict {
            name: name.into(),
            decision,
            note: note.into(),
        };
        assert!(check(&verdict("A. Keeper", Decision::Approved, "")).is_ok());
        assert!(check(&verdict("  ", Decision::Approved, "")).is_err());
        assert!(check(&verdict("a\nb", Decision::Approved, "")).is_err());
        assert!(check(&verdict("A. Keeper", Decision::SentBack, " ")).is_err());
    }
}
