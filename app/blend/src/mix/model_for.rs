//! Which model a set of spools gets.

use std::sync::Arc;

use super::{KubelkaMunk, MixModel, Plastic};
use crate::calibrate::{Calibrated, MeasuredSpools};
use crate::spectrum::RECONSTRUCTION_METHOD;
use crate::{Spool, SpoolColour};

/// The model to plan with.
///
/// With a calibration that knows the spools by name, its fitted strengths, surface and
/// uncertainty; a spool that it does not know is taken by its own colour at strength 1, and
/// the model's name says so. Without one, [`KubelkaMunk`] from the spools' own colours, and
/// the name says how much is known of each.
pub fn model_for(spools: &[Spool], calibration: Option<&MeasuredSpools>) -> Arc<dyn MixModel> {
    match calibration.and_then(|c| Calibrated::new(spools, c)) {
        Some(model) => Arc::new(model),
        None => {
            let name = format!("Kubelka–Munk, unmeasured: {}", known_by(spools));
            Arc::new(KubelkaMunk::new(spools).named(name))
        }
    }
}

/// What the spools' colours are known by, in words.
pub(crate) fn known_by(spools: &[Spool]) -> String {
    let count = |wanted: fn(&Spool) -> bool| spools.iter().filter(|s| wanted(s)).count();
    let backed = count(|s| s.translucent.is_some());
    let spectral =
        count(|s| s.translucent.is_none() && matches!(s.colour, SpoolColour::Spectrum(_)));
    let single = spools.len() - backed - spectral;
    let mut parts = Vec::new();
    if single > 0 {
        let who = if single == spools.len() {
            "each spool".to_owned()
        } else {
            plural(single)
        };
        parts.push(format!(
            "{who} estimated from one colour, {RECONSTRUCTION_METHOD}"
        ));
    }
    if spectral > 0 {
        parts.push(format!("{} from a measured spectrum", plural(spectral)));
    }
    if backed > 0 {
        parts.push(format!(
            "{} from readings over black and white",
            plural(backed)
        ));
    }
    let hides = |s: &&Spool| matches!(Plastic::of_spool(s), Plastic::OverBackings(p) if p.hides());
    let hidden: Vec<&str> = spools
        .iter()
        .filter(hides)
        .map(|s| s.name.as_str())
        .collect();
    if !hidden.is_empty() {
        parts.push(format!(
            "the piece of {} hides its backing, so how strongly it tints is a guess: read a \
             thinner one",
            hidden.join(", ")
        ));
    }
    parts.join("; ")
}

fn plural(spools: usize) -> String {
    if spools == 1 {
        "1 spool".to_owned()
    } else {
        format!("{spools} spools")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_says_what_is_known() {
        let hex = Spool::new("a", SpoolColour::Hex(crate::Srgb([200, 40, 30])));
        let pairs = (38..=73).map(|i| (f64::from(i) * 10.0, 0.4)).collect();
        let readings = crate::spectrum::Readings::new(pairs).expect("readings");
        let spectral = Spool::new("b", SpoolColour::Spectrum(readings));
        let name = model_for(&[hex.clone(), hex.clone()], None).name();
        assert!(
            name.contains("unmeasured: each spool estimated from one colour"),
            "{name}"
        );
        let name = model_for(&[hex, spectral], None).name();
        assert!(name.contains("1 spool estimated from one colour"), "{name}");
        assert!(name.contains("1 spool from a measured spectrum"), "{name}");
    }
}
