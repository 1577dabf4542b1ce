//! The wall that shows, for spools that light shines through.

use blend::Behind;
use serde::{Deserialize, Serialize};

/// A wall, and how light what lies behind it is. Colours of translucent spools are predicted
/// through it; opaque ones hardly change.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wall {
    /// How thick it is, mm.
    pub thickness_mm: f64,
    /// Reflectance of what the wall touches on its inside: 0 unless given, a dark hollow.
    #[serde(default)]
    pub behind: f64,
}

impl Wall {
    /// What the mixing model calls it.
    pub(super) fn backing(&self) -> Behind {
        Behind::Grey(self.behind)
    }

    /// What is wrong with it: the field, and what to do.
    pub(super) fn problem(&self) -> Option<(&'static str, String)> {
        let Self {
            thickness_mm,
            behind,
        } = *self;
        if !(thickness_mm.is_finite() && thickness_mm > 0.0) {
            let what = format!("a wall {thickness_mm} mm thick; it must be a number above 0");
            return Some(("thickness_mm", what));
        }
        (!(0.0..=1.0).contains(&behind)).then(|| {
            let what = format!("a reflectance of {behind} behind the wall; it must be from 0 to 1");
            ("behind", what)
        })
    }
}
