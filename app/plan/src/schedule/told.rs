//! Warnings as a person reads them: of many that are alike, the first few and how many more.

use super::{Concern, Warning};

/// So many warnings of one kind are told in full. One more is told as well rather than counted.
const IN_FULL: usize = 3;

/// Warnings in sentences, in their order. Where many regions have the same fault, as thousands of
/// thin bands have, the first three are told in full, and then how many more there are and where.
///
/// The warnings themselves stay complete, for programs.
pub fn told<'a>(warnings: impl IntoIterator<Item = &'a Warning>) -> Vec<String> {
    let mut kinds: Vec<(Concern, Vec<&Warning>)> = Vec::new();
    for warning in warnings {
        match kinds.iter_mut().find(|(about, _)| *about == warning.about) {
            Some((_, alike)) => alike.push(warning),
            None => kinds.push((warning.about, vec![warning])),
        }
    }
    let mut lines = Vec::new();
    for (about, alike) in kinds {
        let full = match alike.len() > IN_FULL + 1 {
            true => IN_FULL,
            false => alike.len(),
        };
        let (full, more) = alike.split_at(full);
        lines.extend(full.iter().map(|warning| warning.text.clone()));
        lines.extend(counted(about, more));
    }
    lines
}

/// How many more warnings of a kind there are, and in which layers; none if there are none.
fn counted(about: Concern, more: &[&Warning]) -> Option<String> {
    let first = more.iter().map(|w| w.first_layer).min()?;
    let last = more.iter().map(|w| w.last_layer).max()?;
    let layers = match first == last {
        true => format!("layer {}", first + 1),
        false => format!("layers {} to {}", first + 1, last + 1),
    };
    Some(format!(
        "And {} more regions, {layers}: {}.",
        more.len(),
        of_many(about)
    ))
}

/// What is wrong with several regions.
fn of_many(about: Concern) -> &'static str {
    match about {
        Concern::OpenMesh => "the mesh is open or has flipped facets there",
        Concern::NoLayer => "they cover no skin, or no layer is printed in their blend",
        Concern::TooSmall => "they are smaller than a dot of the nozzle's width in places",
        Concern::TooNarrow => "they are narrower than the nozzle in places",
        Concern::Limits => "the machine can't feed their blends as requested",
        Concern::WallUnknown => "light shines through their spools, and the plan has no wall",
        Concern::LayerHeight => "layers are thinner or thicker than the machine prints well",
        Concern::CoarseFade => "their fades change by more than step_de00 between layers",
        Concern::FineDetails => "their pictures or letters have details finer than what is printed",
        Concern::Smeared => "they do not come out as requested",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn warning(about: Concern, region: usize) -> Warning {
        Warning {
            about,
            region: Some(region),
            first_layer: region,
            last_layer: region + 1,
            text: format!("Region {region}: {about:?}."),
        }
    }

    #[test]
    fn many_alike_are_counted_after_the_first_three() {
        let bands = (0..4000).map(|region| warning(Concern::Smeared, region));
        let other = [warning(Concern::TooSmall, 9)];
        let all: Vec<Warning> = bands.chain(other).collect();
        assert_eq!(
            told(&all),
            [
                "Region 0: Smeared.",
                "Region 1: Smeared.",
                "Region 2: Smeared.",
                "And 3997 more regions, layers 4 to 4001: they do not come out as requested.",
                "Region 9: TooSmall.",
            ]
        );
    }

    proptest! {
        /// Every warning is told or counted, and no kind takes more than four lines.
        #[test]
        fn none_is_lost(kinds in prop::collection::vec(0..3usize, 0..40)) {
            let abouts = [Concern::NoLayer, Concern::Limits, Concern::Smeared];
            let all: Vec<Warning> = kinds.iter().enumerate().map(|(i, k)| warning(abouts[*k], i)).collect();
            let lines = told(&all);
            let counted = |line: &String| match line.strip_prefix("And ") {
                Some(rest) => rest.split(' ').next().and_then(|n| n.parse().ok()).unwrap_or(0),
                None => 1usize,
            };
            prop_assert_eq!(lines.iter().map(counted).sum::<usize>(), all.len());
            prop_assert!(lines.len() <= 3 * (IN_FULL + 1));
        }
    }
}
