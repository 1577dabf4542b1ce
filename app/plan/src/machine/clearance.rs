//! Room that the tool head needs beside what already stands.

use serde::{Deserialize, Serialize};

/// Room that the tool head needs beside what already stands, where copies are printed one after
/// another. Measured with the nozzle at the bed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clearance {
    /// How far the tool head reaches from the nozzle to any side, mm: what is higher than the
    /// nozzle stands farther away.
    pub around_mm: f64,
    /// How high something may stand, mm, so that the carriage and its rails pass over it.
    pub under_mm: f64,
}
