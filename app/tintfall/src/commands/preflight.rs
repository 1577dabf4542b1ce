//! `tintfall preflight`.

use std::path::{Path, PathBuf};

use plan::Machine;
use plan::preflight::{Check, Kind, checks};
use project::job::read_plan;

use super::prepare::not_opened;
use super::swatch::text_of;
use crate::console::Console;
use crate::fault::Fault;

/// Diameter of a filament that no plan names, mm (common practice, no source).
const USUAL_MM: f64 = 1.75;

/// List what to check on a converted hotend before its first print
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall preflight lamp-shade.plan.ron
  tintfall preflight --machine machine.ron --spools 3

The list comes from the machine file. It does not replace manuals: the makers' manuals and local
codes come first, and mains wiring is for a licensed person. Unplug the printer before you open it.")]
pub(crate) struct Args {
    /// The plan whose machine and spools to check
    #[arg(required_unless_present = "machine", conflicts_with = "machine")]
    plan: Option<PathBuf>,
    /// The machine file, if there is no plan yet
    #[arg(long, value_name = "FILE")]
    machine: Option<PathBuf>,
    /// How many spools the machine mixes, with --machine
    #[arg(
        long,
        value_name = "COUNT",
        default_value_t = 2,
        conflicts_with = "plan"
    )]
    spools: usize,
    /// Write the list to standard output as JSON
    #[arg(long)]
    json: bool,
}

impl Args {
    /// Makes the list.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let list = match (&self.plan, &self.machine) {
            (Some(plan), _) => {
                let plan = read_plan(plan).map_err(not_opened)?;
                let filaments: Vec<f64> = plan.spools.iter().map(|s| s.diameter_mm).collect();
                checks(&plan.machine, &filaments)
            }
            (None, Some(file)) => {
                if !(2..=blend::MAX_COMPONENTS).contains(&self.spools) {
                    return Err(Fault::Input(format!(
                        "--spools {}: a mixing hotend takes 2 to {}",
                        self.spools,
                        blend::MAX_COMPONENTS
                    )));
                }
                checks(&read_machine(file)?, &vec![USUAL_MM; self.spools])
            }
            (None, None) => return Err(Fault::Input("name a plan, or --machine FILE".to_owned())),
        };
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&list).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&list)),
        }
    }
}

/// Reads a machine file.
pub(super) fn read_machine(path: &Path) -> Result<Machine, Fault> {
    Machine::from_ron(&text_of(path)?)
        .map_err(|e| Fault::input(e.in_file(&path.display().to_string())))
}

fn told(list: &[Check]) -> String {
    let mut text = String::new();
    let mut last = None;
    for check in list {
        if last != Some(check.kind) {
            let title = match check.kind {
                Kind::Caution => "Before you begin",
                Kind::Wrong => "Wrong",
                Kind::ToDo => "To do, in this order",
                Kind::Right => "Correct, by the machine file",
            };
            let gap = if last.is_some() { "\n" } else { "" };
            text.push_str(&format!("{gap}{title}\n"));
            last = Some(check.kind);
        }
        let mark = match check.kind {
            Kind::Caution | Kind::Wrong => "!",
            Kind::ToDo => "[ ]",
            Kind::Right => "[x]",
        };
        text.push_str(&format!("  {mark:3} {}\n", check.title));
        for line in wrapped(&check.text, 86) {
            text.push_str(&format!("      {line}\n"));
        }
    }
    text
}

/// Text wrapped to a number of letters.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
