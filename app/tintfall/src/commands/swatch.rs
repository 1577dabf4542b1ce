//! `tintfall swatch`.

use std::path::{Path, PathBuf};

use blend::Spool;
use calibrate::patches::{Card, Patches, StepRow};
use calibrate::{Header, Options, PartError, Row, Table, TestPart, guide};
use package::{PrepareError, Summary, prepare};
use plan::{Machine, SpoolSet};
use project::job::Job;
use project::text_file::read_text;
use project::write::Folder;

use super::prepare::not_opened;
use crate::console::Console;
use crate::fault::Fault;

/// Write a test print for a set of spools: the part, its plan and schedule, and a table to fill in
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall swatch spools.ron --out swatch
  (print it, measure it, fill in swatch/measured.csv)
  tintfall fit swatch/measured.csv --out pair.ron

SPOOLS is a file with a version and the list of spools as in a plan:
  (version: 1, spools: [
      (name: \"Sail white\", colour: Hex(\"#f2efe6\")),
      (name: \"Deep water\", colour: Hex(\"#14507a\")),
  ])")]
pub(crate) struct Args {
    /// The file of spools
    spools: PathBuf,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The machine file, if the defaults don't suit your hotend
    #[arg(long, value_name = "FILE")]
    machine: Option<PathBuf>,
    /// Steps that mix each pair of spools; 9 for two spools, 5 for more
    #[arg(long, value_name = "COUNT")]
    between: Option<usize>,
    /// The tallest part that fits the printer, mm
    #[arg(long, value_name = "MM", default_value_t = 200.0)]
    tallest: f64,
}

impl Args {
    /// Writes the test print.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let spools = read_spools(&self.spools)?;
        let machine = match &self.machine {
            Some(path) => {
                let text = text_of(path)?;
                Machine::from_ron(&text)
                    .map_err(|e| Fault::input(e.in_file(&path.display().to_string())))?
            }
            None => Machine::default(),
        };
        let mut options = Options::for_spools(spools.len());
        options.tallest_mm = self.tallest;
        options.between = self.between.unwrap_or(options.between);
        let bars = TestPart::all(&spools, &machine, &options, |bar, bars| {
            format!("{}.stl", bar_name(bar, bars))
        })
        .map_err(|error| match error {
            PartError::Mesh(_) => Fault::system(error),
            error => Fault::input(error),
        })?;
        let count = bars.len();
        let bars: Vec<(String, TestPart)> = bars
            .into_iter()
            .enumerate()
            .map(|(i, bar)| (bar_name(i, count), bar))
            .collect();
        write_all(&self.out, &spools, &bars)?;
        let mut cost = Cost::default();
        for (name, _) in &bars {
            cost.add(&console.working(|progress| -> Result<_, Fault> {
                let plan = self.out.join(format!("{name}.plan.ron"));
                let job = Job::open(&plan, progress).map_err(not_opened)?;
                let out = self.out.join(name);
                let prepared = prepare(&job, &out, progress).map_err(|error| match error {
                    PrepareError::Cancelled(_) => Fault::Cancelled,
                    error => Fault::system(error),
                })?;
                Ok(Cost::of(&prepared.summary, &machine))
            })?);
        }
        console.out(&told(&self.out, &bars, &cost))
    }
}

/// What the bars cost to print, by their plans.
#[derive(Default)]
struct Cost {
    mass_g: f64,
    minutes: f64,
}

impl Cost {
    fn of(summary: &Summary, machine: &Machine) -> Self {
        let totals = &summary.totals;
        Self {
            mass_g: totals.spools.iter().map(|s| s.mass_g).sum(),
            minutes: machine.minutes(totals.volume_mm3),
        }
    }

    fn add(&mut self, other: &Self) {
        self.mass_g += other.mass_g;
        self.minutes += other.minutes;
    }

    fn line(&self) -> String {
        format!(
            "It takes about {:.0} g of plastic and {:.1} h, at the machine's usual flow and \
             without travel moves.\n",
            self.mass_g,
            self.minutes / 60.0,
        )
    }
}

/// Reads a file of spools.
pub(super) fn read_spools(path: &Path) -> Result<SpoolSet, Fault> {
    calibrate::read_spools(path).map_err(not_opened)
}

/// A text file whole.
pub(super) fn text_of(path: &Path) -> Result<String, Fault> {
    read_text(path).map_err(|why| Fault::Input(format!("{}: {why}", path.display())))
}

fn bar_name(bar: usize, bars: usize) -> String {
    match bars {
        1 => "swatch".to_owned(),
        _ => format!("swatch-{}", bar + 1),
    }
}

/// Everything but what `prepare` makes.
fn write_all(folder: &Path, spools: &SpoolSet, bars: &[(String, TestPart)]) -> Result<(), Fault> {
    let table = folder.join("measured.csv");
    // Readings are work that nobody wants to do twice.
    if table.exists() && Table::read(&text_of(&table)?).is_ok_and(|t| has_readings(&t)) {
        return Err(Fault::Input(format!(
            "{}: this table has readings in it; choose another folder, or move the table",
            table.display()
        )));
    }
    let mut set = Folder::new(folder)?;
    for (name, bar) in bars {
        set.file(&format!("{name}.stl"), |out| {
            out.write_all(&geometry::read::mesh_to_stl(&bar.mesh))
        })?;
        let plan = bar.plan.to_ron().map_err(Fault::system)?;
        set.bytes(&format!("{name}.plan.ron"), plan.as_bytes())?;
    }
    let text = spools.to_ron().map_err(Fault::system)?;
    set.bytes("spools.ron", text.as_bytes())?;
    let text = empty_table(bars).write().map_err(Fault::system)?;
    set.bytes("measured.csv", text.as_bytes())?;
    let text = patches(bars).to_ron().map_err(Fault::system)?;
    set.bytes("patches.ron", text.as_bytes())?;
    set.bytes("how-to-measure.txt", page(spools, bars).as_bytes())?;
    set.commit()?;
    Ok(())
}

fn page(spools: &[Spool], bars: &[(String, TestPart)]) -> String {
    guide::text(spools, bars)
}

fn has_readings(table: &Table) -> bool {
    table.rows.iter().any(|row| row.reading.is_some())
}

fn empty_table(bars: &[(String, TestPart)]) -> Table {
    let rows = bars.iter().flat_map(|(_, bar)| &bar.steps).map(|step| Row {
        step: step.number,
        shares: step.shares,
        reading: None,
    });
    Table {
        header: Header {
            spools: Some("spools.ron".to_owned()),
            ..Header::default()
        },
        rows: rows.collect(),
    }
}

/// A first guess: bars lie side by side with their feet down, and a card stands at the left.
fn patches(bars: &[(String, TestPart)]) -> Patches {
    let columns = bars.len() as f64 + 1.0;
    let rows = bars.iter().enumerate().filter_map(|(i, (_, bar))| {
        let (first, last) = (bar.steps.first()?, bar.steps.last()?);
        let x = (i as f64 + 1.5) / columns;
        let y = |mm: f64| 0.95 - 0.9 * mm / last.to_mm;
        Some(StepRow {
            first_step: first.number,
            last_step: last.number,
            first_centre: (hundredths(x), hundredths(y(first.measure_at_mm()))),
            last_centre: (hundredths(x), hundredths(y(last.measure_at_mm()))),
            size: (0.04, 0.03),
        })
    });
    Patches {
        version: 1,
        table: "measured.csv".to_owned(),
        cards: vec![Card {
            reflectance: 0.18,
            centre: (hundredths(0.5 / columns), 0.5),
            size: (0.1, 0.1),
        }],
        rows: rows.collect(),
    }
}

fn hundredths(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}

fn told(folder: &Path, bars: &[(String, TestPart)], cost: &Cost) -> String {
    let mut text = format!("Wrote into {}\n", folder.display());
    let mut line = |file: &str, what: &str| text.push_str(&format!("  {file:20}{what}\n"));
    for (name, bar) in bars {
        let steps = bar.steps.len();
        line(
            &format!("{name}.stl"),
            &format!("an upright bar of {steps} steps"),
        );
        line(&format!("{name}.plan.ron"), "its plan");
        line(&format!("{name}/"), "its schedule, sheet and summary");
    }
    line(
        "how-to-measure.txt",
        "where everything is, and how to measure it",
    );
    line("measured.csv", "the table to fill in");
    line("patches.ron", "where the patches are, for read-photo");
    line("spools.ron", "the spools");
    text.push_str(&cost.line());
    text.push_str(&format!(
        "Print it, measure it, then run\n  tintfall fit {} --out pair.ron\n\
         Read `tintfall cautions` before you print.\n",
        folder.join("measured.csv").display()
    ));
    text
}
