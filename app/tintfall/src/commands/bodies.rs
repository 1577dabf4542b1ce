//! `tintfall bodies`.

use std::path::{Path, PathBuf};

use bodies::{BodiesError, Depth, Inside, MOST_TOOLS, Options};
use package::bodies::{BodyFilesError, BodyPlan, MadeBodies};
use package::scheduled;
use plan::AsPrinted;
use project::job::Job;
use project::signoff;
use project::write::Folder;

use super::dialect::DialectArgs;
use super::prepare::{not_opened, not_prepared, not_signed};
use crate::console::Console;
use crate::fault::Fault;

/// Cut the part into closed bodies, one for each blend to store as a tool
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall bodies lighthouse.plan.ron --out lighthouse-bodies
  tintfall bodies cup.plan.ron --tools 6 --inside largest --out cup-bodies

For print steps that take parts with several tools and purge by themselves. Bands go right through;
painted areas reach as deep as the plan's skin_mm, or --depth. The bodies share their walls exactly.
tools.html says which blends to store, and has the lines for your start script.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The folder to write into; created if it does not exist
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// How deep painted areas reach, by default the plan's skin_mm; or `through`: to the middle
    /// between facing sides
    #[arg(long, value_name = "MM|through", value_parser = depth, allow_hyphen_values = true)]
    depth: Option<Depth>,
    /// The blend inside, below painted areas
    #[arg(long, value_enum, default_value = "levels")]
    inside: InsideWord,
    /// How many blends are stored; by default what the machine file says, or 8
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=MOST_TOOLS as i64))]
    tools: Option<u16>,
    /// Merge bodies thinner than a line of the nozzle into their neighbours
    #[arg(long)]
    merge_thin: bool,
    #[command(flatten)]
    dialect: DialectArgs,
    /// Write the summary to standard output as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum InsideWord {
    /// The blend of its height: bands and level fades go right through
    Levels,
    /// One blend, the one that most of the skin has
    Largest,
}

/// A depth as it is written on the command line.
fn depth(text: &str) -> Result<Depth, String> {
    if text == "through" {
        return Ok(Depth::Through);
    }
    let depth_mm = text.trim_end_matches("mm").trim().parse::<f64>();
    match depth_mm {
        Ok(depth_mm) if depth_mm.is_finite() && depth_mm > 0.0 => Ok(Depth::Stated(depth_mm)),
        _ => Err("write a number of mm above 0, or `through`".to_owned()),
    }
}

impl Args {
    /// Cuts and writes.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let dialect = self.dialect.read()?;
        let options = Options {
            tools: self.tools.map(usize::from),
            depth: self.depth.unwrap_or_default(),
            inside: match self.inside {
                InsideWord::Levels => Inside::Levels,
                InsideWord::Largest => Inside::Largest,
            },
            merge_thin: self.merge_thin,
        };
        let made = console.working(|progress| -> Result<_, Fault> {
            // Begun first: a folder that can't be written to should not cost the wait.
            let mut folder = Folder::new(&self.out)?;
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let standing = signoff::standing(&job).map_err(not_signed)?;
            let schedule = scheduled(&job, None, &standing, progress)
                .map_err(|error| not_prepared(&self.plan, error))?;
            let painted = &job.painted;
            let printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, progress)
                .map_err(|_| Fault::Cancelled)?;
            let plan = BodyPlan {
                job: &job,
                schedule: &schedule,
                printed: Some(&printed),
                options,
                dialect: &dialect,
            };
            let made = plan.files(progress).map_err(|e| not_made(&self.plan, e))?;
            for (name, _, content) in &made.files {
                folder.bytes(name, content)?;
            }
            folder.commit()?;
            Ok((made, job.told()))
        })?;
        let (made, told_of_mesh) = made;
        for note in told_of_mesh.iter().chain(&made.summary.notes) {
            console.note(&format!("Note: {note}"));
        }
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&made.summary).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&self.out, &made)),
        }
    }
}

fn not_made(plan: &Path, error: BodyFilesError) -> Fault {
    match error {
        BodyFilesError::Bodies(BodiesError::Cancelled(_)) => Fault::Cancelled,
        error @ BodyFilesError::Content { .. } => Fault::system(error),
        error => Fault::Input(format!("{}: {error}", plan.display())),
    }
}

fn told(out: &Path, made: &MadeBodies) -> String {
    let summary = &made.summary;
    let mut text = format!("Wrote into {}\n", out.display());
    for (name, what, _) in &made.files {
        text.push_str(&format!("  {name:28}{what}\n"));
    }
    text.push_str("Tools to store\n");
    for tool in &summary.tools {
        let shares: Vec<String> = tool
            .shares
            .iter()
            .map(|s| format!("{:.1}", s * 100.0))
            .collect();
        text.push_str(&format!(
            "  {:>3}  {:>18} %  {}  {:>7.1} g  {}\n",
            tool.number,
            shares.join(" / "),
            tool.colour,
            tool.mass_g,
            tool.name
        ));
    }
    let purge = &summary.purge;
    let changes: usize = purge.changes.iter().sum();
    text.push_str(&format!(
        "Off the requested colours: mean ΔE00 {:.1}, 95 % of the area within {:.1}\n\
         {changes} changes of tool; a tower takes {:.1} g\n\
         Check the lines in start-lines.txt in your firmware's manual.\n\
         Read `tintfall cautions` before you print.\n",
        summary.fit.mean_de00, summary.fit.p95_de00, purge.mass_g
    ));
    text
}
