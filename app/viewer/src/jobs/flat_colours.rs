//! Makes regions of the colours of a picture on the part.

use std::path::PathBuf;

use colours::FlatRow;
use geometry::Progress;
use geometry::imprint::Picture;
use geometry::mask::Nearness;
use plan::{Plan, Region};
use project::flat::{blends_for, regions_of};

use super::Stop;
use super::own_colours::MOST_BLENDS;

/// What to make them of.
#[derive(Clone)]
pub struct Order {
    /// The plan, with its spools and machine.
    pub plan: Plan,
    /// The plan's file, or one where it could lie.
    pub plan_file: PathBuf,
    /// The picture as it lies.
    pub picture: Picture,
    /// What the regions' names begin with.
    pub name: String,
    /// How many blends to take; none for as many as are worth it.
    pub blends: Option<usize>,
}

/// What came of it.
#[derive(Clone, Debug)]
pub struct FlatColours {
    /// The picture that was asked for.
    pub picture: Picture,
    /// The regions in its place, with what their masks read.
    pub regions: Vec<Region>,
    /// What each number of blends gives.
    pub rows: Vec<FlatRow>,
    /// How many blends were taken, of which some may have got no region.
    pub blends: usize,
}

/// Chooses blends for a picture's colours, and makes regions of them.
///
/// # Errors
/// [`Stop`] in words that name the file, or when cancelled.
pub fn run(order: &Order, progress: &Progress) -> Result<FlatColours, Stop> {
    let Order {
        plan,
        plan_file,
        picture,
        name,
        ..
    } = order;
    let most = order.blends.unwrap_or(MOST_BLENDS).max(MOST_BLENDS);
    let named = (plan, plan_file.as_path());
    let choice = blends_for(picture, named, Nearness::Difference, most, progress)?;
    let blends = order.blends.unwrap_or(choice.recommended);
    let blends = blends.clamp(1, choice.most().max(1));
    let picture_named = (picture, name.as_str());
    let found = regions_of(&choice, blends, picture_named, named, progress)?;
    let mut whole = plan.clone();
    whole.regions.extend(found.regions.iter().cloned());
    if let Some(why) = whole.too_many_pixels() {
        return Err(Stop::Failed(format!("{name}: {why}")));
    }
    Ok(FlatColours {
        picture: picture.clone(),
        regions: found.regions,
        rows: choice.rows,
        blends,
    })
}
