//! Details of pictures and letters that are finer than what is printed.

use crate::Painted;

/// So much of a picture may be lost in details without a word.
const WITHOUT_A_WORD: f64 = 0.05;

/// What to say of a region whose pictures or letters have details finer than the width of a line
/// or the height of a layer: the plastic there is laid in one piece.
pub(super) fn fine_details(painted: &Painted, region: usize) -> Option<String> {
    let plan = painted.plan();
    let planned = plan.regions.get(region).filter(|r| !r.hidden)?;
    let line_mm = plan.filling.line_width_mm;
    let finest_mm = line_mm.max(plan.layers.layer_mm);
    let share = painted.coverage_of(region).share_finer_than(finest_mm);
    let what = match finest_mm > line_mm {
        true => "the height of a layer",
        false => "the width of a line",
    };
    (share > WITHOUT_A_WORD).then(|| {
        format!(
            "Region '{}': {:.0} % of its picture or letters is finer than {finest_mm} mm, {what}, \
             and will be lost. Make it larger, or its strokes thicker.",
            planned.name,
            100.0 * share
        )
    })
}
