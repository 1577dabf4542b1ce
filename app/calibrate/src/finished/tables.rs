//! Colours of several photographs joined, and written as tables.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use blend::{Lab, ciede2000};
use plan::Plan;

use super::colours::Spot;
use crate::camera::camera_de00;

/// How far neighbouring heights of a photograph usually differ beside the camera's error, ΔE00: from
/// the study in docs/photographs.md.
const OWN_DE00: f64 = 0.7;

/// How well the height of what is seen is known, mm: by the pose, from the study in
/// docs/photographs.md.
const HEIGHT_MM: f64 = 0.5;
/// Where the colour changes by more than this within that, it may be off by as much, ΔE00; less is taken
/// for scatter.
const STEEP_DE00: f64 = 1.2;
/// Where it changes by more than this, a row would say more of the height's error than of the print,
/// ΔE00.
const JUMP_DE00: f64 = 6.0;
/// Heights further apart than this tell nothing of each other, mm.
const FAR_MM: f64 = 4.0;
/// Heights nearer than this are one, mm.
const NEAR_MM: f64 = 1.0;
/// So many pixels are as good as all: of fewer, more lie at an edge.
const FEW_PIXELS: f64 = 300.0;

/// A region at a height, by all photographs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joined {
    /// What all of them show.
    pub spot: Spot,
    /// How many photographs show it.
    pub photographs: usize,
    /// How far they differ, ΔE00, at most from their mean.
    pub apart_de00: f64,
    /// How far the seen colour may be off by itself, one standard error, ΔE00.
    pub own_error_de00: f64,
    /// How far seen colours that are alike may be off together by the camera, one standard error,
    /// ΔE00.
    pub camera_error_de00: f64,
    /// How much lighter or darker those on near faces may be together, one standard error, ΔE00.
    pub lightness_error_de00: f64,
}

impl Joined {
    /// How far the seen colour may be off in all, one standard error, ΔE00.
    pub fn uncertainty_de00(&self) -> f64 {
        let shared = self.camera_error_de00.hypot(self.lightness_error_de00);
        self.own_error_de00.hypot(shared)
    }
}

/// Joins what several photographs show: a mean by pixels. `references` is how many greys lie on
/// the card.
pub fn joined(photographs: &[Vec<Spot>], references: usize) -> Vec<Joined> {
    let mut all: BTreeMap<(usize, usize), Vec<Spot>> = BTreeMap::new();
    for spot in photographs.iter().flatten() {
        all.entry((spot.region, spot.slot)).or_default().push(*spot);
    }
    let camera = camera_de00(references);
    all.into_values()
        .filter_map(|spots| join(&spots, camera))
        .collect()
}

fn join(spots: &[Spot], camera: f64) -> Option<Joined> {
    let first = spots.first()?;
    // The surer and the larger counts more.
    let weight = |spot: &Spot| (spot.pixels as f64).min(2000.0) / (1.0 + spot.shading_de00.powi(2));
    let total: f64 = spots.iter().map(weight).sum();
    let mean = |of: &dyn Fn(&Spot) -> f64| {
        spots
            .iter()
            .map(|spot| weight(spot) * of(spot))
            .sum::<f64>()
            / total
    };
    let colour = |of: &dyn Fn(&Spot) -> Lab| Lab {
        l: mean(&|spot| of(spot).l),
        a: mean(&|spot| of(spot).a),
        b: mean(&|spot| of(spot).b),
    };
    let seen = colour(&|spot| spot.seen);
    let apart = spots.iter().map(|spot| ciede2000(spot.seen, seen));
    let apart_de00 = apart.fold(0.0, f64::max);
    let shading_de00 = mean(&|spot| spot.shading_de00) / (spots.len() as f64).sqrt();
    let pixels: usize = spots.iter().map(|spot| spot.pixels).sum::<usize>().max(1);
    Some(Joined {
        spot: Spot {
            region: first.region,
            slot: first.slot,
            height_mm: mean(&|spot| spot.height_mm),
            pixels,
            seen,
            requested: colour(&|spot| spot.requested),
            printed: colour(&|spot| spot.printed),
            shading_de00,
        },
        photographs: spots.len(),
        apart_de00,
        own_error_de00: (OWN_DE00 * (1.0 + FEW_PIXELS / pixels as f64).sqrt())
            .hypot(apart_de00 / 2.0),
        camera_error_de00: camera,
        lightness_error_de00: shading_de00,
    })
}

/// The colours by height and region, as `trace` and `lag-fit` read them.
pub fn by_height(all: &[Joined]) -> String {
    let mut text = String::from(
        "# Colours of the finished part by height, from photographs: CIELAB, D65, 2°.\n\
         # Format: 1\n\
         # Left out is where colours jump: there heights are not known well enough. regions.csv has\n\
         # all of them. region is its position in the plan, from 1.\n\
         # error_de00 is what a row may be off by itself, and for its height where colours change fast;\n\
         # shared_error_de00 what like colours may be\n\
         # off together by the camera; lightness_error_de00 how much lighter or darker near faces may\n\
         # be together; height_error_mm what all heights may be off. One standard error each.\n\
         height_mm,region,l,a,b,error_de00,shared_error_de00,lightness_error_de00,height_error_mm\n",
    );
    for (joined, by_height_de00) in steady(all) {
        let Spot {
            height_mm,
            region,
            seen,
            ..
        } = joined.spot;
        // A String takes whatever is written.
        let _ = writeln!(
            text,
            "{height_mm:.2},{},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{HEIGHT_MM}",
            region + 1,
            // Too much light in the shading makes more of it than any plastic has.
            seen.l.clamp(0.0, 100.0),
            seen.a,
            seen.b,
            joined.own_error_de00.hypot(by_height_de00),
            joined.camera_error_de00,
            joined.lightness_error_de00
        );
    }
    text
}

/// What is seen of each region, from the bed up, without jumps, each with how far it may be off because
/// its height is known to half a millimetre only, ΔE00.
pub fn steady(all: &[Joined]) -> Vec<(&Joined, f64)> {
    let mut rows: Vec<&Joined> = all.iter().collect();
    rows.sort_by(|a, b| {
        let by_region = a.spot.region.cmp(&b.spot.region);
        by_region.then(a.spot.height_mm.total_cmp(&b.spot.height_mm))
    });
    let change_de00 = |i: usize| {
        let near = [i.checked_sub(1), Some(i + 1)].into_iter().flatten();
        let near = near.filter_map(|other| Some((rows.get(i)?, rows.get(other)?)));
        // What is far away, or of another region, says nothing of this height.
        let near = near.filter(|(here, other)| {
            let apart_mm = (here.spot.height_mm - other.spot.height_mm).abs();
            here.spot.region == other.spot.region && apart_mm <= FAR_MM
        });
        let changes = near.map(|(here, other)| {
            let apart_mm = (here.spot.height_mm - other.spot.height_mm).abs();
            // Of two that are nearer, the difference is mostly that of reading.
            HEIGHT_MM * ciede2000(here.spot.seen, other.spot.seen) / apart_mm.max(NEAR_MM)
        });
        changes.fold(0.0, f64::max)
    };
    let told = rows.iter().enumerate().filter_map(|(i, row)| {
        let change = change_de00(i);
        let error = if change > STEEP_DE00 { change } else { 0.0 };
        (change <= JUMP_DE00).then_some((*row, error))
    });
    let mut told: Vec<(&Joined, f64)> = told.collect();
    told.sort_by(|a, b| a.0.spot.height_mm.total_cmp(&b.0.spot.height_mm));
    told
}

/// All that is seen, by region and height.
pub fn by_region(all: &[Joined], plan: &Plan) -> String {
    let mut text = String::from(
        "# Colours of the finished part by region and height, from photographs: CIELAB, D65, 2°.\n\
         # Format: 1\n\
         region,height_mm,pixels,photographs,l,a,b,uncertainty_de00,requested_l,requested_a,\
         requested_b,off_requested_de00,printed_l,printed_a,printed_b,off_printed_de00\n",
    );
    for joined in all {
        let Spot {
            region,
            height_mm,
            pixels,
            seen,
            requested,
            printed,
            ..
        } = joined.spot;
        let name = plan.regions.get(region).map_or("", |r| r.name.as_str());
        let _ = writeln!(
            text,
            "{},{height_mm:.2},{pixels},{},{},{:.1},{},{:.2},{},{:.2}",
            quoted(name),
            joined.photographs,
            cells(seen),
            joined.uncertainty_de00(),
            cells(requested),
            ciede2000(seen, requested),
            cells(printed),
            ciede2000(seen, printed)
        );
    }
    text
}

fn cells(lab: Lab) -> String {
    format!("{:.2},{:.2},{:.2}", lab.l, lab.a, lab.b)
}

/// A cell of text (RFC 4180). What a spreadsheet would take for a formula is kept a text.
fn quoted(name: &str) -> String {
    let risky = name.starts_with(['=', '+', '-', '@', '\t', '\r', '#']);
    let name = format!("{}{name}", if risky { "'" } else { "" });
    match name.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", name.replace('"', "\"\"")),
        false => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(slot: usize, l: f64, pixels: usize) -> Spot {
        let lab = |l: f64| Lab { l, a: 2.0, b: -3.0 };
        Spot {
            region: 0,
            slot,
            height_mm: slot as f64 + 0.5,
            pixels,
            seen: lab(l),
            requested: lab(50.0),
            printed: lab(51.0),
            shading_de00: 1.0,
        }
    }

    #[test]
    fn photographs_are_joined_by_pixels_and_say_how_far_they_differ() {
        let all = joined(
            &[
                vec![spot(0, 40.0, 300), spot(1, 60.0, 90)],
                vec![spot(0, 44.0, 100)],
            ],
            3,
        );
        assert_eq!(all.len(), 2);
        let first = all.first().unwrap();
        assert!((first.spot.seen.l - 41.0).abs() < 1e-9, "{first:?}");
        assert_eq!((first.photographs, first.spot.pixels), (2, 400));
        assert!(first.apart_de00 > 2.0 && first.uncertainty_de00() > 1.5);
        let one = all.get(1).unwrap();
        assert_eq!((one.photographs, one.apart_de00), (1, 0.0));
        // The shading's error and the camera's.
        assert_eq!(
            (one.camera_error_de00, one.lightness_error_de00),
            (1.2, 1.0)
        );
        // Of 90 pixels more lie at an edge than of 400.
        assert!(one.own_error_de00 > 2.0 * OWN_DE00 && one.own_error_de00 < 3.0 * OWN_DE00);
        let fewer = joined(&[vec![spot(0, 40.0, 300)]], 1);
        assert!(fewer.first().unwrap().uncertainty_de00() > 3.0);
    }

    #[test]
    fn jumps_within_a_region_are_left_out_and_those_between_regions_are_not() {
        let of = |region: usize, slot: usize, l: f64| Spot {
            region,
            ..spot(slot, l, 30_000)
        };
        let spots = vec![
            of(0, 0, 40.0),
            of(0, 1, 40.5),
            // A red band on a white tower, a millimetre on.
            of(1, 2, 80.0),
            of(1, 3, 79.5),
            of(0, 12, 30.0),
            of(0, 13, 50.0),
            of(0, 14, 50.0),
        ];
        let all = joined(&[spots], 3);
        let kept: Vec<_> = steady(&all).iter().map(|(j, _)| j.spot.slot).collect();
        assert_eq!(kept, [0, 1, 2, 3, 14]);
        let text = by_height(&all);
        assert!(
            text.contains("\n2.50,2,80.00,2.00,-3.00,0.70,1.20,1.00,0.5\n"),
            "{text}"
        );
    }

    #[test]
    fn what_changes_fast_with_height_is_told_with_a_larger_error() {
        // A plate whose rim is in other light than its top, by some ΔE00.
        let spots = vec![spot(1, 44.0, 30_000), spot(2, 38.0, 30_000)];
        let all = joined(&[spots], 3);
        let told = steady(&all);
        assert_eq!(told.len(), 2);
        assert!(told.iter().all(|(_, error)| (2.0..4.0).contains(error)));
        let text = by_height(&all);
        assert!(text.contains("\n1.50,1,44.00,2.00,-3.00,2."), "{text}");
    }

    #[test]
    fn no_row_is_lighter_than_plastic_can_be() {
        let text = by_height(&joined(&[vec![spot(1, 101.3, 30_000)]], 3));
        assert!(text.contains("\n1.50,1,100.00,2.00,-3.00,"), "{text}");
    }

    #[test]
    fn names_of_regions_stay_in_their_cell() {
        assert_eq!(quoted("Rim, \"high\""), "\"Rim, \"\"high\"\"\"");
        assert_eq!(quoted("=1+1"), "'=1+1");
    }
}
