//! The layer plan: which heights the nozzle stops at.

use serde::{Deserialize, Serialize};

/// The most layers a plan may make: 100,000 layers of 0.01 mm are a metre.
pub const MOST_LAYERS: usize = 100_000;

/// Heights closer than this are the same height, mm: far below what a printer can move,
/// far above what rounding does to a sum of layer heights.
const SAME_HEIGHT_MM: f64 = 1e-6;

/// How the part is cut into layers. All heights in mm above the build plate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayerPlan {
    /// Height of the first layer.
    pub first_layer_mm: f64,
    /// Height of the layers above it.
    pub layer_mm: f64,
    /// Changes of layer height further up, in rising order; empty for a plain plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<LayerChange>,
}

/// From a height upwards, layers of another height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayerChange {
    /// The first layer whose bottom is at or above this height gets the new layer height.
    pub above_mm: f64,
    /// The new layer height.
    pub layer_mm: f64,
}

/// One layer's extent in height, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LayerSpan {
    /// Where the layer begins.
    pub bottom_mm: f64,
    /// Where it ends: the nozzle's height while printing it.
    pub top_mm: f64,
}

impl LayerSpan {
    /// Layer height, mm.
    pub fn height_mm(&self) -> f64 {
        self.top_mm - self.bottom_mm
    }

    /// The middle height, at which the layer's contours are taken.
    pub fn middle_mm(&self) -> f64 {
        0.5 * (self.bottom_mm + self.top_mm)
    }
}

/// Why a layer plan cannot cut a part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LayerPlanError {
    /// A height that must be positive and finite is not.
    #[error("{what} is {value_mm} mm; it must be more than 0 mm")]
    NotPositive {
        /// Which height, in words.
        what: String,
        /// What it is.
        value_mm: f64,
    },
    /// The changes of layer height do not rise.
    #[error(
        "the changes of layer height must rise: {above_mm} mm comes after {before_mm} mm; \
         put them in order of height, each once"
    )]
    NotRising {
        /// The height of the earlier change.
        before_mm: f64,
        /// The height of the later change, which is not above it.
        above_mm: f64,
    },
    /// More than [`MOST_LAYERS`].
    #[error(
        "a part {height_mm} mm high would need more than {MOST_LAYERS} layers; make the \
         layers thicker, or check the mesh's unit"
    )]
    TooMany {
        /// Height of the part.
        height_mm: f64,
    },
}

impl LayerPlan {
    /// Layers of one height, except for the first.
    pub fn plain(first_layer_mm: f64, layer_mm: f64) -> Self {
        Self {
            first_layer_mm,
            layer_mm,
            changes: Vec::new(),
        }
    }

    /// Looks for heights that make no sense.
    ///
    /// # Errors
    /// [`LayerPlanError`], never its `TooMany`, which takes a part's height to know.
    pub fn check(&self) -> Result<(), LayerPlanError> {
        positive("the first layer's height", self.first_layer_mm)?;
        positive("the layer height", self.layer_mm)?;
        let mut before_mm = 0.0;
        for change in &self.changes {
            let above_mm = change.above_mm;
            positive("the height of a change of layer height", above_mm)?;
            let what = format!("the layer height above {above_mm} mm");
            positive(&what, change.layer_mm)?;
            if above_mm <= before_mm {
                return Err(LayerPlanError::NotRising {
                    before_mm,
                    above_mm,
                });
            }
            before_mm = above_mm;
        }
        Ok(())
    }

    /// The layers of a part that stands on the plate and is `height_mm` high, from the
    /// plate up, without gaps: they always end exactly at the part's top.
    ///
    /// A rest at the top of at least half a layer becomes a layer of its own, cut short; a
    /// smaller rest is taken into the layer beneath. So there are as many layers as have
    /// some of the part at their middle height, and none is thinner than half its plan
    /// (except where the part is thinner than half its first layer).
    ///
    /// ```
    /// # fn main() -> Result<(), geometry::layers::LayerPlanError> {
    /// let plan = geometry::LayerPlan::plain(0.3, 0.2);
    /// let tops: Vec<f64> = plan.spans(0.8)?.iter().map(|s| s.top_mm).collect();
    /// assert_eq!(tops, [0.3, 0.5, 0.7, 0.8]);
    /// assert_eq!(plan.spans(0.77)?.len(), 3);
    /// # Ok(())
    /// # }
    /// ```
    ///
    /// # Errors
    /// [`LayerPlanError`] when a height is not positive and finite, the changes do not
    /// rise, or there would be more than [`MOST_LAYERS`].
    pub fn spans(&self, height_mm: f64) -> Result<Vec<LayerSpan>, LayerPlanError> {
        self.check()?;
        positive("the part's height", height_mm)?;
        let mut spans = Vec::new();
        let mut bottom_mm = 0.0;
        // Tops are counted from where the present layer height began, so that thousands
        // of additions do not drift.
        let mut layer_mm = self.first_layer_mm;
        let (mut base_mm, mut count) = (0.0, 0.0);
        loop {
            count += 1.0;
            let top_mm = as_written(base_mm + count * layer_mm);
            let next_mm = self.layer_above(top_mm);
            let ends = height_mm - top_mm < 0.5 * next_mm - SAME_HEIGHT_MM.min(0.1 * next_mm);
            let top_mm = if ends { height_mm } else { top_mm };
            spans.push(LayerSpan { bottom_mm, top_mm });
            if ends {
                return Ok(spans);
            }
            if spans.len() >= MOST_LAYERS {
                return Err(LayerPlanError::TooMany { height_mm });
            }
            bottom_mm = top_mm;
            if next_mm != layer_mm {
                (layer_mm, base_mm, count) = (next_mm, top_mm, 0.0);
            }
        }
    }

    /// The height of a layer, other than the first, that begins at `bottom_mm`.
    fn layer_above(&self, bottom_mm: f64) -> f64 {
        let reached = |c: &&LayerChange| c.above_mm <= bottom_mm + SAME_HEIGHT_MM;
        let change = self.changes.iter().take_while(reached).last();
        change.map_or(self.layer_mm, |c| c.layer_mm)
    }
}

/// The number of few digits that a sum of such numbers stands for: 0.8, not
/// 0.7999999999999999.
fn as_written(mm: f64) -> f64 {
    let written = (mm * 1e9).round() / 1e9;
    match (written - mm).abs() <= 1e-12 * mm.abs() {
        true => written,
        false => mm,
    }
}

fn positive(what: &str, value_mm: f64) -> Result<(), LayerPlanError> {
    if value_mm > 0.0 && value_mm.is_finite() {
        return Ok(());
    }
    Err(LayerPlanError::NotPositive {
        what: what.to_owned(),
        value_mm,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_change_takes_effect_at_the_first_bottom_that_reaches_it() {
        let mut plan = LayerPlan::plain(0.2, 0.2);
        plan.changes = vec![
            LayerChange {
                above_mm: 0.5,
                layer_mm: 0.1,
            },
            LayerChange {
                above_mm: 0.8,
                layer_mm: 0.3,
            },
        ];
        let tops: Vec<f64> = plan.spans(1.4).unwrap().iter().map(|s| s.top_mm).collect();
        let expected = [0.2, 0.4, 0.6, 0.7, 0.8, 1.1, 1.4];
        assert_eq!(tops.len(), expected.len());
        for (top, expected) in tops.iter().zip(expected) {
            assert!((top - expected).abs() < 1e-12, "{top} is not {expected}");
        }
    }

    #[test]
    fn rounding_makes_no_thin_layer_at_the_top() {
        let plan = LayerPlan::plain(0.2, 0.2);
        assert_eq!(plan.spans(100.0).unwrap().len(), 500);
        assert_eq!(plan.spans(100.000_000_1).unwrap().len(), 500);
        assert_eq!(plan.spans(99.999_999_9).unwrap().len(), 500);
        assert_eq!(plan.spans(100.1).unwrap().len(), 501);
    }

    #[test]
    fn a_part_thinner_than_its_first_layer_is_one_layer() {
        let spans = LayerPlan::plain(0.3, 0.2).spans(0.01).unwrap();
        let only = LayerSpan {
            bottom_mm: 0.0,
            top_mm: 0.01,
        };
        assert_eq!(spans, [only]);
    }

    #[test]
    fn nonsense_is_refused_in_words() {
        let say = |plan: LayerPlan, height: f64| plan.spans(height).unwrap_err().to_string();
        let plain = LayerPlan::plain(0.2, 0.2);
        assert_eq!(
            say(LayerPlan::plain(-0.2, 0.2), 1.0),
            "the first layer's height is -0.2 mm; it must be more than 0 mm"
        );
        assert!(say(LayerPlan::plain(0.2, f64::NAN), 1.0).starts_with("the layer height is NaN"));
        assert!(say(plain.clone(), 0.0).starts_with("the part's height is 0 mm"));
        assert!(say(plain.clone(), f64::INFINITY).starts_with("the part's height"));
        assert!(say(LayerPlan::plain(1e-300, 1e-300), 1.0).contains("more than 100000 layers"));
        let change = LayerChange {
            above_mm: 1.0,
            layer_mm: 0.1,
        };
        let twice = LayerPlan {
            changes: vec![change, change],
            ..plain
        };
        assert!(say(twice, 5.0).contains("must rise"));
    }

    proptest! {
        #[test]
        fn layers_stack_without_gaps_up_to_the_top(
            first in 0.05..0.5f64,
            layer in 0.05..0.5f64,
            change in 0.1..20.0f64,
            other in 0.05..0.5f64,
            height in 0.5..40.0f64,
        ) {
            let changes = vec![LayerChange { above_mm: change, layer_mm: other }];
            let plan = LayerPlan { first_layer_mm: first, layer_mm: layer, changes };
            let spans = plan.spans(height).unwrap();
            prop_assert_eq!(spans[0].bottom_mm, 0.0);
            prop_assert_eq!(spans[spans.len() - 1].top_mm, height);
            for pair in spans.windows(2) {
                prop_assert_eq!(pair[0].top_mm, pair[1].bottom_mm);
            }
            let (thin, thick) = (first.min(layer).min(other), first.max(layer).max(other));
            for span in spans {
                prop_assert!(span.height_mm() > 0.4999 * thin);
                prop_assert!(span.height_mm() < 1.5001 * thick.max(2.0 * thin));
            }
        }
    }

    #[test]
    fn a_hundred_thousand_layers_and_no_more() {
        let plan = LayerPlan::plain(0.01, 0.01);
        assert_eq!(plan.spans(1000.0).unwrap().len(), MOST_LAYERS);
        let error = plan.spans(1000.01).unwrap_err().to_string();
        assert!(error.contains("1000.01 mm high"), "{error}");
        assert!(error.contains("more than 100000 layers"), "{error}");
    }
}
