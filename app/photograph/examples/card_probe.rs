//! Tells what the outside checks compare: the marks' bits, the corners that are found in a photograph,
//! and where the best homography through them has points of the card.

use std::io::Write as _;

use photograph::homography::Homography;
use photograph::{Photo, card, find, mark};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut out = std::io::stdout().lock();
    for number in mark::NUMBERS {
        writeln!(out, "bits {number} {}", mark::bits(number))?;
    }
    for path in std::env::args().skip(1) {
        let photo = Photo::read(&std::fs::read(path)?)?;
        let (marks, _) = find::marks(&photo);
        let mut pairs = Vec::new();
        for mark in &marks {
            let places = card::mark_corners(mark.index);
            for ((x, y), (u, v)) in places.into_iter().zip(mark.corners) {
                writeln!(out, "corner {} {x} {y} {u} {v}", mark::NUMBERS[mark.index])?;
                pairs.push(((x, y), (u, v)));
            }
        }
        let map = Homography::fit(&pairs).ok_or("no homography")?;
        for i in 0..35 {
            let place = (30.0 * f64::from(i % 7), 50.0 * f64::from(i / 7));
            let (u, v) = map.map(place).ok_or("beyond the horizon")?;
            writeln!(out, "mapped {} {} {u} {v}", place.0, place.1)?;
        }
    }
    Ok(())
}
