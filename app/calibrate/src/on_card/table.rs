//! The tables that readings from a photograph go into: a test print's own, or heights and colours
//! for the fit of the lag.

use std::path::{Path, PathBuf};

use blend::Lab;
use blend::calibrate::Specular;

use project::text_file::read_text;

use super::sample::Sample;
use super::scan::CardReading;
use crate::table::{Reading, Row, Table};
use crate::test_files::Swatch;
use crate::test_part::Step;

/// What a reading is written into.
#[derive(Clone, Debug)]
pub enum Rows {
    /// A test print's table, and the numbers and colours of its steps.
    Steps {
        /// The table's file, beside the print's plan.
        file: PathBuf,
        /// What is in it.
        table: Box<Table>,
        /// What was read.
        steps: Vec<(usize, Lab)>,
        /// Whether it is lightness alone.
        greyscale: bool,
    },
    /// Heights above the bed, mm, and their colours.
    Heights(Vec<(f64, Lab)>),
}

impl Rows {
    /// What was read of a sample. A bar's steps have their numbers in the table that lies beside
    /// its plan.
    ///
    /// # Errors
    /// That table can't be read, or has not these steps: what is wrong, after the file's name.
    pub fn of(sample: &Sample, reading: &CardReading, plan_file: &Path) -> Result<Self, String> {
        let Sample::Bar(steps) = sample else {
            return Ok(Self::Heights(reading.colours.clone()));
        };
        let file = plan_file.with_file_name(Swatch::TABLE);
        let named = |why: &dyn std::fmt::Display| format!("{}: {why}", file.display());
        let text = read_text(&file).map_err(|why| named(&why))?;
        let table = Table::read(&text).map_err(|why| named(&why))?;
        let first = first_step(&table, steps).map_err(|why| named(&why))?;
        let colours = reading.colours.iter().enumerate();
        Ok(Self::Steps {
            steps: colours.map(|(i, (_, lab))| (first + i, *lab)).collect(),
            table: Box::new(table),
            file,
            greyscale: reading.greyscale,
        })
    }

    /// The text of the table to write to `out`.
    ///
    /// # Errors
    /// A step is not in the test print's table, or that can't be written.
    pub fn text(self, photo: &Path, out: &Path) -> Result<String, String> {
        match self {
            Self::Steps {
                file,
                table,
                steps,
                greyscale,
            } => {
                let instrument = match greyscale {
                    true => format!("greyscale {}, lightness alone", named(photo)),
                    false => named(photo),
                };
                written(*table, &steps, instrument, &file, out)
            }
            Self::Heights(colours) => Ok(heights(&colours)),
        }
    }
}

/// A test print's table with the readings of a photograph in it, to be written to `out`; it was
/// read from `table_file`.
///
/// # Errors
/// A step is not in the table, or it can't be written.
pub fn filled(
    table: Table,
    steps: &[(usize, Lab)],
    photo: &Path,
    table_file: &Path,
    out: &Path,
) -> Result<String, String> {
    written(table, steps, named(photo), table_file, out)
}

/// What stands for a photograph as an instrument.
fn named(photo: &Path) -> String {
    let name = photo.file_name().unwrap_or_default().to_string_lossy();
    format!("photograph {name}")
}

fn written(
    mut table: Table,
    steps: &[(usize, Lab)],
    instrument: String,
    table_file: &Path,
    out: &Path,
) -> Result<String, String> {
    fill(&mut table, steps)?;
    table.header.instrument = instrument;
    table.header.specular = Specular::Excluded;
    if out.parent() != table_file.parent() {
        // The spools are named relative to the table.
        let spools = table.header.spools.take();
        table.header.spools = spools.map(|file| {
            let path = table_file.with_file_name(file);
            let whole = std::path::absolute(&path).unwrap_or(path);
            whole.display().to_string()
        });
    }
    table.write().map_err(|error| error.to_string())
}

/// The number that a bar's first step has in the table: where the shares of all its steps follow
/// each other.
fn first_step(table: &Table, steps: &[Step]) -> Result<usize, String> {
    let mut rows: Vec<&Row> = table.rows.iter().collect();
    rows.dedup_by_key(|row| row.step);
    let is_here = |rows: &&[&Row]| {
        let pairs = rows.iter().zip(steps);
        let same = |a: &[f64], b: &[f64]| {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 0.005)
        };
        let mut all = pairs.map(|(row, step)| same(row.shares.as_slice(), step.shares.as_slice()));
        all.all(|same| same)
    };
    let found: Vec<usize> = rows
        .windows(steps.len().max(1))
        .filter(is_here)
        .filter_map(|rows| rows.first().map(|row| row.step))
        .collect();
    match found.as_slice() {
        [step] => Ok(*step),
        [] => Err("the table has not the steps of this plan, in their order".to_owned()),
        _ => Err("the steps of this plan are in the table several times".to_owned()),
    }
}

/// A lag test's colours by height.
fn heights(colours: &[(f64, Lab)]) -> String {
    let mut text = String::from("height_mm,l,a,b\n");
    for (at, lab) in colours {
        text.push_str(&format!("{at:.1},{:.2},{:.2},{:.2}\n", lab.l, lab.a, lab.b));
    }
    text
}

/// Puts the readings into their rows, in place of older ones.
fn fill(table: &mut Table, steps: &[(usize, Lab)]) -> Result<(), String> {
    for (step, lab) in steps {
        let place = table.rows.iter().position(|row| row.step == *step);
        let place = place.ok_or_else(|| format!("the table has no step {step}"))?;
        // Older readings of the step, several perhaps, make way for this one.
        let mut row = table.rows.remove(place);
        row.reading = Some(Reading::Lab(rounded(*lab)));
        table.rows.retain(|row: &Row| row.step != *step);
        table.rows.insert(place.min(table.rows.len()), row);
    }
    Ok(())
}

/// No photograph is surer than a hundredth.
fn rounded(lab: Lab) -> Lab {
    let round = |v: f64| (v * 100.0).round() / 100.0;
    Lab {
        l: round(lab.l),
        a: round(lab.a),
        b: round(lab.b),
    }
}
