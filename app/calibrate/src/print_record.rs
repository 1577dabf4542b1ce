//! What photographs show of a finished part, as the record of its print keeps it.

use photograph::card;
use photograph::light;
use plan::Plan;
use project::record::{Photograph, Reference, Row, Taken};

use crate::finished::tables::Joined;

/// What was read, by region and height.
pub fn taken(
    all: &[Joined],
    plan: &Plan,
    photographs: Vec<Photograph>,
    references: &[light::Reference],
    every_mm: f64,
) -> Taken {
    let place = |reference: &light::Reference| Reference {
        place: card::PLACE_NAMES
            .get(reference.place)
            .map_or_else(String::new, |name| (*name).to_owned()),
        reflectance: reference.reflectance,
    };
    Taken {
        title: plan.title.clone(),
        photographs,
        references: references.iter().map(place).collect(),
        every_mm,
        regions: plan.regions.iter().map(|r| r.name.clone()).collect(),
        rows: all.iter().map(row).collect(),
    }
}

fn row(joined: &Joined) -> Row {
    let spot = joined.spot;
    Row {
        region: spot.region,
        slot: spot.slot,
        height_mm: spot.height_mm,
        pixels: spot.pixels,
        photographs: joined.photographs,
        requested: spot.requested,
        printed: spot.printed,
        seen: spot.seen,
        uncertainty_de00: joined.uncertainty_de00(),
    }
}
