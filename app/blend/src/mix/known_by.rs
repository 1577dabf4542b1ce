//! What spools' colours are known by, in words.

use super::Plastic;
use crate::spectrum::RECONSTRUCTION_METHOD;
use crate::{Spool, SpoolColour};

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
            "the sample of {} hides its backing, so its tinting strength is a guess: read a \
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
