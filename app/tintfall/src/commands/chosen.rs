//! The blends that were chosen for colours that were there already, as `new --colours` and `lay`
//! tell them.

use blend::{MixModel, Shares};
use geometry::mask::MOST_COLOURS;
use plan::Region;
use serde::Serialize;

use crate::console::Console;
use crate::fault::Fault;

/// How many blends are looked at unless more are asked for.
const USUAL_ROWS: usize = 8;

/// How many blends are asked for.
#[derive(Clone, Copy)]
pub(super) enum Number {
    Auto,
    Of(usize),
}

pub(super) fn number(text: &str) -> Result<Number, String> {
    match (text, text.parse::<usize>()) {
        ("auto", _) => Ok(Number::Auto),
        (_, Ok(count)) if (1..=MOST_COLOURS).contains(&count) => Ok(Number::Of(count)),
        _ => Err(format!("give a number from 1 to {MOST_COLOURS}, or auto")),
    }
}

impl Number {
    /// How many rows the table has at most.
    pub(super) fn rows(self) -> usize {
        match self {
            Self::Of(count) => count.max(USUAL_ROWS),
            Self::Auto => USUAL_ROWS,
        }
    }

    /// How many blends are taken where no more than so many are of any use.
    pub(super) fn taken(self, most: usize, recommended: usize) -> usize {
        match self {
            Self::Of(count) => count.min(most),
            Self::Auto => recommended,
        }
    }
}

/// The table, for other programs.
#[derive(Serialize)]
pub(super) struct Report<'a, Row> {
    pub plan: String,
    pub blends: usize,
    pub recommended: usize,
    pub rows: &'a [Row],
    pub regions: Vec<RegionReport<'a>>,
}

impl<Row: Serialize> Report<'_, Row> {
    /// Writes it as JSON.
    pub(super) fn write(&self, console: &Console) -> Result<(), Fault> {
        let text = serde_json::to_string_pretty(self).map_err(Fault::system)?;
        console.out(&format!("{text}\n"))
    }
}

/// A region of one blend.
#[derive(Serialize)]
pub(super) struct RegionReport<'a> {
    name: &'a str,
    #[serde(skip)]
    blend: Shares,
    shares: Vec<f64>,
    srgb: String,
}

/// The regions of one blend among some.
pub(super) fn regions_of<'a>(regions: &'a [Region], model: &dyn MixModel) -> Vec<RegionReport<'a>> {
    let report = |region: &'a Region| {
        let blend = region.paint.one_blend().copied()?;
        Some(RegionReport {
            name: &region.name,
            blend,
            shares: blend.as_slice().to_vec(),
            srgb: model.mix(&blend).to_srgb().to_string(),
        })
    };
    regions.iter().filter_map(report).collect()
}

/// A line for each region: colour, shares, name.
pub(super) fn lines_of(regions: &[RegionReport<'_>]) -> String {
    let line = |region: &RegionReport<'_>| {
        format!("  {}  {}  {}\n", region.srgb, region.blend, region.name)
    };
    regions.iter().map(line).collect()
}

/// What stands behind a row of the table of so many blends.
pub(super) fn mark(blends: usize, taken: usize, recommended: usize) -> &'static str {
    match (blends == taken, blends == recommended) {
        (true, true) => "taken recommended",
        (true, false) => "taken",
        (false, true) => "recommended",
        (false, false) => "",
    }
}
