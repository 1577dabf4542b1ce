//! Answers which colour a model's own file gives to points of its skin, for the outside checks.
//!
//! The argument names the model. Each line of standard input has the coordinates of a point in the
//! file as read, mm, and each line of the answer the code values of red, green and blue at the
//! nearest point of the skin, or `none`.

use std::io::{self, BufRead, BufWriter, Write};
use std::path::PathBuf;
use std::sync::Arc;

use colours::{ColoursError, Model};
use geometry::pieces::weights;
use geometry::read::{ReadOptions, read_mesh};
use geometry::{DVec3, Surface};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args_os().nth(1).ok_or("name a model")?;
    let options = ReadOptions {
        appearance: true,
        ..ReadOptions::default()
    };
    let mut reading = read_mesh(&PathBuf::from(file), &options)?;
    let appearance = reading.appearance.take().ok_or(ColoursError::None)?;
    let surface = Surface::new(Arc::new(reading.mesh));
    let model = Model::new(surface.clone(), appearance);
    for note in reading
        .notes
        .iter()
        .map(String::as_str)
        .chain(model.notes().iter().map(String::as_str))
    {
        eprintln!("{note}");
    }
    let mut out = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let line = line?;
        let values: Vec<f64> = line
            .split_whitespace()
            .map(str::parse)
            .collect::<Result<_, _>>()?;
        let [x, y, z] = *values else {
            return Err(format!("'{line}' is not three numbers").into());
        };
        let at = surface.nearest(DVec3::new(x, y, z));
        let corners = surface.mesh().corners(at.facet as usize);
        match model.colour(at.facet as usize, weights(corners, at.point_mm)) {
            Some(colour) => {
                let [r, g, b] = colour.0;
                writeln!(out, "{r} {g} {b}")?;
            }
            None => writeln!(out, "none")?,
        }
    }
    Ok(())
}
