//! Which model a set of spools gets.

use std::sync::Arc;

use super::{KubelkaMunk, MixModel, known_by};
use crate::Spool;
use crate::calibrate::{Calibrated, MeasuredSpools};

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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SpoolColour;

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
