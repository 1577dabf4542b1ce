//! What a signature is bound to.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use plan::Plan;
use plan::document::{hex, sha256_hex};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::error::SignoffError;
use crate::job::beside;

/// SHA-256 of everything that a plan is made of, as `sha256sum` gives it for the files.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Of the hashes below, one a line with its name: one number for all of it.
    pub whole_sha256: String,
    /// Of the plan file.
    pub plan_file_sha256: String,
    /// Of the mesh file.
    pub mesh_file_sha256: String,
    /// Of the file of spools, if the plan names one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spools_file_sha256: Option<String>,
    /// Of the machine file, if the plan names one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_file_sha256: Option<String>,
    /// Of the plan's contents with spools and machine in full, defaults among them: the plan
    /// hash that schedules and sheets carry.
    pub contents_sha256: String,
}

impl Seal {
    /// The seal of a plan: its files as they lie on the disk now, and its contents as they were
    /// read.
    ///
    /// # Errors
    /// [`SignoffError::File`] when one of the files can't be read.
    pub fn of(path: &Path, plan: &Plan) -> Result<Self, SignoffError> {
        let named = |name: &Option<String>| name.as_deref().map(|n| hash_of(&beside(path, n)));
        let mut seal = Self {
            whole_sha256: String::new(),
            plan_file_sha256: hash_of(path)?,
            mesh_file_sha256: hash_of(&beside(path, &plan.mesh.file))?,
            spools_file_sha256: named(&plan.spools.file).transpose()?,
            machine_file_sha256: named(&plan.machine.file).transpose()?,
            contents_sha256: plan.sha256()?,
        };
        seal.whole_sha256 = seal.whole();
        Ok(seal)
    }

    /// The hash of all the others.
    pub(super) fn whole(&self) -> String {
        let own = |hash: &Option<String>| hash.clone().unwrap_or_else(|| "in the plan".into());
        let text = format!(
            "plan {}\nmesh {}\nspools {}\nmachine {}\ncontents {}\n",
            self.plan_file_sha256,
            self.mesh_file_sha256,
            own(&self.spools_file_sha256),
            own(&self.machine_file_sha256),
            self.contents_sha256
        );
        sha256_hex(text.as_bytes())
    }

    /// What is different from an earlier seal, in words for a list.
    pub(super) fn changed_since(&self, old: &Self) -> Vec<String> {
        let mut changed = Vec::new();
        let mut tell = |differs: bool, what: &str| {
            if differs {
                changed.push(what.to_owned());
            }
        };
        tell(self.mesh_file_sha256 != old.mesh_file_sha256, "the mesh");
        let spools = self.spools_file_sha256 != old.spools_file_sha256;
        let machine = self.machine_file_sha256 != old.machine_file_sha256;
        tell(spools, "the spools");
        tell(machine, "the machine");
        let contents = self.contents_sha256 != old.contents_sha256;
        let text = self.plan_file_sha256 != old.plan_file_sha256;
        tell(contents && text, "the plan");
        tell(text && !contents, "the plan's text, though not its content");
        tell(
            contents && !text && !spools && !machine,
            "what this program makes from the plan",
        );
        changed
    }
}

/// SHA-256 of a file, read piece by piece.
fn hash_of(path: &Path) -> Result<String, SignoffError> {
    let failed = |source: io::Error| SignoffError::File {
        path: PathBuf::from(path),
        source,
    };
    let mut file = File::open(path).map_err(failed)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece).map_err(failed)? {
            0 => break,
            count => hash.update(piece.get(..count).unwrap_or(&[])),
        }
    }
    Ok(hex(&hash.finalize()))
}
