//! The colours of a picture on the part: made into regions.

use geometry::Mask;
use geometry::imprint::{Covers, Picture};
use plan::Edit;

use super::Session;
use crate::jobs::flat_colours::{self, FlatColours, Order};
use crate::jobs::{Job, Outcome};
use crate::model::names::{PLAN_ENDING, folder_of};

impl Session {
    /// The selected region's picture, if its colours can be made into regions.
    fn picture_of_colours(&self) -> Option<&Picture> {
        let region = self.chosen_region().filter(|region| !region.locked)?;
        match &region.mask {
            Mask::Picture(picture) if !matches!(picture.covers, Covers::Colour(_)) => Some(picture),
            _ => None,
        }
    }

    /// Whether the colours of the selected region's picture can be made into regions now.
    pub(super) fn can_use_flat_colours(&self) -> bool {
        self.picture_of_colours().is_some() && !self.flat_colours.is_working()
    }

    /// Makes regions of the colours of the selected region's picture: so many, or as many as are
    /// worth it.
    pub(super) fn use_flat_colours(&mut self, blends: Option<usize>) {
        let (Some(doc), Some(region)) = (&self.doc, self.chosen_region()) else {
            return;
        };
        let Some(picture) = self.picture_of_colours() else {
            return;
        };
        // A plan that lies nowhere yet names its pictures in full.
        let folder = doc.origin.mesh_file.as_deref().map(folder_of);
        let unsaved = folder
            .unwrap_or_default()
            .join(format!("part{PLAN_ENDING}"));
        let order = Order {
            plan: doc.plan().clone(),
            plan_file: doc.origin.plan_file.clone().unwrap_or(unsaved),
            picture: picture.clone(),
            name: region.name.clone(),
            blends,
        };
        let job = Job::start("Regions of the picture's colours", &self.waker, move |p| {
            flat_colours::run(&order, p)
        });
        self.flat_colours.start(job);
    }

    pub(super) fn take_flat_colours(&mut self, outcome: Outcome<FlatColours>) {
        match outcome {
            Outcome::Done(found) => self.put_flat_colours(found),
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => {}
        }
    }

    /// Puts the regions in place of the picture's own, in one step of undo.
    fn put_flat_colours(&mut self, found: FlatColours) {
        let Some(doc) = &self.doc else { return };
        let asked = Mask::Picture(Box::new(found.picture));
        let mut regions = doc.plan().regions.iter();
        let place = regions.position(|region| region.mask == asked && !region.locked);
        let (Some(at), Some((first, others))) = (place, found.regions.split_first()) else {
            return self
                .notices
                .warning("The picture was changed meanwhile. Make regions of its colours again.");
        };
        let mut edits = vec![
            Edit::SetMask {
                region: at,
                to: first.mask.clone(),
            },
            Edit::SetPaint {
                region: at,
                to: first.paint.clone(),
            },
            Edit::RenameRegion {
                region: at,
                to: first.name.clone(),
            },
        ];
        edits.extend(
            others
                .iter()
                .enumerate()
                .map(|(i, region)| Edit::AddRegion {
                    at: at + 1 + i,
                    region: region.clone(),
                }),
        );
        if !self.edit(Edit::Together(edits)) {
            return;
        }
        self.choose_region(at);
        let count = found.regions.len();
        let regions = if count == 1 { "region" } else { "regions" };
        let mut said = format!("The picture's colours are {count} {regions} now");
        let rows = found.rows.iter().filter(|row| row.blends >= found.blends);
        for row in rows.take(2) {
            let (blends, mean) = (row.blends, row.mean_de00);
            said.push_str(&format!(". Mean ΔE00 of {blends}: {mean:.1}"));
        }
        self.notices.done(said);
    }

    /// Other regions of the same picture's colours, which go where it goes.
    pub(super) fn of_same_colours(&self, picture: &Picture) -> Vec<(usize, Picture)> {
        let (Some(doc), Covers::Colour(own)) = (&self.doc, &picture.covers) else {
            return Vec::new();
        };
        let same = |other: &Picture| match &other.covers {
            Covers::Colour(one) if one.among == own.among && one.colour != own.colour => {
                let covers = picture.covers.clone();
                *picture
                    == Picture {
                        covers,
                        ..other.clone()
                    }
            }
            _ => false,
        };
        let regions = doc.plan().regions.iter().enumerate();
        let found = regions.filter_map(|(i, region)| match &region.mask {
            Mask::Picture(other) if !region.locked && same(other) => Some((i, (**other).clone())),
            _ => None,
        });
        found.collect()
    }
}
