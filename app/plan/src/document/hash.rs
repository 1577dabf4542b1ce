//! Hashes by which derived files name what they were made from.

use sha2::{Digest, Sha256};

use super::{External, Plan};
use crate::ron_text;

/// SHA-256 of bytes, in hexadecimal.
///
/// ```
/// // The example of FIPS 180-2, appendix B.1.
/// assert_eq!(
///     plan::document::sha256_hex(b"abc"),
///     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
/// );
/// ```
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Bytes of a hash in hexadecimal, two digits each.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A plan that can't be written down for its hash: a fault of this program.
#[derive(Debug, thiserror::Error)]
#[error("the plan can't be written for its hash: {0}")]
pub struct HashError(#[source] ron::Error);

impl Plan {
    /// SHA-256 over the plan's contents, the fit of measured spools among them: the same for the
    /// same plan however its text is laid out, and whether its spools and machine stand in it or
    /// in files.
    ///
    /// # Errors
    /// None for a plan that [`Plan::problems`] finds sound.
    pub fn sha256(&self) -> Result<String, HashError> {
        let mut plan = self.clone();
        let measured = std::mem::take(&mut plan.spools.value.measured);
        plan.spools = External::from(plan.spools.value);
        plan.machine = External::from(plan.machine.value);
        let text = ron_text::canonical(&(plan, measured)).map_err(HashError)?;
        Ok(sha256_hex(text.as_bytes()))
    }
}
