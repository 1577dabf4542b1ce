//! The table of colours that the stage draws with.

use blend::{MixModel, Ramp, Shares, Srgb, Xyz};

use crate::model::skin::{RAMP_TEXELS, RampRow};

/// A region's row, from its ramp.
pub fn of_ramp(ramp: &Ramp, model: &dyn MixModel) -> RampRow {
    let Some((low, high)) = ramp.extent_mm() else {
        return RampRow::plain([0.5; 3]);
    };
    let last = (RAMP_TEXELS - 1) as f64;
    let colour = |i: usize| {
        let at = low + (high - low) * i as f64 / last;
        linear(&ramp.at(at), model)
    };
    RampRow {
        ends_mm: (low, high),
        colours: (0..RAMP_TEXELS).map(colour).collect(),
        printed: None,
    }
}

/// A blend's colour in linear-light sRGB, as far as the display shows it.
pub fn linear(shares: &Shares, model: &dyn MixModel) -> [f32; 3] {
    model
        .mix(shares)
        .to_linear_srgb()
        .map(|c| c.clamp(0.0, 1.0) as f32)
}

/// The colour that stands for a difference, in linear light: from grey over yellow to a deep
/// violet, lighter to darker all the way, so that it reads without hues too.
pub fn difference_colour(de00: f64) -> [f32; 3] {
    const SCALE: [(f64, [f32; 3]); 4] = [
        (0.0, [0.80, 0.80, 0.80]),
        (2.0, [0.75, 0.55, 0.12]),
        (5.0, [0.50, 0.12, 0.10]),
        (10.0, [0.06, 0.01, 0.12]),
    ];
    let at = de00.clamp(0.0, 10.0);
    let upper = SCALE.iter().position(|s| at <= s.0).unwrap_or(3).max(1);
    let (low, high) = (SCALE[upper - 1], SCALE[upper]);
    let t = ((at - low.0) / (high.0 - low.0)) as f32;
    std::array::from_fn(|i| low.1[i] * (1.0 - t) + high.1[i] * t)
}

/// Linear light as sRGB has it.
pub fn encoded(linear: [f32; 3]) -> Srgb {
    Xyz::from_linear_srgb(linear.map(f64::from)).to_srgb()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn greater_differences_are_darker() {
        let light = |d: f64| {
            let [r, g, b] = difference_colour(d);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        for step in 0..100 {
            let d = f64::from(step) * 0.1;
            assert!(light(d + 0.1) < light(d), "{d}");
        }
        assert_eq!(difference_colour(50.0), difference_colour(10.0));
    }
}
