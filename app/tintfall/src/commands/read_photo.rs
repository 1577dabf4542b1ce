//! `tintfall read-photo`.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use blend::calibrate::Specular;
use calibrate::patches::Patches;
use calibrate::photo::{Photo, PhotoReading};
use calibrate::{Reading, Row, Table};
use project::write;

use super::swatch::text_of;
use crate::console::Console;
use crate::fault::Fault;

/// Read the steps of a test print from a photograph with a grey or white card
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall read-photo print.png --patches swatch/patches.ron --out swatch/measured.csv

Use an unedited PNG in sRGB. Patches that are overexposed or too dark are refused.
A colorimeter is far better: expect errors of a few ΔE00 from a photograph.")]
pub(crate) struct Args {
    /// The photograph
    photo: PathBuf,
    /// Where the patches are; `tintfall swatch` writes a first file to change
    #[arg(long, value_name = "FILE")]
    patches: PathBuf,
    /// The table to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

impl Args {
    /// Reads it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let patches = Patches::from_ron(&text_of(&self.patches)?)
            .map_err(|e| Fault::input(e.in_file(&self.patches.display().to_string())))?;
        let folder = self.patches.parent().unwrap_or(Path::new(""));
        let table_path = folder.join(&patches.table);
        let mut table = Table::read(&text_of(&table_path)?)
            .map_err(|e| Fault::Input(format!("{}: {e}", table_path.display())))?;
        let in_photo = |cause: &dyn ToString| {
            Fault::Input(format!("{}: {}", self.photo.display(), cause.to_string()))
        };
        let reading = console.working(|progress| -> Result<_, Fault> {
            progress.stage("Reading the photograph");
            let file =
                File::open(&self.photo).map_err(|e| in_photo(&format!("can't be read: {e}")))?;
            let photo = Photo::read_png(BufReader::new(file)).map_err(|e| in_photo(&e))?;
            photo.read(&patches).map_err(|e| in_photo(&e))
        })?;
        fill(&mut table, &reading)
            .map_err(|why| Fault::Input(format!("{}: {why}", self.patches.display())))?;
        let name = self.photo.file_name().unwrap_or_default().to_string_lossy();
        table.header.instrument = format!("photograph {name}");
        table.header.specular = Specular::Excluded;
        if self.out.parent() != table_path.parent() {
            // The spools are named relative to the table.
            let spools = table.header.spools.take();
            table.header.spools = spools.map(|file| {
                let path = folder.join(&patches.table).with_file_name(file);
                let whole = std::path::absolute(&path).unwrap_or(path);
                whole.display().to_string()
            });
        }
        let text = table.write().map_err(Fault::system)?;
        write::bytes(&self.out, text.as_bytes())?;
        for warning in &reading.warnings {
            console.note(&format!("Warning: {warning}"));
        }
        console.out(&told(&self.out, &reading))
    }
}

/// Puts the readings into their rows, in place of older ones.
fn fill(table: &mut Table, reading: &PhotoReading) -> Result<(), String> {
    for (step, lab) in &reading.steps {
        let place = table.rows.iter().position(|row| row.step == *step);
        let place = place.ok_or_else(|| format!("the table has no step {step}"))?;
        let mut row = table.rows[place].clone();
        row.reading = Some(Reading::Lab(rounded(*lab)));
        // Older readings of the step, several perhaps, make way for this one.
        table.rows.retain(|row: &Row| row.step != *step);
        table.rows.insert(place.min(table.rows.len()), row);
    }
    Ok(())
}

/// No photograph is surer than a hundredth.
fn rounded(lab: blend::Lab) -> blend::Lab {
    let round = |v: f64| (v * 100.0).round() / 100.0;
    blend::Lab {
        l: round(lab.l),
        a: round(lab.a),
        b: round(lab.b),
    }
}

fn told(out: &Path, reading: &PhotoReading) -> String {
    let mut text = String::from("step     L*      a*      b*\n");
    for (step, lab) in &reading.steps {
        text.push_str(&format!(
            "{step:>4} {:>6.1} {:>7.1} {:>7.1}  {}\n",
            lab.l,
            lab.a,
            lab.b,
            lab.to_xyz().to_srgb()
        ));
    }
    let out = out.display();
    text.push_str(&format!(
        "Wrote {out}; now run\n  tintfall fit {out} --out pair.ron\n"
    ));
    text
}
