//! The regions of a plan that gives a model its colours.

use geometry::Mask;
use geometry::mask::{LoadedLabels, ModelColour, SideFile};
use plan::{Paint, Region};

use crate::Choice;
use crate::choice::codes;

/// The file of a coloured model, as a plan names it.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelFile {
    /// The file, relative to the plan's folder.
    pub file: String,
    /// The SHA-256 of its bytes.
    pub sha256: String,
    /// The files beside it that its colours are in.
    pub with: Vec<SideFile>,
}

impl Choice {
    /// The regions for so many blends: the one for the most area covers everything, and each of
    /// the others is where the model's colour is nearest to its own. None if there is no such
    /// palette.
    pub fn regions(&self, blends: usize, model: &ModelFile) -> Option<Vec<Region>> {
        let palette = self.palette(blends)?;
        let (with, without) = self.area_mm2;
        let all: Vec<_> = codes(palette).collect();
        let among: Vec<String> = all.iter().map(|(code, _)| code.to_string()).collect();
        let mut regions: Vec<Region> = Vec::with_capacity(all.len());
        let each = palette
            .blends
            .iter()
            .zip(&palette.weights)
            .zip(all.iter().zip(&among));
        for ((blend, weight), ((_, lab), code)) in each {
            let base = regions.is_empty();
            let share = if base { weight + without } else { *weight };
            let share = share / f64::max(with + without, f64::MIN_POSITIVE);
            let name = capital(&with_share(&lab.name(), share));
            let mask = match base {
                true => Mask::Whole,
                false => Mask::Colour(Box::new(ModelColour {
                    file: model.file.clone(),
                    sha256: Some(model.sha256.clone()),
                    with: model.with.clone(),
                    colour: code.clone(),
                    among: among.clone(),
                    by: self.by,
                    finest_mm: (self.finest.width_mm, self.finest.height_mm),
                    content: LoadedLabels::default(),
                })),
            };
            let name = apart(name, |name| regions.iter().any(|other| other.name == name));
            regions.push(Region::new(name, mask, Paint::Fixed(blend.shares)));
        }
        Some(regions)
    }
}

/// A colour's name with its share of the area.
pub(crate) fn with_share(name: &str, share: f64) -> String {
    let percent = 100.0 * share;
    let percent = match percent {
        p if p >= 9.95 => format!("{p:.0}"),
        p if p >= 0.095 => format!("{p:.1}"),
        _ => "less than 0.1".to_owned(),
    };
    format!("{name}, {percent} %")
}

/// A name with a capital first letter.
pub(crate) fn capital(name: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A name that is not taken: the given one, or the same with a number.
pub(crate) fn apart(name: String, taken: impl Fn(&str) -> bool) -> String {
    if !taken(&name) {
        return name;
    }
    let numbered = (2..).map(|number| format!("{name} ({number})"));
    numbered
        .into_iter()
        .find(|name| !taken(name))
        .unwrap_or(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_say_how_much_there_is() {
        let named = |name, share| capital(&with_share(name, share));
        assert_eq!(named("pale blue", 0.3812), "Pale blue, 38 %");
        assert_eq!(named("red", 0.0312), "Red, 3.1 %");
        assert_eq!(named("red", 1e-5), "Red, less than 0.1 %");
    }
}
