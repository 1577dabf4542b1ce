//! `tintfall seen`.

use std::path::PathBuf;

use calibrate::finished::reading::{EVERY_MM, Order, Reading, Shot, Shown, USUAL_EVERY_MM};
use calibrate::finished::{Expected, FinishedError, Rest};
use geometry::Progress;
use package::print_record::{PrintRecord, PrintRecordError};
use photograph::light::Reference;
use project::record::MOST_PHOTOGRAPHS;
use project::signoff::Seal;

use super::read_photo::{enough, reference};
use super::watch::Worked;
use crate::console::Console;
use crate::fault::Fault;

/// Read the colours of a finished part from photographs of it on the photograph card
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall seen lamp-shade.plan.ron photo.jpg --neutral A=0.9 --neutral B=0.18 --neutral C=0.04 \
--out seen
  tintfall trace lamp-shade.plan.ron seen/colours.csv
  tintfall prepare lamp-shade.plan.ron --record seen --out lamp-shade

Stand the part as it was printed on the upper end of the card that `tintfall card` writes, or behind
it, and photograph it from the card's lower end, half from above, with all of card and part in view.
References lie on A, B and C as for read-photo. Photographs from several sides are joined.

Into the folder go colours.csv (by height and region, for trace and lag-fit), regions.csv (the same
beside what was requested and what should have come out), and for each photograph a sheet of views
and the photograph with what was found drawn on it. Look at both. record.ron says what was read of
which photographs and of which state of the plan. With it the folder is the record of the print:
`prepare` and `handoff` take it along with --record.

A colorimeter is better: expect errors of a few ΔE00 from a photograph.")]
pub(crate) struct Args {
    /// The plan that was printed
    plan: PathBuf,
    /// Photographs of the part: JPEG or PNG
    #[arg(required = true)]
    photos: Vec<PathBuf>,
    /// A neutral reference on the card: its place A, B or C, and its reflectance from 0.02 to 1
    #[arg(long, value_name = "PLACE=SHARE", value_parser = reference)]
    neutral: Vec<Reference>,
    /// The side that the part lies on, where it does not stand as it was printed
    #[arg(long, value_name = "SIDE")]
    lies_on: Option<Side>,
    /// About how the part is turned, degrees counter-clockwise from above; 0 with its front towards
    /// the card's lower edge. Needed where the outline does not tell; one for each photograph, or
    /// one for all
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    turn: Vec<f64>,
    /// Height that is read together, mm
    #[arg(
        long,
        value_name = "MM",
        default_value_t = USUAL_EVERY_MM,
        allow_negative_numbers = true
    )]
    every: f64,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

/// A side that a part lies on.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Side {
    /// Its back
    Back,
    /// Its front
    Front,
    /// Its left side
    Left,
    /// Its right side
    Right,
    /// Its top
    Top,
}

impl Side {
    fn rest(self) -> Rest {
        match self {
            Self::Back => Rest::Back,
            Self::Front => Rest::Front,
            Self::Left => Rest::Left,
            Self::Right => Rest::Right,
            Self::Top => Rest::Top,
        }
    }
}

impl Args {
    /// Reads them.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        enough(&self.neutral)?;
        if !(self.every.is_finite() && EVERY_MM.contains(&self.every)) {
            return Err(Fault::Input(format!(
                "--every {}: give a height from 0.2 to 20 mm, such as 1",
                self.every
            )));
        }
        if self.turn.len() > 1 && self.turn.len() != self.photos.len() {
            return Err(Fault::Input(format!(
                "--turn is given {} times for {} photographs; give it once for all, or once for \
                 each in their order",
                self.turn.len(),
                self.photos.len()
            )));
        }
        if self.photos.len() > MOST_PHOTOGRAPHS {
            return Err(Fault::Input(format!(
                "{} photographs: a record holds {MOST_PHOTOGRAPHS} at most; read the others into a \
                 folder of their own",
                self.photos.len()
            )));
        }
        let (worked, reading) = console.working(|progress| -> Result<_, Fault> {
            let worked = Worked::open(&self.plan, progress)?;
            let reading = self.reading(&worked, progress)?;
            Ok((worked, reading))
        })?;
        for Shown { name, part, .. } in &reading.shown {
            for warning in &part.warnings {
                console.note(&format!("Warning: {name}: {warning}"));
            }
        }
        let record = console.working(|progress| -> Result<_, Fault> {
            let plan = worked.job.painted.plan();
            let seal = Seal::of(&worked.job.path, plan).map_err(Fault::input)?;
            let record = PrintRecord::new(&reading, plan, seal, progress).map_err(not_written)?;
            record.write(&self.out).map_err(not_written)?;
            Ok(record)
        })?;
        console.out(&self.told(&reading, &record))
    }

    fn reading(&self, worked: &Worked, progress: &Progress) -> Result<Reading, Fault> {
        let shots = self.photos.iter().enumerate().map(|(i, file)| Shot {
            file: file.clone(),
            turn_deg: self.turn.get(i).or(self.turn.first()).copied(),
        });
        let order = Order {
            shots: shots.collect(),
            references: self.neutral.clone(),
            rest: self.lies_on.map_or(Rest::Standing, Side::rest),
            every_mm: self.every,
        };
        let expected = Expected {
            painted: &worked.job.painted,
            schedule: &worked.schedule,
            printed: &worked.printed,
        };
        Reading::of(order, &expected, progress).map_err(|error| match error {
            FinishedError::Cancelled(_) => Fault::Cancelled,
            FinishedError::Refused(why) => Fault::Input(why),
        })
    }

    fn told(&self, reading: &Reading, record: &PrintRecord) -> String {
        let mut text = String::new();
        for Shown { name, part, .. } in &reading.shown {
            text.push_str(&format!("{name}\n  {}\n", part.found.join("\n  ")));
        }
        if let Some(told) = record.told() {
            text.push_str(&format!("{told}\n"));
        }
        let (plan, out) = (self.plan.display(), self.out.display());
        let rows = reading.steady_heights();
        text.push_str(&format!(
            "Wrote into {out}\n  \
             colours.csv   {rows} heights of regions, for trace\n  \
             regions.csv   all regions by height, beside what should have come out\n  \
             views-N.png   requested, as printed, seen, and where they differ\n  \
             found-N.png   each photograph with what was found; look at it\n  \
             record.ron    all of it for programs, with the hashes of plan and photographs\n\
             To look for a cause, run\n  \
             tintfall trace {plan} {out}/colours.csv\n\
             To show it on the review page, run\n  \
             tintfall prepare {plan} --record {out} --out DIR\n"
        ));
        text
    }
}

fn not_written(error: PrintRecordError) -> Fault {
    match error {
        PrintRecordError::Cancelled(_) => Fault::Cancelled,
        error => Fault::system(error),
    }
}
