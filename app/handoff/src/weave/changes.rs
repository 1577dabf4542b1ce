//! When to change the blend, so that the nozzle lays it where the toolpath asks for it.

use super::emit::Change;
use super::survey::Survey;

/// The changes that a survey asks for, each `lead_mm3` of plastic ahead of where its blend is
/// asked for, since that much older plastic leaves the nozzle first.
///
/// Where plastic that is never seen comes before a change, as much more of the change as fits
/// into it happens there: up to `settle_mm3`, after which the blend is clean.
pub(super) fn changes(survey: &Survey, lead_mm3: f64, settle_mm3: f64) -> Vec<Change> {
    let mut found: Vec<Change> = Vec::new();
    let mut current: Option<u32> = None;
    let mut laid_mm3 = 0.0;
    let mut free_mm3 = 0.0;
    for demand in &survey.demands {
        match demand.blend {
            None => free_mm3 += demand.volume_mm3,
            Some(blend) => {
                if current != Some(blend)
                    && let Some(shares) = survey.blends.get(blend as usize)
                {
                    let ahead_mm3 = lead_mm3 + free_mm3.min(settle_mm3);
                    let earliest_mm3 = found.last().map_or(0.0, |c| c.at_mm3);
                    let at_mm3 = match found.is_empty() {
                        true => 0.0,
                        false => (laid_mm3 - ahead_mm3).max(earliest_mm3),
                    };
                    found.push(Change {
                        at_mm3,
                        shares: *shares,
                    });
                    current = Some(blend);
                }
                free_mm3 = 0.0;
            }
        }
        laid_mm3 += demand.volume_mm3;
    }
    found
}
