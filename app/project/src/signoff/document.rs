//! The file of signatures.

use blend::MeasuredSpools;
use plan::document::sha256_hex;
use plan::ron_text::{self, Document, Path, Problem};
use plan::{External, Plan, TextError};
use ron::ser::path_meta::Field;
use serde::{Deserialize, Serialize};

use super::seal::Seal;

/// What a reviewer decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Decision {
    /// It may be printed as it is.
    Approved,
    /// It may not; the note says what has to change.
    SentBack,
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

/// One signature.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signature {
    /// The reviewer's name, as given.
    pub name: String,
    /// When, in UTC.
    pub at: String,
    /// The decision.
    pub decision: Decision,
    /// Anything that the next person should know.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
    /// The program's version.
    pub made_by: String,
    /// What was signed.
    pub seal: Seal,
    /// SHA-256 over all of the above, so that a later change of it is noticed.
    pub sha256: String,
    /// The plan as it was signed, its spools and machine in full, to tell what changed since.
    pub plan: Plan,
    /// The fit of measured spools that belonged to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<MeasuredSpools>,
}

impl Signature {
    pub(super) fn new(verdict: Verdict, seal: Seal, plan: &Plan, at: String) -> Self {
        let mut plan = plan.clone();
        let measured = plan.spools.value.measured.take();
        plan.spools = External::from(plan.spools.value);
        plan.machine = External::from(plan.machine.value);
        let mut signature = Self {
            name: verdict.name.trim().to_owned(),
            at,
            decision: verdict.decision,
            note: verdict.note.trim().to_owned(),
            made_by: format!("Tintfall {}", env!("CARGO_PKG_VERSION")),
            seal,
            sha256: String::new(),
            plan,
            measured,
        };
        signature.sha256 = signature.hash();
        signature
    }

    fn hash(&self) -> String {
        let text = format!(
            "{}\n{}\n{:?}\n{}\n{}\n{}\n",
            self.name,
            self.at,
            self.decision,
            self.made_by,
            self.seal.whole(),
            self.note
        );
        sha256_hex(text.as_bytes())
    }

    /// The plan as it was signed, with the fit of its spools; `None` if it is not the plan that
    /// the seal names.
    pub fn signed_plan(&self) -> Option<Plan> {
        let mut plan = self.plan.clone();
        plan.spools.value.measured.clone_from(&self.measured);
        let hash = plan.sha256().ok()?;
        (hash == self.seal.contents_sha256).then_some(plan)
    }
}

/// All signatures of a plan, the oldest first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signatures {
    /// Version of this format.
    pub version: u32,
    /// The signatures.
    #[serde(rename = "signatures")]
    pub list: Vec<Signature>,
}

impl Default for Signatures {
    fn default() -> Self {
        Self {
            version: Self::VERSION,
            list: Vec::new(),
        }
    }
}

impl Signatures {
    /// Version of the format that is read and written here.
    pub const VERSION: u32 = 1;

    /// Reads a file of signatures.
    ///
    /// # Errors
    /// [`TextError`] with line and column; a signature that was changed after it was written is
    /// an error, too.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a file of signatures; [`Signatures::from_ron`] of it gives the same ones.
    ///
    /// # Errors
    /// Only what the serializer itself reports.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }
}

impl Document for Signatures {
    const KIND: &'static str = "file of signatures";
    const VERSION: u32 = Self::VERSION;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let all = Path::field("signatures");
        let list = self.list.iter().enumerate();
        list.filter(|(_, s)| s.sha256 != s.hash() || s.seal.whole_sha256 != s.seal.whole())
            .map(|(i, s)| {
                let what = format!(
                    "the signature of {} was changed after it was written, so it is void; remove \
                     it, or the whole file, and have the plan signed again",
                    s.name
                );
                Problem::new(all.at(i), what)
            })
            .collect()
    }

    fn comments() -> Field {
        let mut top = Field::empty();
        top.build_fields(|fields| {
            fields.field("signatures").with_doc(
                "Written by the program. A signature that is edited by hand is void. Each holds \
                 the\n\
                 plan as it was signed.",
            );
        });
        top
    }
}
