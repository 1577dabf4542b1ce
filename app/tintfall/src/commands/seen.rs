//! `tintfall seen`.

use std::path::{Path, PathBuf};

use calibrate::finished::tables::{Joined, by_height, by_region, joined, steady};
use calibrate::finished::{Asked, Expected, FinishedError, InPhoto, Rest};
use calibrate::print_record::taken;
use geometry::Progress;
use photograph::light::Reference;
use photograph::overlay::drawn;
use plan::document::sha256_hex;
use project::models::hash_of;
use project::record::{
    FileHash, MOST_PHOTOGRAPHS, Photograph, PictureOf, RECORD, Record, Summary, found, views,
};
use project::signoff::{Seal, utc};
use project::write;
use render::Image;
use report::seen_sheet::{SeenViews, differences, picture};

use super::read_photo::{enough, read_photo, reference};
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
        default_value_t = 1.0,
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

/// A photograph, what it shows, and the photograph with what was found on it.
struct Shown {
    name: String,
    sha256: String,
    part: InPhoto,
    overlay: Image,
}

impl Args {
    /// Reads them.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        enough(&self.neutral)?;
        if !(self.every.is_finite() && (0.2..=20.0).contains(&self.every)) {
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
        let (worked, shown) = console.working(|progress| -> Result<_, Fault> {
            let worked = Worked::open(&self.plan, progress)?;
            let mut shown = Vec::with_capacity(self.photos.len());
            for (i, path) in self.photos.iter().enumerate() {
                shown.push(self.shown(path, i, &worked, progress)?);
            }
            Ok((worked, shown))
        })?;
        for Shown { name, part, .. } in &shown {
            for warning in &part.warnings {
                console.note(&format!("Warning: {name}: {warning}"));
            }
        }
        let spots: Vec<_> = shown.iter().map(|shown| shown.part.spots.clone()).collect();
        let all = joined(&spots, self.neutral.len());
        let plan = worked.job.painted.plan();
        let mut files = vec![
            ("colours.csv".to_owned(), by_height(&all).into_bytes()),
            ("regions.csv".to_owned(), by_region(&all, plan).into_bytes()),
        ];
        for (i, shown) in shown.iter().enumerate() {
            files.extend(pictures(i + 1, shown, &plan.title)?);
        }
        let record = self.record(&worked, &shown, &all, &files)?;
        let mut folder = write::Folder::new(&self.out)?;
        for (name, bytes) in &files {
            folder.bytes(name, bytes)?;
        }
        let text = record.to_ron().map_err(Fault::system)?;
        folder.bytes(RECORD, text.as_bytes())?;
        folder.commit()?;
        let rows = steady(&all).len();
        console.out(&self.told(&shown, record.summary.as_ref(), rows))
    }

    /// What is kept of it, for programs.
    fn record(
        &self,
        worked: &Worked,
        shown: &[Shown],
        all: &[Joined],
        files: &[(String, Vec<u8>)],
    ) -> Result<Record, Fault> {
        let photographs = shown.iter().map(|shown| Photograph {
            name: shown.name.clone(),
            sha256: shown.sha256.clone(),
        });
        let hashes = files.iter().map(|(name, bytes)| FileHash {
            name: name.clone(),
            sha256: sha256_hex(bytes),
        });
        let plan = worked.job.painted.plan();
        let taken = taken(all, plan, photographs.collect(), &self.neutral, self.every);
        let seal = Seal::of(&worked.job.path, plan).map_err(Fault::input)?;
        Record::new(taken, seal, utc(), hashes.collect()).map_err(Fault::system)
    }

    fn shown(
        &self,
        path: &Path,
        index: usize,
        worked: &Worked,
        progress: &Progress,
    ) -> Result<Shown, Fault> {
        let asked = Asked {
            references: self.neutral.clone(),
            rest: self.lies_on.map_or(Rest::Standing, Side::rest),
            turn_deg: self.turn.get(index).or(self.turn.first()).copied(),
            every_mm: self.every,
        };
        let expected = Expected {
            painted: &worked.job.painted,
            schedule: &worked.schedule,
            printed: &worked.printed,
        };
        progress.stage("Reading the photograph");
        let photo = read_photo(path)?;
        let sha256 = hash_of(path)
            .map_err(|why| Fault::Input(format!("{}: can't be read: {why}", path.display())))?;
        let part = InPhoto::read(&photo, &expected, &asked, progress);
        let part = part.map_err(|error| match error {
            FinishedError::Cancelled(_) => Fault::Cancelled,
            FinishedError::Refused(why) => Fault::Input(format!("{}: {why}", path.display())),
        })?;
        let (width, height, rgba) = drawn(&photo, &part.lines);
        let overlay = Image::from_rgba(width as u32, height as u32, rgba);
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        Ok(Shown {
            name: name.into_owned(),
            sha256,
            overlay: overlay.ok_or_else(|| Fault::system("the overlay has no size"))?,
            part,
        })
    }

    fn told(&self, shown: &[Shown], summary: Option<&Summary>, rows: usize) -> String {
        let mut text = String::new();
        for Shown { name, part, .. } in shown {
            text.push_str(&format!("{name}\n  {}\n", part.found.join("\n  ")));
        }
        if let Some(summary) = summary {
            text.push_str(&format!(
                "Seen against as printed: ΔE00 {:.1} in the mean, {:.1} at {:.1} mm; ± {:.1} by \
                 the camera and the shading.\n",
                summary.mean_de00,
                summary.worst_de00,
                summary.worst_at_mm,
                summary.uncertainty_de00
            ));
        }
        let (plan, out) = (self.plan.display(), self.out.display());
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

/// The pictures of a photograph by its number from 1, in the order of their names.
fn pictures(number: usize, shown: &Shown, title: &str) -> Result<Vec<(String, Vec<u8>)>, Fault> {
    let all = &shown.part.views;
    let (width, height) = (all.width as u32, all.height as u32);
    let image = |rgba: &[u8]| {
        let image = Image::from_rgba(width, height, rgba.to_vec());
        image.ok_or_else(|| Fault::system("a view has no size"))
    };
    let (requested, printed) = (image(&all.requested)?, image(&all.printed)?);
    let seen = image(&all.seen)?;
    let sheet = SeenViews {
        title,
        note: &shown.name,
        requested: &requested,
        printed: &printed,
        seen: &seen,
        off_de00: &all.off_de00,
    };
    let off = differences(&sheet).ok_or_else(|| Fault::system("a view has no size"))?;
    let sheet = picture(&sheet).map_err(Fault::system)?;
    let single = |of: PictureOf| match of {
        PictureOf::Requested => &requested,
        PictureOf::Printed => &printed,
        PictureOf::Seen => &seen,
        PictureOf::Off => &off,
    };
    let single = PictureOf::ALL.map(|of| (of.file(number), single(of)));
    let whole = [(views(number), &sheet), (found(number), &shown.overlay)];
    let png = |(name, image): (String, &Image)| -> Result<_, Fault> {
        let mut bytes = Vec::new();
        image.write_png(&mut bytes).map_err(Fault::system)?;
        Ok((name, bytes))
    };
    whole.into_iter().chain(single).map(png).collect()
}
