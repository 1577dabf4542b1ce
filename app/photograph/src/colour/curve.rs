//! Curves from a channel's codes to its light.

use moxcms::{ColorProfile, DataColorSpace, ToneReprCurve};

pub(super) type Curve = Box<dyn Fn(f64) -> f64>;

/// What to do about codes that are something else.
pub(super) const TO_DO: &str =
    "export the photograph as sRGB (and change nothing else), or set the camera to sRGB";

pub(super) fn three(curve: impl Fn() -> Result<Curve, String>) -> Result<[Curve; 3], String> {
    Ok([curve()?, curve()?, curve()?])
}

pub(super) fn srgb() -> Curve {
    Box::new(blend::Srgb::linear)
}

pub(super) fn of_gamma(gamma: Option<f64>) -> Result<Curve, String> {
    match gamma {
        Some(gamma) if !(0.1..=2.0).contains(&gamma) => {
            Err(format!("has a gamma that no camera writes; {TO_DO}"))
        }
        // An exponent that stands for sRGB, by the PNG specification.
        Some(gamma) if (gamma - 1.0 / 2.2).abs() > 0.0005 => {
            Ok(Box::new(move |code: f64| code.powf(1.0 / gamma)))
        }
        _ => Ok(srgb()),
    }
}

/// The curve of a profile for grey: to luminance, or to lightness where it connects by CIELAB.
pub(super) fn of_grey(profile: &ColorProfile) -> Result<Curve, String> {
    if profile.color_space != DataColorSpace::Gray {
        return Err(format!(
            "is greyscale with a colour profile that is not for grey; {TO_DO}"
        ));
    }
    let curve = profile.gray_trc.as_ref().and_then(followed);
    let curve =
        curve.ok_or_else(|| format!("has a colour profile for grey without a curve; {TO_DO}"))?;
    match profile.pcs {
        DataColorSpace::Lab => Ok(Box::new(move |code| {
            let l = 100.0 * curve(code);
            blend::Lab { l, a: 0.0, b: 0.0 }.to_xyz().y
        })),
        _ => Ok(curve),
    }
}

pub(super) fn followed(curve: &ToneReprCurve) -> Option<Curve> {
    let evaluator = curve.make_linear_evaluator().ok()?;
    Some(Box::new(move |code| {
        f64::from(evaluator.evaluate_value(code as f32))
    }))
}
