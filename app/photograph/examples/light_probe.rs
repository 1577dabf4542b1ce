//! For the outside checks: linear light of every pixel of a picture, or why it can't be read.
//!
//! `light_probe FILE [grey]` writes a line of red, green and blue for each pixel, rows from the top.

use std::error::Error;
use std::io::Write;

use photograph::Photo;

fn main() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let path = words.next().ok_or("name a picture")?;
    let bytes = std::fs::read(path)?;
    let photo = match words.next() {
        Some(_) => Photo::read_grey(&bytes),
        None => Photo::read(&bytes),
    };
    // In the words that people read.
    let photo = photo.map_err(|why| why.to_string())?;
    let mut out = std::io::stdout().lock();
    for y in 0..photo.height() {
        for x in 0..photo.width() {
            let [red, green, blue] = photo.pixel(x, y);
            writeln!(out, "{red} {green} {blue}")?;
        }
    }
    Ok(())
}
