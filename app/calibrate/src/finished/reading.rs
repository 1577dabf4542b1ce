//! Photographs of one finished part, read and joined.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use geometry::Progress;
use photograph::light::Reference;
use photograph::overlay::drawn;
use plan::Plan;
use project::record::{Photograph, Taken};

use super::colours::Expected;
use super::fault::FinishedError;
use super::part::{Asked, InPhoto};
use super::posed::Rest;
use super::tables::{Joined, by_height, by_region, joined, steady};
use crate::photo_file::PhotoFile;
use crate::print_record::taken;

/// Heights that can be read together, mm.
pub const EVERY_MM: RangeInclusive<f64> = 0.2..=20.0;

/// What is read together unless someone says otherwise, mm.
pub const USUAL_EVERY_MM: f64 = 1.0;

/// A photograph to read.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// Its file.
    pub file: PathBuf,
    /// About how the part is turned in it, as [`Asked::turn_deg`].
    pub turn_deg: Option<f64>,
}

/// Photographs to read, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// The photographs.
    pub shots: Vec<Shot>,
    /// The references on the card.
    pub references: Vec<Reference>,
    /// What the part rests on in all of them.
    pub rest: Rest,
    /// Height that is read together, mm: within [`EVERY_MM`].
    pub every_mm: f64,
}

/// A photograph that was read.
pub struct Shown {
    /// Its file's name, without its folder.
    pub name: String,
    /// SHA-256 of its file, in hexadecimal.
    pub sha256: String,
    /// What it shows.
    pub part: InPhoto,
    /// Itself with what was found drawn on it, smaller if it is large: pixels across and down, and
    /// red, green, blue and opacity of each.
    pub overlay: (usize, usize, Vec<u8>),
    /// Its own pixels, across and down.
    pub size_px: (usize, usize),
}

/// What photographs show of a finished part.
pub struct Reading {
    /// How they were read.
    pub order: Order,
    /// The photographs, in their order.
    pub shown: Vec<Shown>,
    /// What they show together, by region and height.
    pub all: Vec<Joined>,
}

impl Reading {
    /// Reads photographs.
    ///
    /// # Errors
    /// [`FinishedError`]; what is refused begins with the name of the photograph's file.
    pub fn of(
        order: Order,
        expected: &Expected<'_>,
        progress: &Progress,
    ) -> Result<Self, FinishedError> {
        let mut shown = Vec::with_capacity(order.shots.len());
        for shot in &order.shots {
            progress.check()?;
            progress.stage("Reading the photograph");
            shown.push(Shown::of(shot, &order, expected, progress)?);
        }
        let spots: Vec<_> = shown.iter().map(|shown| shown.part.spots.clone()).collect();
        let all = joined(&spots, order.references.len());
        Ok(Self { order, shown, all })
    }

    /// The tables of it by their names in a print's record: by height, and by region.
    pub fn tables(&self, plan: &Plan) -> [(&'static str, String); 2] {
        [
            ("colours.csv", by_height(&self.all)),
            ("regions.csv", by_region(&self.all, plan)),
        ]
    }

    /// How many heights of regions the table by height has.
    pub fn steady_heights(&self) -> usize {
        steady(&self.all).len()
    }

    /// As the record of a print keeps it.
    pub fn taken(&self, plan: &Plan) -> Taken {
        let photographs = self.shown.iter().map(|shown| Photograph {
            name: shown.name.clone(),
            sha256: shown.sha256.clone(),
        });
        let (photographs, order) = (photographs.collect(), &self.order);
        taken(
            &self.all,
            plan,
            photographs,
            &order.references,
            order.every_mm,
        )
    }
}

impl Shown {
    fn of(
        shot: &Shot,
        order: &Order,
        expected: &Expected<'_>,
        progress: &Progress,
    ) -> Result<Self, FinishedError> {
        let PhotoFile {
            name,
            sha256,
            photo,
        } = PhotoFile::read(&shot.file).map_err(FinishedError::Refused)?;
        let asked = Asked {
            references: order.references.clone(),
            rest: order.rest,
            turn_deg: shot.turn_deg,
            every_mm: order.every_mm,
        };
        let part = InPhoto::read(&photo, expected, &asked, progress);
        let part = part.map_err(|error| error.in_file(&shot.file))?;
        Ok(Self {
            name,
            sha256,
            overlay: drawn(&photo, &part.lines),
            size_px: (photo.width(), photo.height()),
            part,
        })
    }
}
