//! How a plan stands with its reviewers.

use serde::{Deserialize, Serialize};

use super::document::{Decision, Signature, Signatures};
use super::seal::Seal;

/// In a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Nobody has signed it.
    NotReviewed,
    /// It is signed as it is.
    Approved,
    /// A reviewer refused it as it is.
    SentBack,
    /// It was signed, and has changed since.
    OutOfDate,
}

/// Who signed, when, and what they said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signed {
    /// The reviewer's name.
    pub name: String,
    /// When, in UTC.
    pub at: String,
    /// The decision.
    pub decision: Decision,
    /// What else they said.
    pub note: String,
}

/// How a plan stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Standing {
    /// In a word.
    pub state: State,
    /// The signature that decides it, if there is one.
    pub signed: Option<Signed>,
    /// What has changed since that signature.
    pub changed: Vec<String>,
}

/// Somebody insists on a review, and there is none that holds.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}. A review is required here: have the plan signed with `tintfall sign`")]
pub struct NotApproved(String);

impl Standing {
    /// Of a plan that nobody has signed.
    pub fn not_reviewed() -> Self {
        Self {
            state: State::NotReviewed,
            signed: None,
            changed: Vec::new(),
        }
    }

    /// Of a plan with changes that no file holds.
    pub(super) fn unsaved(signatures: &Signatures) -> Self {
        match signatures.list.last() {
            None => Self::not_reviewed(),
            Some(old) => Self {
                state: State::OutOfDate,
                signed: Some(old.into()),
                changed: vec!["the plan, which is not saved".to_owned()],
            },
        }
    }

    /// The latest signature of just these files decides; if there is none, the latest of all is
    /// out of date.
    pub(super) fn of(signatures: &Signatures, seal: &Seal) -> Self {
        let mut latest = signatures.list.iter().rev();
        let holds = |s: &&Signature| s.seal.whole_sha256 == seal.whole_sha256;
        if let Some(found) = latest.clone().find(holds) {
            return Self {
                state: match found.decision {
                    Decision::Approved => State::Approved,
                    Decision::SentBack => State::SentBack,
                },
                signed: Some(found.into()),
                changed: Vec::new(),
            };
        }
        match latest.next() {
            None => Self::not_reviewed(),
            Some(old) => Self {
                state: State::OutOfDate,
                signed: Some(old.into()),
                changed: seal.changed_since(&old.seal),
            },
        }
    }

    /// Whether it is signed and approved as it is.
    pub fn is_approved(&self) -> bool {
        self.state == State::Approved
    }

    /// Insists on a review.
    ///
    /// # Errors
    /// [`NotApproved`] says how it stands and what to do.
    pub fn require(&self) -> Result<(), NotApproved> {
        match self.is_approved() {
            true => Ok(()),
            false => Err(NotApproved(self.words())),
        }
    }

    /// In one line for a head or a stamp.
    pub fn words(&self) -> String {
        let Some(signed) = &self.signed else {
            return "Not reviewed".to_owned();
        };
        let (name, day) = (&signed.name, signed.day());
        match self.state {
            State::NotReviewed => "Not reviewed".to_owned(),
            State::Approved => format!("Reviewed and approved by {name} on {day}"),
            State::SentBack => format!("Not approved: {name} sent it back on {day}"),
            State::OutOfDate => format!(
                "Not reviewed: the signature of {name} of {day} is out of date; changed since: {}",
                match self.changed.is_empty() {
                    true => "something".to_owned(),
                    false => self.changed.join(", "),
                }
            ),
        }
    }

    /// As short as a stamp.
    pub fn stamp(&self) -> &'static str {
        match self.state {
            State::NotReviewed => "not reviewed",
            State::Approved => "reviewed and approved",
            State::SentBack => "not approved: sent back",
            State::OutOfDate => "not reviewed: signature out of date",
        }
    }
}

impl Signed {
    /// The day of the signature.
    pub fn day(&self) -> &str {
        self.at.split('T').next().unwrap_or(&self.at)
    }
}

impl From<&Signature> for Signed {
    fn from(signature: &Signature) -> Self {
        Self {
            name: signature.name.clone(),
            at: signature.at.clone(),
            decision: signature.decision,
            note: signature.note.clone(),
        }
    }
}
