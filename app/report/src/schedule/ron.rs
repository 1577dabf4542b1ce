//! The schedule as RON, the notation that plans are written in; every digit is kept.

use std::io;

use plan::Schedule;

/// Writes the schedule as RON; [`Schedule::from_ron`] of it gives the same schedule.
///
/// # Errors
/// What the writer says.
pub fn write_ron(schedule: &Schedule, out: &mut dyn io::Write) -> io::Result<()> {
    let text = schedule.to_ron().map_err(io::Error::other)?;
    out.write_all(text.as_bytes())
}
