//! Who looked a plan over, and whether what they looked at is still what there is.
//!
//! A signature stands in a file of its own beside the plan (see [`path_of`]). It is bound by a
//! [`Seal`] to the bytes of the plan, of the mesh, and of the spool and machine files; when any
//! of them changes by as much as one byte the signature no longer holds, and everything that is
//! written out says so ([`Standing`]).
//!
//! A signature is a note between people who trust each other, not a proof: it has no secret key,
//! and whoever can write the file can sign under any name. It shows that nothing has changed
//! since, and what has.

// It comes from strangers: nothing in it may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

mod clock;
mod document;
mod seal;
mod standing;

use std::io;
use std::path::{Path, PathBuf};

use plan::{Plan, TextError};

use crate::compare::{Change, changes};
use crate::job::{Job, read_text};
use crate::write::{self, WriteError};

pub use clock::utc;
pub use document::{Decision, Signature, Signatures};
pub use seal::Seal;
pub use standing::{NotApproved, Signed, Standing, State};

/// The longest name and the longest note that are taken, in characters.
const LONGEST: (usize, usize) = (120, 4000);

/// Why something can't be signed, or its signatures can't be read.
#[derive(Debug, thiserror::Error)]
pub enum SignoffError {
    /// The file of signatures can't be read.
    #[error("{0}")]
    Signatures(String),
    /// A file that is to be signed can't be read again.
    #[error("{}: can't be read to sign it: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The name or the note is none.
    #[error("{0}")]
    Words(&'static str),
    /// The signatures can't be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The signatures can't be put into words: a fault of this program.
    #[error("the signature can't be written down: {0}")]
    Text(String),
}

/// What a reviewer says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// The reviewer's name.
    pub name: String,
    /// The decision.
    pub decision: Decision,
    /// Anything that the next person should know.
    pub note: String,
}

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
    let named = path.display().to_string();
    let text =
        read_text(&path).map_err(|why| SignoffError::Signatures(format!("{named}: {why}")))?;
    Signatures::from_ron(&text)
        .map_err(|error: TextError| SignoffError::Signatures(error.in_file(&named).to_string()))
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
    let text = all
        .to_ron()
        .map_err(|error| SignoffError::Text(error.to_string()))?;
    write::bytes(&path_of(&job.path), text.as_bytes())?;
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
    let other_mesh = seal.mesh_file_sha256 != last.seal.mesh_file_sha256;
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
        return Err(SignoffError::Words(
            "a signature needs a name: write --name \"Your Name\"",
        ));
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
        return Err(SignoffError::Words(
            "say what has to change: write --note \"…\" with --send-back",
        ));
    }
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
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
