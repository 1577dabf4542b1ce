//! Reads a woven file back: is it the same print, and in the plan's colours?

use std::path::PathBuf;

use geometry::Progress;
use weave::Source;
use weave::verify::equivalence::Equivalence as Same;
use weave::verify::laws::Laws;
use weave::verify::{Miss, Verify, stands_or_found};

use super::Stop;
use super::toolpath_file::{Part, read_dialect, stop, with_source};
use crate::model::draft::Reading;

/// What to read back.
pub struct Order {
    /// The plan as it stands, on its part.
    pub part: Part,
    /// How it is read.
    pub reading: Reading,
    /// The woven file.
    pub file: PathBuf,
    /// The toolpath that it was woven from, to compare every move.
    pub sliced: Option<PathBuf>,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadBack {
    /// The plan's revision.
    pub revision: u64,
    /// The file.
    pub file: PathBuf,
    /// What makes it unfit to print.
    pub fault: Option<String>,
    /// Against the toolpath from before, if there was one.
    pub same: Option<Same>,
    /// The same where runs changed places, as the file's head says.
    pub laws: Option<Laws>,
    /// Changes of blend.
    pub changes: u64,
    /// Mean ΔE00 at the skin; `None` if nothing lies there.
    pub mean_de00: Option<f64>,
    /// ΔE00 that half of the skin, and 95 parts in 100 of it, stay within.
    pub within_de00: [f64; 2],
    /// The worst places, worst first.
    pub worst: Vec<Miss>,
    /// Doubts about the file.
    pub cautions: Vec<String>,
}

/// So many of the worst places are told.
const WORST: usize = 8;

/// Does it.
///
/// # Errors [`Stop`] in words when a file can't be read or the part is not found in it, or when
/// cancelled.
pub fn run(order: Order, progress: &Progress) -> Result<ReadBack, Stop> {
    let Order {
        part,
        reading,
        file,
        sliced,
    } = order;
    let revision = part.revision;
    let dialect = read_dialect(&reading.dialect)?;
    let painted = part.painted(progress)?;
    let found = with_source(&file, |woven| {
        let (given, settings) = (reading.stands, reading.settings);
        let stands = stands_or_found(given, &painted, woven, settings, progress)
            .map_err(|error| stop(error, &file))?;
        let verify = Verify {
            painted: &painted,
            dialect: &dialect,
            settings,
            stands,
            chamber: painted.plan().machine.chamber,
        };
        let run = |before: Option<&Source<'_>>| {
            let found = verify.run(woven, before, progress);
            found.map_err(|error| stop(error, &file))
        };
        match &sliced {
            Some(sliced) => with_source(sliced, |before| run(Some(before))),
            None => run(None),
        }
    })?;
    let mut cautions: Vec<String> = found.cautions.iter().map(ToString::to_string).collect();
    let unclear = found.unclear.iter();
    cautions.extend(unclear.map(|(line, what)| format!("Line {line} makes no sense: {what}")));
    if found.unset_mm3 > 0.0 {
        let mm3 = found.unset_mm3;
        cautions.push(format!(
            "{mm3:.0} mm³ are printed before the first blend is selected"
        ));
    }
    Ok(ReadBack {
        revision,
        file,
        fault: found.fault(),
        mean_de00: found.printed.mean_de00(),
        within_de00: [0.5, 0.95].map(|share| found.printed.within_de00(share)),
        worst: found.printed.worst(WORST),
        changes: found.changes,
        same: found.same,
        laws: found.laws,
        cautions,
    })
}
