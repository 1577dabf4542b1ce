//! Prints every move of a toolpath as one line of JSON, for a second reader to check.
//!
//! `cargo run -p toolpath --example moves -- FILE`

use std::fs::File;
use std::io::{self, Write};

use toolpath::{Path, Replay, Settings, Step};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os()
        .nth(1)
        .ok_or("which file? usage: moves FILE")?;
    let mut replay = Replay::new(File::open(path)?, Settings::default());
    let mut out = io::BufWriter::new(io::stdout().lock());
    while let Some(seen) = replay.advance()? {
        if let Step::Move(step) = seen.step {
            let middle = match step.path {
                Path::Straight => None,
                Path::Arc(_) => Some(step.at(0.5)),
            };
            write!(
                out,
                r#"{{"line":{},"to":{:?},"e":{:?},"feed":{:?}"#,
                seen.line.number(),
                step.to,
                step.extruded_mm,
                step.feed_mm_min
            )?;
            if let Some(middle) = middle {
                write!(out, r#","middle":{middle:?}"#)?;
            }
            writeln!(out, "}}")?;
        }
    }
    for caution in replay.cautions().as_slice() {
        eprintln!("{caution}");
    }
    Ok(out.flush()?)
}
