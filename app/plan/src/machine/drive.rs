//! One filament drive.

use serde::{Deserialize, Serialize};

/// A filament drive: a stepper motor and the gear that grips the filament.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Drive {
    /// Microsteps that feed 1 mm of filament. Default 93 (a gear of about 11 mm with 3200
    /// microsteps a turn: common practice, no source). Calibrate it.
    pub steps_per_mm: f64,
    /// Microsteps for a whole turn of the gear on which a mark is watched. Default 3200: a
    /// motor of 1.8° with 16 microsteps, without a reduction.
    pub steps_per_turn: f64,
}

impl Default for Drive {
    fn default() -> Self {
        Self {
            steps_per_mm: 93.0,
            steps_per_turn: 3200.0,
        }
    }
}

impl Drive {
    /// Turns of the marked gear that feed a length of filament.
    pub fn turns(&self, filament_mm: f64) -> f64 {
        filament_mm * self.steps_per_mm / self.steps_per_turn
    }
}
