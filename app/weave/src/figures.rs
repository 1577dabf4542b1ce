//! What a toolpath comes out as with a plan woven in: woven into a file that nobody keeps, and
//! read back from it as `verify` does.

use std::io::{self, BufWriter, Read};

use geometry::{LayerSpan, Progress};
use plan::ReadBack;
use serde::Serialize;

use crate::dialect::Dialect;
use crate::verify::{RegionLaid, Verified, Verify};
use crate::weaving::{Weave, Woven};
use crate::{Source, WeaveError};

/// A region whose skin is off by more than this has not come out, ΔE00: another colour at a
/// glance (common practice, no source).
const LOST_DE00: f64 = 10.0;

/// A region that does not come out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lost {
    /// Its name.
    pub name: String,
    /// Its area, mm²: that of the lines in its skin.
    pub area_mm2: f64,
    /// How far it is off, ΔE00.
    pub mean_de00: f64,
}

/// What came of weaving and reading back.
#[derive(Clone, Debug)]
pub struct Figures {
    /// What was woven.
    pub woven: Woven,
    /// What was read back.
    pub verified: Verified,
    /// Plastic purged beside the part, mm³,
    pub purged_mm3: f64,
    /// its mass, g,
    pub purged_g: f64,
    /// and the minutes that it takes at the machine's usual flow.
    pub purged_minutes: f64,
    /// Regions that do not come out.
    pub lost: Vec<Lost>,
}

impl Figures {
    /// Weaves into a temporary file and reads it back. `judged` is the plan that colours are
    /// compared with; mostly the one that is woven.
    ///
    /// # Errors
    /// [`WeaveError`] when the toolpath can't be woven or read.
    pub fn of(
        weave: &Weave<'_>,
        judged: &plan::Painted,
        source: &Source<'_>,
        progress: &Progress,
    ) -> Result<Self, WeaveError> {
        let file = tempfile::NamedTempFile::new()?;
        let mut out = BufWriter::new(file.reopen()?);
        let woven = weave.run(source, &mut out, progress)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?;
        let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(file.reopen()?)) };
        let size_bytes = file.as_file().metadata()?.len();
        let laid = Source::new(&open, size_bytes);
        let plan = judged.plan();
        let verify = Verify {
            painted: judged,
            dialect: weave.dialect,
            settings: weave.settings,
            stands: woven
                .registered
                .stands
                .iter()
                .map(|s| s.placement)
                .collect(),
            chamber: plan.machine.chamber,
        };
        let verified = verify.run(&laid, None, progress)?;
        let purged_mm3 = woven.arranged.as_ref().map_or(0.0, |a| a.block_mm3);
        let lost = lost(&verified, 1.125 * plan.machine.nozzle_mm);
        Ok(Self {
            purged_g: woven.arranged.as_ref().map_or(0.0, |a| a.block_g),
            purged_minutes: plan.machine.minutes(purged_mm3),
            woven,
            verified,
            purged_mm3,
            lost,
        })
    }

    /// Plastic of each layer of the woven file, mm³, given that of the file from before
    /// ([`plastic_by_layer`](crate::plastic_by_layer)): in the woven one blends may be told like
    /// tools, which counting refuses.
    #[must_use]
    pub fn with_block(&self, mut layers_mm3: Vec<f64>, spans: &[LayerSpan]) -> Vec<f64> {
        let arranged = self.woven.arranged.as_ref();
        let blocks = arranged.map_or(&[][..], |a| &a.blocks);
        for level in blocks.iter().flat_map(|placed| &placed.levels) {
            let at = spans.partition_point(|span| span.top_mm < level.top_mm - 1e-3);
            if let Some(laid) = layers_mm3.get_mut(at.min(spans.len().saturating_sub(1))) {
                *laid += level.volume_mm3;
            }
        }
        layers_mm3
    }

    /// The figures for a part as printed.
    pub fn read_back(&self) -> ReadBack {
        let printed = &self.verified.printed;
        let arranged = self.woven.arranged.as_ref();
        ReadBack {
            commands: self.woven.commands.clone(),
            mean_de00: printed.mean_de00().unwrap_or(0.0),
            at_their_place_de00: self.woven.expected_de00.map_or(0.0, |[before, _]| before),
            p95_de00: printed.within_de00(0.95),
            worst_de00: printed.worst(1).first().map_or(0.0, |miss| miss.de00),
            volume_mm3: self.woven.volume_mm3,
            purged_mm3: self.purged_mm3,
            purges: arranged.map_or(0, |a| a.purges.iter().map(|p| p.count as usize).sum()),
            hidden_mm3: arranged.map_or(0.0, |a| a.hidden_mm3),
        }
    }
}

/// The dialect of figures: which one makes no difference to them.
///
/// # Errors
/// [`WeaveError`] if it is not built in.
pub fn any_dialect() -> Result<Dialect, WeaveError> {
    Dialect::built_in("slots").ok_or(WeaveError::Changed)
}

/// Regions that do not come out, the largest first.
fn lost(verified: &Verified, line_mm: f64) -> Vec<Lost> {
    let area_mm2 = |region: &RegionLaid| region.volume_mm3 / line_mm;
    let far = verified.regions.iter().filter(|r| r.mean_de00 > LOST_DE00);
    let mut found: Vec<Lost> = far
        .map(|region| Lost {
            name: region.name.clone(),
            area_mm2: area_mm2(region),
            mean_de00: region.mean_de00,
        })
        .collect();
    found.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    found
}
