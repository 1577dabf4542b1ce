//! How many blends for a picture's colours, and which; and their regions.

use blend::reach::Palette;
use geometry::imprint::{Covers, Loaded, OneColour, Picture};
use geometry::mask::Nearness;
use geometry::{Mask, Progress};
use plan::{Paint, Plan, Region};
use serde::Serialize;

use crate::choice::{codes, palettes_for, recommended};
use crate::regions::{apart, capital, with_share};
use crate::{ChoiceError, Counted};

/// The most characters of a picture's name in that of a region.
const LONGEST_NAME: usize = 60;

/// What so many blends give.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FlatRow {
    /// How many blends.
    pub blends: usize,
    /// The mean difference of the picture's colours from the blends, ΔE00, by area, each from the
    /// blend that is nearest to it.
    pub mean_de00: f64,
}

/// Blends for the colours of a picture, for one blend and for each number of them up to some.
#[derive(Clone, Debug, PartialEq)]
pub struct FlatChoice {
    /// A row for each number of blends, rising from one.
    pub rows: Vec<FlatRow>,
    /// The number of blends to take, as for a model.
    pub recommended: usize,
    palettes: Vec<Palette>,
    by: Nearness,
    coloured_mm2: f64,
}

/// Chooses blends that a plan's machine can feed from its spools, for the colours of a picture and
/// for up to `most` of them.
///
/// # Errors
/// [`ChoiceError::Clear`], or because it was cancelled.
pub fn choose_flat(
    counted: &Counted,
    plan: &Plan,
    by: Nearness,
    most: usize,
    progress: &Progress,
) -> Result<FlatChoice, ChoiceError> {
    let palettes = palettes_for(counted, plan, plan.model().as_ref(), by, most, progress);
    progress.check()?;
    if palettes.is_empty() {
        return Err(ChoiceError::Clear);
    }
    let row = |palette: &Palette| FlatRow {
        blends: palette.blends.len(),
        mean_de00: palette.mean_de00,
    };
    Ok(FlatChoice {
        rows: palettes.iter().map(row).collect(),
        recommended: recommended(&palettes),
        palettes,
        by,
        coloured_mm2: counted.coloured_mm2(),
    })
}

impl FlatChoice {
    /// What so many blends give.
    pub fn row(&self, blends: usize) -> Option<&FlatRow> {
        self.rows.iter().find(|row| row.blends == blends)
    }

    /// The most blends that are of any use.
    pub fn most(&self) -> usize {
        self.rows.last().map_or(0, |row| row.blends)
    }

    /// The regions for so many blends, that of the most area first: each is where the colour of a
    /// picture, laid so, is nearest to its blend. Their names begin with that of the picture, and
    /// differ from those of other regions. None if there is no such palette.
    pub fn regions(
        &self,
        blends: usize,
        picture: &Picture,
        name: &str,
        others: &[Region],
    ) -> Option<Vec<Region>> {
        let palette = self.palettes.iter().find(|p| p.blends.len() == blends)?;
        let all: Vec<_> = codes(palette).collect();
        let among: Vec<String> = all.iter().map(|(code, _)| code.to_string()).collect();
        let name = capital(&name.chars().take(LONGEST_NAME).collect::<String>());
        let mut regions: Vec<Region> = Vec::with_capacity(all.len());
        let each = palette.blends.iter().zip(&palette.weights);
        for ((blend, weight), ((_, lab), code)) in each.zip(all.iter().zip(&among)) {
            let share = weight / f64::max(self.coloured_mm2, f64::MIN_POSITIVE);
            let mask = Mask::Picture(Box::new(Picture {
                covers: Covers::Colour(OneColour {
                    colour: code.clone(),
                    among: among.clone(),
                    by: self.by,
                }),
                threshold: 0.5,
                content: Loaded::default(),
                ..picture.clone()
            }));
            let own = format!("{name}: {}", with_share(&lab.name(), share));
            let own = apart(own, |name| {
                others
                    .iter()
                    .chain(&regions)
                    .any(|other| other.name == name)
            });
            regions.push(Region::new(own, mask, Paint::Fixed(blend.shares)));
        }
        Some(regions)
    }
}
