//! The colours of a flat picture, laid on a part as regions: one for each of a few blends.

// They come from strangers: nothing in them may end in a panic.
#![warn(
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic
)]

use std::path::Path;

use colours::{ChoiceError, FlatChoice, choose_flat};
use geometry::imprint::Picture;
use geometry::mask::Nearness;
use geometry::{Mask, Progress};
use plan::{Plan, Region};

use crate::job::{JobError, beside, load_pictures_with};
use crate::pictures::{ImprintError, read_flat};

/// Areas below this are none, mm².
const NOTHING_MM2: f64 = 1e-3;

/// The regions of a picture's colours.
#[derive(Clone, Debug)]
pub struct FlatRegions {
    /// The regions, that of the most area first, with what their masks read.
    pub regions: Vec<Region>,
    /// How many blends got none: they are nearest to nothing but lines of one pixel, such as the
    /// soft edges between others.
    pub left_out: usize,
}

/// Chooses blends for the colours of a picture that a plan can name, for up to `most` of them.
///
/// # Errors
/// [`JobError`] names the picture.
pub fn blends_for(
    picture: &Picture,
    (plan, plan_file): (&Plan, &Path),
    by: Nearness,
    most: usize,
    progress: &Progress,
) -> Result<FlatChoice, JobError> {
    progress.stage("Reading the picture");
    let file = beside(plan_file, &picture.file);
    let flat = read_flat(&file).map_err(|why| match why {
        ImprintError::Cancelled(stop) => JobError::Cancelled(stop),
        why => JobError::file(&file, why),
    })?;
    progress.check()?;
    let pixel_mm = picture.width_mm / flat.width().max(1) as f64;
    let counted = flat.counted(pixel_mm * pixel_mm);
    choose_flat(&counted, plan, by, most, progress).map_err(|why| match why {
        ChoiceError::Cancelled(stop) => JobError::Cancelled(stop),
        why => JobError::file(&file, why),
    })
}

/// The regions of so many blends for a picture, read and ready for the plan. Their names begin with
/// a name and differ from those that the plan has.
///
/// # Errors
/// [`JobError`] names the picture.
pub fn regions_of(
    choice: &FlatChoice,
    blends: usize,
    (picture, name): (&Picture, &str),
    (plan, plan_file): (&Plan, &Path),
    progress: &Progress,
) -> Result<FlatRegions, JobError> {
    let file = beside(plan_file, &picture.file);
    let regions = choice.regions(blends, picture, name, &plan.regions);
    let regions = regions.ok_or_else(|| JobError::file(&file, "there are no blends for it"))?;
    let mut own = Plan {
        regions,
        ..plan.clone()
    };
    load_pictures_with(&mut own, plan_file, progress)?;
    let all = own.regions.len();
    let mut kept = Vec::with_capacity(all);
    for region in own.regions {
        progress.check()?;
        if let Mask::Picture(picture) = &region.mask {
            let area_mm2 = picture.flat_area_mm2();
            if area_mm2.map_err(|why| JobError::file(&file, why))? > NOTHING_MM2 {
                kept.push(region);
            }
        }
    }
    Ok(FlatRegions {
        left_out: all - kept.len(),
        regions: kept,
    })
}
