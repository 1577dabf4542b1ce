//! `tintfall weave`.

use std::path::{Path, PathBuf};

use project::job::{Job, read_text};
use project::signoff;
use toolpath::{ExtruderMode, Settings};
use weave::dialect::{BUILT_IN, Dialect};
use weave::register::Placement;
use weave::{How, Weave, WeaveError, Woven};

use super::prepare::{not_opened, not_signed, required};
use crate::console::Console;
use crate::fault::Fault;

/// Put a plan's blends into your own sliced toolpath
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall weave lighthouse.plan.ron lighthouse.gcode --out lighthouse-woven.gcode

Slice the same mesh for a single extruder first. Where it stands on the plate, and how often, is
found by itself. Nothing is changed but the blend: no temperature, no place, no plastic. The file
appears when the work is done; `tintfall verify` then reads it back.

Dialects that are built in: slots, ratio-word, move-words. They are written from memory: check
their commands against your firmware's manual. docs/dialects.md shows how to write your own.")]
pub struct Args {
    /// The plan
    plan: PathBuf,
    /// The sliced toolpath (G-code)
    toolpath: PathBuf,
    /// The file to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Write nothing unless the plan is signed and approved as it is
    #[arg(long)]
    require_review: bool,
    #[command(flatten)]
    reading: Reading,
}

/// How the toolpath is to be read.
#[derive(clap::Args)]
pub struct Reading {
    /// A built-in dialect's name or a dialect file
    #[arg(long, default_value = "slots", value_name = "NAME or FILE")]
    pub dialect: String,
    /// Where the part stands, if it can't be found: turn in degrees, shift in x and y in mm. May
    /// be given once for each copy
    #[arg(long, num_args = 3, value_names = ["TURN", "X", "Y"], allow_negative_numbers = true)]
    pub stand: Vec<f64>,
    /// Height of a raft beneath the part, mm; needs --stand
    #[arg(long, default_value_t = 0.0, value_name = "MM", requires = "stand")]
    pub raft: f64,
    /// The firmware takes G90 and G91 for the E axis too
    #[arg(long)]
    pub e_follows: bool,
}

impl Reading {
    /// The dialect, built in or from a file.
    pub fn dialect(&self) -> Result<Dialect, Fault> {
        if let Some(dialect) = Dialect::built_in(&self.dialect) {
            return Ok(dialect);
        }
        let path = Path::new(&self.dialect);
        let named = self.dialect.contains(['.', '/', '\\']) || path.exists();
        if !named {
            let known: Vec<&str> = BUILT_IN.iter().map(|(name, _)| *name).collect();
            let (asked, known) = (&self.dialect, known.join(", "));
            return Err(Fault::input(format!(
                "there is no dialect `{asked}`; built in are {known}, or name a dialect file"
            )));
        }
        let text =
            read_text(path).map_err(|why| Fault::input(format!("{}: {why}", self.dialect)))?;
        Dialect::from_ron(&text).map_err(|error| Fault::input(error.in_file(&self.dialect)))
    }

    /// Where the copies stand, if that is given.
    pub fn stands(&self) -> Vec<Placement> {
        self.stand
            .chunks_exact(3)
            .map(|stand| Placement {
                turn_deg: stand[0],
                shift_mm: [stand[1], stand[2]],
                lift_mm: self.raft,
            })
            .collect()
    }

    /// How to read what toolpaths leave open.
    pub fn settings(&self) -> Settings {
        Settings {
            extruder_mode: match self.e_follows {
                true => ExtruderMode::FollowsDistance,
                false => ExtruderMode::Own,
            },
        }
    }
}

impl Args {
    /// Weaves.
    pub fn run(self, console: &Console) -> Result<(), Fault> {
        let dialect = self.reading.dialect()?;
        let same = |a: &Path, b: &Path| {
            a == b
                || a.canonicalize()
                    .is_ok_and(|a| Some(a) == b.canonicalize().ok())
        };
        if same(&self.toolpath, &self.out) {
            return Err(Fault::input(
                "the toolpath and the file to write are the same; keep the toolpath, and name another file",
            ));
        }
        let woven = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let review = match self.require_review {
                true => required(&job)?,
                false => signoff::standing(&job).map_err(not_signed)?,
            };
            let weave = Weave {
                painted: &job.painted,
                dialect: &dialect,
                settings: self.reading.settings(),
                stands: self.reading.stands(),
                review,
            };
            weave
                .file(&self.toolpath, &self.out, progress)
                .map_err(|error| not_woven(&self.toolpath, error))
        })?;
        for caution in &woven.cautions {
            console.note(&format!("Note: {caution}"));
        }
        console.out(&told(&self.out, &woven))
    }
}

/// A toolpath that can't be woven or read back, as a fault.
pub fn not_woven(toolpath: &Path, error: WeaveError) -> Fault {
    match error {
        WeaveError::Cancelled(_)
        | WeaveError::Register(weave::register::RegisterError::Cancelled(_)) => Fault::Stopped,
        WeaveError::Write(error) => error.into(),
        WeaveError::Output(error) => Fault::system(error),
        error => Fault::Input(format!("{}: {error}", toolpath.display())),
    }
}

fn told(out: &Path, woven: &Woven) -> String {
    let mut text = format!("Wrote {}\n", out.display());
    for (i, stand) in woven.registered.stands.iter().enumerate() {
        let [x, y] = stand.placement.shift_mm;
        text.push_str(&format!(
            "  copy {}: turned {:.1}°, shifted {x:.2}, {y:.2} mm; outline followed within {:.3} mm\n",
            i + 1,
            // Not "-0.0".
            (stand.placement.turn_deg * 10.0).round() / 10.0 + 0.0,
            stand.residual_mm
        ));
    }
    let emitted = &woven.emitted;
    text.push_str(&format!(
        "{} blend changes put in, {} of {} moves cut for them\n",
        emitted.changes, emitted.cuts, woven.printing_moves
    ));
    if emitted.whole > 0 {
        text.push_str(&format!(
            "{} moves could not be cut; their change stands before them\n",
            emitted.whole
        ));
    }
    text.push_str(match woven.how {
        How::Plain => "Each change stands where its blend begins\n",
        How::Shifted => "Changes are sent ahead of their place by what the melt chamber lags\n",
        How::Sharpened => {
            "Changes are sent ahead of their place, and fed beyond their blend where that helps\n"
        }
    });
    text.push_str(
        "Check it with `tintfall verify`, and read `tintfall cautions` before you print.\n",
    );
    text
}
