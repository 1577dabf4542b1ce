//! `tintfall weave`.

use std::path::{Path, PathBuf};

use project::job::Job;
use project::signoff::{self, Standing};
use toolpath::{ExtruderMode, Settings};
use weave::arrange::{Arrange, Arranged, PlacedBlock, Purge};
use weave::compare::Comparison;
use weave::dialect::Dialect;
use weave::register::Placement;
use weave::{How, Source, Weave, WeaveError, Woven};

use super::compare::{self, shares};
use super::dialect::DialectArgs;
use super::prepare::{not_opened, not_signed, required};
use crate::console::Console;
use crate::fault::Fault;

/// Add a plan's blend commands to your own sliced toolpath
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall weave lighthouse.plan.ron lighthouse.gcode --out lighthouse-woven.gcode

First slice the same mesh for a single extruder. Tintfall finds the part and its copies on the plate.
Where regions share layers, runs change places within their layer. What the part can't hide of a
change is purged into a block beside it; `--purge stay` moves nothing. No temperature is set. The
file appears when it is complete; then check it with `tintfall verify`.

Built-in dialects: slots and move-words, and ratio-word with your firmware's own command
(--line). They are written from memory: check their commands in your firmware's manual.
docs/dialects.md shows how to write your own.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The sliced toolpath (G-code)
    toolpath: PathBuf,
    /// The file to write
    #[arg(long, value_name = "FILE", required_unless_present = "compare")]
    out: Option<PathBuf>,
    /// Write no file: list ways to weave, with grams, minutes and colours, the recommended one first
    #[arg(long, conflicts_with = "out")]
    compare: bool,
    /// With --compare: write the list to standard output as JSON
    #[arg(long, requires = "compare")]
    json: bool,
    /// Where to purge between two blends of a layer
    #[arg(long, value_enum, default_value_t = Room::Block)]
    purge: Room,
    /// How far a blend may be off when its region begins, ΔE00; by default what the machine allows
    #[arg(long, value_name = "DE00")]
    allow: Option<f64>,
    /// The purge block's corner of lowest X and Y, mm; by default a free place
    #[arg(long, num_args = 2, value_names = ["X", "Y"], allow_negative_numbers = true)]
    block_at: Vec<f64>,
    /// Size of the bed from its origin, mm; the purge block stays on it
    #[arg(long, num_args = 2, value_names = ["WIDTH", "DEPTH"])]
    bed: Vec<f64>,
    /// Write nothing unless the plan is signed and approved as it is
    #[arg(long)]
    require_review: bool,
    #[command(flatten)]
    reading: Reading,
}

/// Where purged plastic goes.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Room {
    /// Nowhere: no move changes places
    Stay,
    /// Into plastic of the part that nobody sees; moves change places within their layer
    Inside,
    /// The same, and the rest into a block beside the part
    Block,
}

/// How to read the toolpath.
#[derive(clap::Args)]
pub(super) struct Reading {
    #[command(flatten)]
    pub dialect: DialectArgs,
    /// Place of the part, if it can't be found: rotation in degrees, shift in x and y in mm. Give
    /// it once for each copy
    #[arg(long, num_args = 3, value_names = ["TURN", "X", "Y"], allow_negative_numbers = true)]
    pub stand: Vec<f64>,
    /// Height of a raft under the part, mm; needs --stand
    #[arg(long, default_value_t = 0.0, value_name = "MM", requires = "stand")]
    pub raft: f64,
    /// The firmware takes G90 and G91 for the E axis too
    #[arg(long)]
    pub e_follows: bool,
}

impl Reading {
    /// Places of the copies, if given.
    pub(super) fn stands(&self) -> Vec<Placement> {
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
    pub(super) fn settings(&self) -> Settings {
        settings(self.e_follows)
    }
}

impl Args {
    /// How runs may change places.
    fn arrange(&self) -> Result<Arrange, Fault> {
        let pair = |given: &[f64], what: &str| match given {
            [] => Ok(None),
            [a, b] if a.abs() <= 1e4 && b.abs() <= 1e4 => Ok(Some([*a, *b])),
            _ => Err(Fault::input(format!(
                "{what} must be two lengths in mm of no more than 10 m"
            ))),
        };
        if let Some(allow) = self.allow
            && !(0.1..=50.0).contains(&allow)
        {
            return Err(Fault::input("--allow must be a ΔE00 from 0.1 to 50"));
        }
        Ok(Arrange {
            purge: match self.purge {
                Room::Stay => Purge::Stay,
                Room::Inside => Purge::Inside,
                Room::Block => Purge::Block,
            },
            allow_de00: self.allow,
            block_at_mm: pair(&self.block_at, "--block-at")?,
            bed_mm: pair(&self.bed, "--bed")?,
        })
    }

    /// Weaves.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let dialect = self.reading.dialect.read()?;
        let Some(out) = &self.out else {
            return self.compared(&dialect, console);
        };
        let same = |a: &Path, b: &Path| {
            a == b
                || a.canonicalize()
                    .is_ok_and(|a| Some(a) == b.canonicalize().ok())
        };
        if same(&self.toolpath, out) {
            return Err(Fault::input(
                "--out is the toolpath itself; keep it, and name another file",
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
                arrange: self.arrange()?,
                review,
            };
            weave
                .file(&self.toolpath, out, progress)
                .map_err(|error| not_woven(&self.toolpath, error))
        })?;
        for caution in &woven.cautions {
            console.note(&format!("Note: {caution}"));
        }
        console.out(&told(out, &woven))
    }

    /// Lists ways to weave.
    fn compared(&self, dialect: &Dialect, console: &Console) -> Result<(), Fault> {
        let found = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let weave = Weave {
                painted: &job.painted,
                dialect,
                settings: self.reading.settings(),
                stands: self.reading.stands(),
                arrange: self.arrange()?,
                review: Standing::not_reviewed(),
            };
            Source::with_file(&self.toolpath, |source| {
                Comparison::of(&weave, source, progress)
            })
            .flatten()
            .map_err(|error| not_woven(&self.toolpath, error))
        })?;
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&found).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&compare::table(&found)),
        }
    }
}

/// A toolpath that can't be woven or read back, as a fault.
pub(super) fn not_woven(toolpath: &Path, error: WeaveError) -> Fault {
    match error {
        WeaveError::Cancelled(_)
        | WeaveError::Register(weave::register::RegisterError::Cancelled(_)) => Fault::Cancelled,
        WeaveError::Write(error) => error.into(),
        WeaveError::Output(error) => Fault::system(error),
        error => Fault::Input(format!("{}: {error}", toolpath.display())),
    }
}

/// What was reordered.
fn moved(arranged: &Arranged) -> String {
    let mut text = format!(
        "{} layers reordered, {} moves cut where regions end\n\
         Changes of blend need {:.0} mm³ of purge; {:.0} mm³ of it is hidden in the part\n",
        arranged.reordered, arranged.cuts, arranged.needed_mm3, arranged.hidden_mm3
    );
    for PlacedBlock { block, levels } in &arranged.blocks {
        let [x, y] = block.low_mm;
        let volume_mm3: f64 = levels.iter().map(|level| level.volume_mm3).sum();
        text.push_str(&format!(
            "Purge block: {:.1} mm square at x {x:.1}, y {y:.1} mm, {:.1} mm high, {volume_mm3:.0} \
             mm³, {:.1} g\n",
            block.side_mm,
            block.top_mm,
            arranged.block_g * volume_mm3 / arranged.block_mm3.max(1e-9)
        ));
    }
    if !arranged.blocks.is_empty() {
        let grams = |mm3: f64| arranged.block_g * mm3 / arranged.block_mm3.max(1e-9);
        for purged in &arranged.purges {
            text.push_str(&format!(
                "  {:3} × {} to {}: {:.1} g, {:.1} g more hidden in the part; off by ΔE00 {:.1} where \
                 it begins\n",
                purged.count,
                shares(&purged.from),
                shares(&purged.to),
                grams(purged.block_mm3),
                grams(purged.hidden_mm3),
                purged.off_de00
            ));
        }
        text.push_str(&format!(
            "  Lower bound for this much to be seen: {:.1} g, which the changes need. {:.1} g is there for \
             the block to stand\n",
            grams(arranged.least_mm3),
            grams(arranged.standing_mm3)
        ));
    }
    text
}

fn told(out: &Path, woven: &Woven) -> String {
    let mut text = format!("Wrote {}\n", out.display());
    for (i, stand) in woven.registered.stands.iter().enumerate() {
        let [x, y] = stand.placement.shift_mm;
        text.push_str(&format!(
            "  copy {}: turned {:.1}°, shifted {x:.2}, {y:.2} mm{}; fits the outline within {:.3} \
             mm\n",
            i + 1,
            // Not "-0.0".
            (stand.placement.turn_deg * 10.0).round() / 10.0 + 0.0,
            match stand.placement.lift_mm {
                0.0 => String::new(),
                lift_mm => format!(", on a raft of {lift_mm:.2} mm"),
            },
            stand.residual_mm
        ));
    }
    if let Some(arranged) = &woven.arranged {
        text.push_str(&moved(arranged));
    }
    let emitted = &woven.emitted;
    text.push_str(&format!(
        "{} blend changes added, {} of {} moves cut for them\n",
        emitted.changes, emitted.cuts, woven.printing_moves
    ));
    if emitted.whole > 0 {
        text.push_str(&format!(
            "{} moves could not be cut; their change comes before them\n",
            emitted.whole
        ));
    }
    text.push_str(match woven.how {
        How::Plain => "Each change is where its blend begins\n",
        How::Shifted => "Changes are sent ahead of their place by the lag of the melt chamber\n",
        How::Sharpened => {
            "Changes are sent ahead of their place, and overshoot their blend where that helps\n"
        }
    });
    text.push_str(
        "Check it with `tintfall verify`, and read `tintfall cautions` before you print.\n",
    );
    text
}

/// How to read what toolpaths leave open, given whether G90 and G91 count for the E axis too.
pub(super) fn settings(e_follows: bool) -> Settings {
    Settings {
        extruder_mode: match e_follows {
            true => ExtruderMode::FollowsDistance,
            false => ExtruderMode::Own,
        },
    }
}
