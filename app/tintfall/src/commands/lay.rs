//! `tintfall lay`.

use std::path::PathBuf;

use colours::FlatChoice;
use geometry::imprint::{Covers, Laid, Loaded, Picture};
use geometry::{DVec3, Progress};
use plan::Plan;
use project::flat::{FlatRegions, blends_for, regions_of};
use project::job::{load_pictures_with, read_plan_alone};
use project::write;

use super::chosen::{self, Number, Report, number};
use super::new_colours::{NearestBy, length_mm};
use crate::causes::not_opened;
use crate::console::Console;
use crate::fault::Fault;
use crate::part::{from_folder_of, stem};

/// Lay a picture's colours on a part: a region for each of a few blends
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall lay cup.plan.ron badge.png --width 18 --at 0,-24,30 --along 0,1,0 --depth 3
  tintfall lay cup.plan.ron label.svg --width 60 --at 0,-24,30 --round --depth 1 --colours 4

The blends are chosen whose mean difference from the picture's colours is least, by CIEDE2000 and by
area. The regions go on top of the plan's, and the plan is written again. What is clear in the
picture is in none of them. See docs/pictures.md.")]
pub(crate) struct Args {
    /// The plan to add the regions to
    plan: PathBuf,
    /// The picture: PNG, JPEG or SVG. It stays where it is
    picture: PathBuf,
    /// How many blends; auto takes the first number after which no further blend is worth half a
    /// ΔE00 of the mean
    #[arg(long, value_name = "N", value_parser = number, default_value = "auto")]
    colours: Number,
    /// What counts where the spools can't make a colour: the blend of least difference, or one
    /// that is as light
    #[arg(long, value_enum, default_value = "difference")]
    nearest: NearestBy,
    /// The picture's width, mm; its height follows
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    width: f64,
    /// Where its middle falls, mm
    #[arg(long, value_name = "X,Y,Z", value_parser = vector, allow_hyphen_values = true)]
    at: DVec3,
    /// The direction in which you look at it, such as 0,1,0 from the front
    #[arg(
        long,
        value_name = "X,Y,Z",
        value_parser = vector,
        allow_hyphen_values = true,
        required_unless_present_any = ["round", "on_skin"],
        conflicts_with = "round"
    )]
    along: Option<DVec3>,
    /// Wrap it round the upright axis through x = 0, y = 0, as a label round a bottle
    #[arg(long)]
    round: bool,
    /// Lay it on the skin as a sticker; with --along, its top is as you see it from there
    #[arg(long, conflicts_with = "round")]
    on_skin: bool,
    /// How far before and behind its middle it takes, mm: less than the part is thick
    #[arg(long, value_name = "MM", value_parser = length_mm)]
    depth: f64,
    /// Turn it anticlockwise, degrees
    #[arg(
        long,
        value_name = "DEGREES",
        default_value_t = 0.0,
        allow_negative_numbers = true
    )]
    turn: f64,
    /// Swap left and right, before it is turned
    #[arg(long)]
    mirror: bool,
    /// Write the table as JSON instead of text
    #[arg(long)]
    json: bool,
}

fn vector(text: &str) -> Result<DVec3, String> {
    let numbers = text.split(',').map(|part| part.trim().parse::<f64>());
    let numbers: Vec<f64> = numbers.filter_map(Result::ok).collect();
    match (numbers.as_slice(), text.matches(',').count()) {
        (&[x, y, z], 2) if x.is_finite() && y.is_finite() && z.is_finite() => {
            Ok(DVec3::new(x, y, z))
        }
        _ => Err("give three numbers with commas between them, such as 0,-24,30".to_owned()),
    }
}

impl Args {
    /// Adds the regions, and tells what they are.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let (plan, choice, found) = console.working(|progress| self.laid(progress))?;
        let text = plan.to_ron().map_err(Fault::system)?;
        write::file(&self.plan, |out| out.write_all(text.as_bytes()))?;
        self.tell(console, &plan, &choice, &found)
    }

    /// The plan with the regions on top.
    fn laid(&self, progress: &Progress) -> Result<(Plan, FlatChoice, FlatRegions), Fault> {
        let mut plan = read_plan_alone(&self.plan).map_err(not_opened)?;
        let picture = self.as_named()?;
        let most = self.colours.rows();
        let (of, by) = ((&plan, self.plan.as_path()), self.nearest.into());
        let choice = blends_for(&picture, of, by, most, progress).map_err(not_opened)?;
        let (blends, name) = (self.count(&choice), stem(&self.picture));
        let found = regions_of(&choice, blends, (&picture, name.as_str()), of, progress);
        let found = found.map_err(not_opened)?;
        plan.regions.extend(found.regions.iter().cloned());
        let problems = plan.problems();
        if let Some(problem) = problems.first() {
            let path = self.plan.display();
            return Err(Fault::Input(format!("{path}: {}", problem.what)));
        }
        // Nothing is written that could not be read again.
        load_pictures_with(&mut plan.clone(), &self.plan, progress).map_err(not_opened)?;
        Ok((plan, choice, found))
    }

    /// The picture as the plan names and lays it.
    fn as_named(&self) -> Result<Picture, Fault> {
        let (at_mm, depth_mm) = (self.at, self.depth);
        let laid = match self.along {
            along if self.on_skin => Laid::OnSkin {
                at_mm,
                along,
                depth_mm,
            },
            Some(along) => Laid::Projected {
                at_mm,
                along,
                depth_mm,
            },
            None => Laid::Wrapped {
                at_mm,
                through_mm: DVec3::ZERO,
                axis: DVec3::Z,
                depth_mm,
            },
        };
        Ok(Picture {
            file: from_folder_of(&self.plan, &self.picture)?,
            sha256: None,
            laid,
            width_mm: self.width,
            turn_deg: self.turn,
            mirror: self.mirror,
            covers: Covers::Frame,
            threshold: 0.5,
            content: Loaded::default(),
        })
    }

    /// How many blends are taken.
    fn count(&self, choice: &FlatChoice) -> usize {
        self.colours.taken(choice.most(), choice.recommended)
    }

    fn tell(
        &self,
        console: &Console,
        plan: &Plan,
        choice: &FlatChoice,
        found: &FlatRegions,
    ) -> Result<(), Fault> {
        if let Number::Of(asked) = self.colours
            && asked > choice.most()
        {
            let most = choice.most();
            console.note(&format!("{asked} blends are no better than {most}."));
        }
        if found.left_out > 0 {
            console.note(&format!(
                "{} of the blends are nearest to nothing but lines of one pixel, such as soft \
                 edges. They got no region.",
                found.left_out
            ));
        }
        let regions = chosen::regions_of(&found.regions, plan.model().as_ref());
        if self.json {
            let report = Report {
                plan: self.plan.display().to_string(),
                blends: found.regions.len(),
                recommended: choice.recommended,
                rows: &choice.rows,
                regions,
            };
            return report.write(console);
        }
        let mut text = self.table(choice);
        text.push_str(&chosen::lines_of(&regions));
        let path = self.plan.display();
        text.push_str(&format!(
            "\nWrote {path}\nTo see it, run\n  tintfall prepare {path} --out {}\n",
            stem(&self.picture)
        ));
        console.out(&text)
    }

    fn table(&self, choice: &FlatChoice) -> String {
        let mut text = String::from("  Blends  Mean ΔE00\n");
        let taken = self.count(choice);
        for row in &choice.rows {
            let mark = chosen::mark(row.blends, taken, choice.recommended);
            let line = format!("  {:>6}  {:>9.2}  {mark}", row.blends, row.mean_de00);
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text.push('\n');
        text
    }
}
