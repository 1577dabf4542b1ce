//! `tintfall read-photo`.

use std::path::{Path, PathBuf};

use blend::Lab;
use calibrate::Table;
use calibrate::on_card::table::{Rows, filled};
use calibrate::on_card::{Look, Refusal, Sample, Task, frame_line, lightness_alone, look};
use calibrate::patches::Patches;
use calibrate::photo::Typed;
use calibrate::photo_file::PhotoFile;
use photograph::Photo;
use photograph::laid::{Frame, corner};
use photograph::light::Reference;
use photograph::overlay::drawn;
use photograph::reference::named_twice;
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

If the print is not found, or not where it lies, say where with --frame: the corners of its flat
face in pixels of the photograph, from its upper left corner. With the foot towards you, give the
upper end's left corner, its right one, the foot's right corner and its left one:
  tintfall read-photo photo.jpg --plan swatch/swatch.plan.ron --neutral 0.18 \
--frame 540,210 660,212 668,1180 536,1178 --out measured.csv

A greyscale photograph shows no hue. If the plastic itself is grey, white or black, --grey reads
its lightness; a* and b* are then written as 0.

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
    /// Where the print lies: the corners of its face, clockwise from the upper end's left one, with
    /// the foot towards you; in pixels of the photograph, as it is shown upright
    #[arg(
        long,
        value_name = "X,Y",
        num_args = 4,
        requires = "plan",
        allow_hyphen_values = true,
        value_parser = corner
    )]
    frame: Option<Vec<(f64, f64)>>,
    /// What was photographed is grey: read lightness alone from a greyscale photograph, and write
    /// colours without hue
    #[arg(long, requires = "plan")]
    grey: bool,
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
    text.parse()
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
    named_twice(references).map_or(Ok(()), |place| {
        Err(Fault::Input(format!(
            "--neutral names {place} twice; one reference lies on each place"
        )))
    })
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
        let in_photo = |why: &str| Fault::Input(format!("{}: {why}", self.photo.display()));
        let (sample, found, drawn, doubt) = console.working(|progress| -> Result<_, Fault> {
            let job = Job::open(path, progress).map_err(not_opened)?;
            let mesh = job.painted.surface().mesh();
            let sample = Sample::of(job.painted.plan(), mesh)
                .map_err(|why| Fault::Input(format!("{}: {why}", path.display())))?;
            progress.stage("Reading the photograph");
            let (photo, doubt) = match self.grey {
                true => {
                    let doubt = lightness_alone(job.painted.plan())
                        .map_err(|why| Fault::Input(format!("{}: {why}", path.display())))?;
                    (PhotoFile::read_grey(&self.photo), Some(doubt))
                }
                false => (PhotoFile::read(&self.photo), None),
            };
            let PhotoFile { photo, .. } = photo.map_err(Fault::Input)?;
            let task = Task {
                photo: &photo,
                references: &self.neutral,
                sample: &sample,
                mesh,
                frame: self.frame()?,
            };
            let found = look(&task, progress)?;
            let drawn = self.overlay.as_ref().map(|_| drawing(&photo, &found));
            Ok((sample, found, drawn, doubt))
        })?;
        // The drawing helps most where a patch can't be read.
        if let (Some(file), Some((width, height, rgba))) = (&self.overlay, drawn) {
            let image = Image::from_rgba(width as u32, height as u32, rgba);
            let image = image.ok_or_else(|| Fault::system("the overlay has no size"))?;
            write::file(file, |out| {
                image.write_png(out).map_err(std::io::Error::other)
            })?;
        }
        let reading = found.reading.map_err(|why| match (&why, &self.frame) {
            (Refusal::Place(why), None) => in_photo(&format!(
                "{why}\nIf it lies there all the same, say where with --frame (see --help)"
            )),
            (why, _) => in_photo(&why.to_string()),
        })?;
        for warning in doubt.iter().chain(&reading.warnings) {
            console.note(&format!("Warning: {warning}"));
        }
        let found = format!(
            "{}\nface: --frame {}",
            reading.found.join("\n"),
            found.frame
        );
        let rows = Rows::of(&sample, &reading, path).map_err(Fault::Input)?;
        let told = match &rows {
            Rows::Steps { steps, .. } => told(&self.out, steps),
            Rows::Heights(colours) => {
                let (plan, out) = (path.display(), self.out.display());
                format!(
                    "Wrote {} heights into {out}; now run\n  \
                     tintfall lag-fit {plan} {out} --out machine.ron\n",
                    colours.len()
                )
            }
        };
        let text = rows.text(&self.photo, &self.out).map_err(Fault::Input)?;
        write::bytes(&self.out, text.as_bytes())?;
        console.out(&format!("{found}\n{told}"))
    }

    /// Where the person says that the print lies.
    fn frame(&self) -> Result<Option<Frame>, Fault> {
        let Some(corners) = &self.frame else {
            return Ok(None);
        };
        let corners = <[(f64, f64); 4]>::try_from(corners.as_slice());
        corners
            .map(|corners| Some(Frame(corners)))
            .map_err(|_| Fault::Input("--frame takes four corners".to_owned()))
    }

    /// By patches that were typed in.
    fn typed(&self, path: &Path, console: &Console) -> Result<(), Fault> {
        let patches = Patches::from_ron(&text_of(path)?)
            .map_err(|e| Fault::input(e.in_file(&path.display().to_string())))?;
        let table_path = path.parent().unwrap_or(Path::new("")).join(&patches.table);
        let table = table_of(&table_path)?;
        let reading = console.working(|progress| -> Result<_, Fault> {
            progress.stage("Reading the photograph");
            let PhotoFile { photo, .. } = PhotoFile::read(&self.photo).map_err(Fault::Input)?;
            Typed::new(&photo)
                .read(&patches)
                .map_err(|e| Fault::Input(format!("{}: {e}", self.photo.display())))
        })?;
        let text = filled(table, &reading.steps, &self.photo, &table_path, &self.out)
            .map_err(|why| Fault::Input(format!("{}: {why}", path.display())))?;
        write::bytes(&self.out, text.as_bytes())?;
        for warning in &reading.warnings {
            console.note(&format!("Warning: {warning}"));
        }
        console.out(&told(&self.out, &reading.steps))
    }
}

/// The photograph with what was found on it; what could not be placed, by its frame.
fn drawing(photo: &Photo, found: &Look) -> (usize, usize, Vec<u8>) {
    let mut lines = found.lines.clone();
    if matches!(found.reading, Err(Refusal::Place(_))) {
        lines.push(frame_line(&found.frame));
    }
    drawn(photo, &lines)
}

fn table_of(path: &Path) -> Result<Table, Fault> {
    Table::read(&text_of(path)?).map_err(|e| Fault::Input(format!("{}: {e}", path.display())))
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
