//! `tintfall read-photo`.

use std::fs;
use std::path::{Path, PathBuf};

use blend::Lab;
use blend::calibrate::Specular;
use calibrate::on_card::{OnCard, Sample};
use calibrate::patches::Patches;
use calibrate::photo::Typed;
use calibrate::test_part::Step;
use calibrate::{Reading, Row, Table};
use photograph::light::Reference;
use photograph::overlay::drawn;
use photograph::{Photo, card};
use project::job::Job;
use project::write;
use render::Image;

use super::prepare::not_opened;
use super::swatch::text_of;
use crate::console::Console;
use crate::fault::Fault;

/// Read a test print from a photograph: on the photograph card, or by patches that you type in
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall read-photo photo.jpg --plan swatch/swatch.plan.ron --neutral 0.18 --out measured.csv
  tintfall read-photo photo.jpg --plan lag/lag-test.plan.ron --neutral 0.18 --out colours.csv
  tintfall read-photo print.png --patches swatch/patches.ron --out swatch/measured.csv

With --plan, the print lies on the card that `tintfall card` writes, and a reference of known
reflectance on A, B or C; everything else is found. `--neutral 0.18` is a grey card on A; three
references (`--neutral A=0.9 --neutral B=0.18 --neutral C=0.04`) tell the camera's tone curve too.
The table of a bar's steps is measured.csv beside the plan.

Use the camera's own JPEG or an unedited PNG. Patches that are overexposed or too dark are refused.
A colorimeter is better: expect errors of a few ΔE00 from a photograph.")]
pub(crate) struct Args {
    /// The photograph: JPEG or PNG
    photo: PathBuf,
    /// The plan of the swatch bar or lag test that lies on the card
    #[arg(long, value_name = "FILE", conflicts_with = "patches")]
    plan: Option<PathBuf>,
    /// A neutral reference on the card: its place A, B or C, and its reflectance from 0.02 to 1
    #[arg(long, value_name = "PLACE=SHARE", requires = "plan", value_parser = reference)]
    neutral: Vec<Reference>,
    /// Draw on the photograph what was found and read where, as PNG
    #[arg(long, value_name = "FILE", requires = "plan")]
    overlay: Option<PathBuf>,
    /// Where the patches are, without a card; `tintfall swatch` writes a first file to change
    #[arg(long, value_name = "FILE", required_unless_present = "plan")]
    patches: Option<PathBuf>,
    /// The table to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

/// `0.18`, which lies on A, or `B=0.9`.
pub(super) fn reference(text: &str) -> Result<Reference, String> {
    let (place, share) = text.split_once('=').unwrap_or((card::PLACE_NAMES[0], text));
    let place = card::PLACE_NAMES
        .iter()
        .position(|name| name.eq_ignore_ascii_case(place.trim()))
        .ok_or("the places are A, B and C")?;
    match share.trim().parse::<f64>() {
        Ok(reflectance) if (0.02..=1.0).contains(&reflectance) => {
            Ok(Reference { place, reflectance })
        }
        _ => Err("give a reflectance from 0.02 to 1, such as 0.18 for a grey card".to_owned()),
    }
}

/// Whether there is a reference, and no more than one on each place.
pub(super) fn enough(references: &[Reference]) -> Result<(), Fault> {
    if references.is_empty() {
        return Err(Fault::Input(
            "lay a reference of known reflectance on the card and name it, as in --neutral 0.18 \
             for a grey card on A"
                .to_owned(),
        ));
    }
    let twice = references.iter().enumerate().find_map(|(i, one)| {
        let before = references.iter().take(i);
        before.map(|r| r.place).find(|place| *place == one.place)
    });
    match twice {
        Some(place) => Err(Fault::Input(format!(
            "--neutral names {} twice; one reference lies on each place",
            card::PLACE_NAMES.get(place).copied().unwrap_or("?")
        ))),
        None => Ok(()),
    }
}

impl Args {
    /// Reads it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        match (&self.plan, &self.patches) {
            (Some(plan), _) => self.on_card(plan, console),
            (None, Some(patches)) => self.typed(patches, console),
            (None, None) => Err(Fault::Input("give --plan or --patches".to_owned())),
        }
    }

    /// By the card.
    fn on_card(&self, path: &Path, console: &Console) -> Result<(), Fault> {
        enough(&self.neutral)?;
        let in_photo = |why: String| Fault::Input(format!("{}: {why}", self.photo.display()));
        let (sample, reading, drawn) = console.working(|progress| -> Result<_, Fault> {
            let job = Job::open(path, progress).map_err(not_opened)?;
            let mesh = job.painted.surface().mesh();
            let sample = Sample::of(job.painted.plan(), mesh)
                .map_err(|why| Fault::Input(format!("{}: {why}", path.display())))?;
            progress.stage("Reading the photograph");
            let photo = read_photo(&self.photo)?;
            let on_card =
                OnCard::find(&photo, &self.neutral, sample.clone(), mesh).map_err(in_photo)?;
            let drawn = self
                .overlay
                .as_ref()
                .map(|_| drawn(&photo, &on_card.lines()));
            Ok((sample, on_card.read(), drawn))
        })?;
        // The drawing helps most where a patch can't be read.
        if let (Some(file), Some((width, height, rgba))) = (&self.overlay, drawn) {
            let image = Image::from_rgba(width as u32, height as u32, rgba);
            let image = image.ok_or_else(|| Fault::system("the overlay has no size"))?;
            write::file(file, |out| {
                image.write_png(out).map_err(std::io::Error::other)
            })?;
        }
        let reading = reading.map_err(in_photo)?;
        for warning in &reading.warnings {
            console.note(&format!("Warning: {warning}"));
        }
        let found = reading.found.join("\n");
        match sample {
            Sample::Bar(steps) => {
                let table_path = path.with_file_name("measured.csv");
                let mut table = table_of(&table_path)?;
                let first = first_step(&table, &steps)
                    .map_err(|why| Fault::Input(format!("{}: {why}", table_path.display())))?;
                let colours = reading.colours.iter().enumerate();
                let steps: Vec<(usize, Lab)> =
                    colours.map(|(i, (_, lab))| (first + i, *lab)).collect();
                self.write_steps(&mut table, &table_path, &steps)?;
                console.out(&format!("{found}\n{}", told(&self.out, &steps)))
            }
            Sample::Tower(_) => {
                let text = heights(&reading.colours);
                write::bytes(&self.out, text.as_bytes())?;
                let (plan, out) = (path.display(), self.out.display());
                console.out(&format!(
                    "{found}\nWrote {} heights into {out}; now run\n  \
                     tintfall lag-fit {plan} {out} --out machine.ron\n",
                    reading.colours.len()
                ))
            }
        }
    }

    /// By patches that were typed in.
    fn typed(&self, path: &Path, console: &Console) -> Result<(), Fault> {
        let patches = Patches::from_ron(&text_of(path)?)
            .map_err(|e| Fault::input(e.in_file(&path.display().to_string())))?;
        let table_path = path.parent().unwrap_or(Path::new("")).join(&patches.table);
        let mut table = table_of(&table_path)?;
        let reading = console.working(|progress| -> Result<_, Fault> {
            progress.stage("Reading the photograph");
            let photo = read_photo(&self.photo)?;
            Typed::new(&photo)
                .read(&patches)
                .map_err(|e| Fault::Input(format!("{}: {e}", self.photo.display())))
        })?;
        self.write_steps(&mut table, &table_path, &reading.steps)
            .map_err(|fault| match fault {
                Fault::Input(why) => Fault::Input(format!("{}: {why}", path.display())),
                other => other,
            })?;
        for warning in &reading.warnings {
            console.note(&format!("Warning: {warning}"));
        }
        console.out(&told(&self.out, &reading.steps))
    }

    /// Writes the table with the steps' colours in it.
    fn write_steps(
        &self,
        table: &mut Table,
        table_path: &Path,
        steps: &[(usize, Lab)],
    ) -> Result<(), Fault> {
        fill(table, steps).map_err(Fault::Input)?;
        let name = self.photo.file_name().unwrap_or_default().to_string_lossy();
        table.header.instrument = format!("photograph {name}");
        table.header.specular = Specular::Excluded;
        if self.out.parent() != table_path.parent() {
            // The spools are named relative to the table.
            let spools = table.header.spools.take();
            table.header.spools = spools.map(|file| {
                let path = table_path.with_file_name(file);
                let whole = std::path::absolute(&path).unwrap_or(path);
                whole.display().to_string()
            });
        }
        let text = table.write().map_err(Fault::system)?;
        write::bytes(&self.out, text.as_bytes())?;
        Ok(())
    }
}

fn table_of(path: &Path) -> Result<Table, Fault> {
    Table::read(&text_of(path)?).map_err(|e| Fault::Input(format!("{}: {e}", path.display())))
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

/// A photograph from its file.
pub(super) fn read_photo(path: &Path) -> Result<Photo, Fault> {
    let at = path.display();
    let bytes = fs::read(path).map_err(|e| Fault::Input(format!("{at}: can't be read: {e}")))?;
    // What is wrong with a picture goes on from its name.
    Photo::read(&bytes).map_err(|error| Fault::Input(format!("{at}: {error}")))
}

/// Puts the readings into their rows, in place of older ones.
fn fill(table: &mut Table, steps: &[(usize, Lab)]) -> Result<(), String> {
    for (step, lab) in steps {
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
fn rounded(lab: Lab) -> Lab {
    let round = |v: f64| (v * 100.0).round() / 100.0;
    Lab {
        l: round(lab.l),
        a: round(lab.a),
        b: round(lab.b),
    }
}

fn told(out: &Path, steps: &[(usize, Lab)]) -> String {
    let mut text = String::from("step     L*      a*      b*\n");
    for (step, lab) in steps {
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
