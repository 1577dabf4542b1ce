//! Where readings come from.

use serde::{Deserialize, Serialize};

/// Where readings come from, so that every number can be traced. Nothing here is worked with.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Provenance {
    /// Name of the file with the readings.
    pub file: String,
    /// Its SHA-256, in hexadecimal digits.
    pub sha256: String,
    /// The day of measuring, in the user's words.
    pub measured_on: String,
    /// The instrument, in the user's words.
    pub instrument: String,
    /// Anything else worth knowing.
    pub note: String,
}
