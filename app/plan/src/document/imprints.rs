//! The pictures and letters of a plan, and the files that it names for them.

use std::collections::HashMap;
use std::sync::Arc;

use geometry::Field;
use geometry::imprint::{Letters, Raster};
use geometry::mask::Imprint;
use picture::{LineError, own_font, set_line};

use super::{Paint, Plan};
use crate::ron_text::{Path, Problem};

/// The most pixels that all letters of a plan, or all its pictures, may have: each use of one
/// counts, and four bytes are kept for each.
const MOST_PIXELS: usize = 128 << 20;

/// Sets a line of text in a font, from the bytes of its file.
///
/// # Errors
/// [`LineError`].
pub fn line_of(text: &str, font: &[u8]) -> Result<Raster, LineError> {
    let line = set_line(text, font)?;
    let raster = Raster::new(line.size, line.greys, None).map_err(|_| LineError::TooLarge)?;
    Ok(raster.sized_by(line.capital_px))
}

impl Plan {
    /// Calls `each` with every picture and line of text of the plan's masks and fades, to be
    /// changed: their files are read by whoever opens the plan.
    pub fn each_imprint(&mut self, each: &mut impl FnMut(Imprint<'_>)) {
        for region in &mut self.regions {
            region.mask.each_imprint(each);
            if let Paint::Fade {
                along: Field::Picture(picture),
                ..
            } = &mut region.paint
            {
                each(Imprint::Picture(picture));
            }
        }
    }

    /// Sets the lines of text that need no font file, and tells what can't be set.
    pub(super) fn set_own_letters(&mut self) -> Vec<Problem> {
        let mut lines: HashMap<String, Result<Arc<Raster>, LineError>> = HashMap::new();
        let mut found = Vec::new();
        let mut pixels = 0;
        for (i, region) in self.regions.iter_mut().enumerate() {
            let name = region.name.clone();
            let mut tell = |what: String| {
                let path = Path::field("regions").at(i).then("mask");
                found.push(Problem::new(path, format!("region '{name}': {what}")));
            };
            region.mask.each_imprint(&mut |imprint| {
                let Imprint::Letters(letters) = imprint else {
                    return;
                };
                if letters.font.is_some() || pixels > MOST_PIXELS {
                    return;
                }
                let line = lines
                    .entry(letters.text.clone())
                    .or_insert_with(|| line_of(&letters.text, own_font()).map(Arc::new));
                match line {
                    Ok(line) => {
                        pixels += line.width() * line.height();
                        letters.content = Arc::clone(line).into();
                    }
                    Err(why) => tell(format!("the font that comes with the program {why}")),
                }
                if pixels > MOST_PIXELS {
                    tell("there are too many letters on the part; remove some".to_owned());
                }
            });
        }
        found
    }

    /// What is wrong where pictures and letters have more pixels together than there is room
    /// for.
    pub fn too_many_pixels(&self) -> Option<String> {
        let mut pixels = 0usize;
        self.clone().each_imprint(&mut |imprint| {
            let content = match imprint {
                Imprint::Picture(picture) => &picture.content,
                Imprint::Letters(Letters { content, .. }) => content,
                Imprint::Colour(_) => return,
            };
            let count = |raster: &Arc<Raster>| raster.width() * raster.height();
            pixels = pixels.saturating_add(content.raster().map_or(0, count));
        });
        (pixels > MOST_PIXELS).then(|| {
            format!(
                "its pictures and letters have {} million pixels, each use counted, and {} \
                 million at most are laid on a part; make the pictures smaller",
                pixels >> 20,
                MOST_PIXELS >> 20
            )
        })
    }

    /// The names of the pictures, fonts and coloured models, and of the files beside these, each
    /// once, in the order of the regions.
    pub fn imprint_files(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        let mut add = |name: &str| {
            if !names.iter().any(|known| known == name) {
                names.push(name.to_owned());
            }
        };
        self.clone().each_imprint(&mut |imprint| match imprint {
            Imprint::Picture(picture) => add(&picture.file),
            Imprint::Letters(letters) => letters.font.iter().for_each(|font| add(font)),
            Imprint::Colour(colour) => {
                add(&colour.file);
                let folder = colour.file.rfind(['/', '\\']).map_or(0, |at| at + 1);
                for side in &colour.with {
                    let folder = colour.file.get(..folder).unwrap_or_default();
                    add(&format!("{folder}{}", side.file));
                }
            }
        });
        names
    }
}
