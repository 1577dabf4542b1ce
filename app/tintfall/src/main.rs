//! The command `tintfall`: colour a part, and give the print step everything it needs.

mod causes;
mod colours;
mod commands;
mod console;
mod fault;
mod memory;
mod part;
mod threads;
mod timings;

use std::process::ExitCode;

use clap::Parser;

use commands::Command;
use console::Console;

/// Fades, bands and painted areas for a hotend that mixes its filaments.
///
/// Give it a part (STL, OBJ, PLY, OFF, 3MF or glTF) and a plan (a text file that says which area gets
/// which blend). Tintfall cuts the part into layers, calculates the blend of every layer and how it
/// will look, and writes a schedule and a picture for the print step.
#[derive(Parser)]
#[command(name = "tintfall", version, max_term_width = 100)]
#[command(after_help = "\
Start here:
  tintfall demo                              four example parts, planned and prepared
  tintfall new part.stl                      write a first plan for your own part
  tintfall prepare part.plan.ron --out out   schedule and sheet from a plan

Exit codes: 0 done, 1 can't write or out of memory, 2 bad input or arguments, 130 cancelled.")]
struct Cli {
    /// Say on standard error how long each stage of the work took, and how much memory it took
    #[arg(long, global = true)]
    timings: bool,
    #[command(subcommand)]
    command: Command,
    /// The most memory to take, GiB; nine tenths of the machine's unless given (Linux only)
    #[arg(long, global = true, value_name = "GIB", value_parser = gib, help_heading = "Limits")]
    memory: Option<f64>,
}

fn gib(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(gib) if gib.is_finite() && gib > 0.0 => Ok(gib),
        _ => Err("give a number of GiB above 0, such as 4".to_owned()),
    }
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let console = Console::new();
    // The window has bounds and threads of its own.
    let begun = match cli.command {
        Command::View(_) => Ok(None),
        _ => {
            memory::watch(console.progress(), cli.memory);
            threads::start()
        }
    };
    let outcome = begun.and_then(|fewer| {
        if let Some(fewer) = fewer {
            console.note(&fewer);
        }
        cli.command.run(&console)
    });
    if cli.timings {
        console.note(&console.timings());
    }
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            console.complain(&fault);
            fault.exit_code()
        }
    }
}
