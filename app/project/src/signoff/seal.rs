//! What a signature is bound to.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use plan::Plan;
use plan::document::sha256_hex;
use serde::{Deserialize, Serialize};

use super::error::SignoffError;
use crate::job::beside;
use crate::models;

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
    /// Of the pictures, fonts and coloured models that the plan names, by their names there.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub picture_files_sha256: BTreeMap<String, String>,
    /// Of the files beside the mesh that its shape is in, by their names as the plan would have them.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub files_of_mesh_sha256: BTreeMap<String, String>,
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
            picture_files_sha256: hashes_of(path, plan.imprint_files())?,
            files_of_mesh_sha256: hashes_of(path, files_of_mesh(path, plan)?)?,
            contents_sha256: plan.sha256()?,
        };
        seal.whole_sha256 = seal.whole();
        Ok(seal)
    }

    /// The hash of all the others.
    pub(super) fn whole(&self) -> String {
        let own = |hash: &Option<String>| hash.clone().unwrap_or_else(|| "in the plan".into());
        let mut text = format!(
            "plan {}\nmesh {}\nspools {}\nmachine {}\ncontents {}\n",
            self.plan_file_sha256,
            self.mesh_file_sha256,
            own(&self.spools_file_sha256),
            own(&self.machine_file_sha256),
            self.contents_sha256
        );
        for (name, hash) in &self.picture_files_sha256 {
            text.push_str(&format!("picture {hash} {name}\n"));
        }
        for (name, hash) in &self.files_of_mesh_sha256 {
            text.push_str(&format!("beside the mesh {hash} {name}\n"));
        }
        sha256_hex(text.as_bytes())
    }

    /// Whether the mesh, or a file beside it that its shape is in, is another than in an earlier
    /// seal.
    pub(super) fn is_of_other_mesh(&self, old: &Self) -> bool {
        let beside = self.files_of_mesh_sha256 != old.files_of_mesh_sha256;
        beside || self.mesh_file_sha256 != old.mesh_file_sha256
    }

    /// What is different from an earlier seal, in words for a list.
    pub(crate) fn changed_since(&self, old: &Self) -> Vec<String> {
        let mut changed = Vec::new();
        let mut tell = |differs: bool, what: &str| {
            if differs {
                changed.push(what.to_owned());
            }
        };
        tell(self.is_of_other_mesh(old), "the mesh");
        let spools = self.spools_file_sha256 != old.spools_file_sha256;
        let machine = self.machine_file_sha256 != old.machine_file_sha256;
        tell(spools, "the spools");
        tell(machine, "the machine");
        let pictures = self.picture_files_sha256 != old.picture_files_sha256;
        tell(pictures, "the pictures, fonts or coloured models");
        let contents = self.contents_sha256 != old.contents_sha256;
        let text = self.plan_file_sha256 != old.plan_file_sha256;
        tell(contents && text, "the plan");
        tell(text && !contents, "the plan's text, though not its content");
        tell(
            contents && !text && !spools && !machine && !pictures,
            "what this program makes from the plan",
        );
        changed
    }
}

/// SHA-256 of files that a plan names.
fn hashes_of(plan: &Path, names: Vec<String>) -> Result<BTreeMap<String, String>, SignoffError> {
    let hashed = |name: String| {
        let hash = hash_of(&beside(plan, &name))?;
        Ok((name, hash))
    };
    names.into_iter().map(hashed).collect()
}

fn files_of_mesh(path: &Path, plan: &Plan) -> Result<Vec<String>, SignoffError> {
    models::files_of_mesh(plan, path).map_err(|source| SignoffError::File {
        path: beside(path, &plan.mesh.file),
        source,
    })
}

/// SHA-256 of a file.
fn hash_of(path: &Path) -> Result<String, SignoffError> {
    models::hash_of(path).map_err(|source| SignoffError::File {
        path: PathBuf::from(path),
        source,
    })
}
