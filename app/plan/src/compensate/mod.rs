//! Commands sent ahead of their place and sharpened, so that what comes out is what was asked.
//!
//! A steady ramp comes out of the chamber as the same ramp, later by dead plus mixed volume; so
//! sending it earlier by that much makes it exact ([`shifted`]). At corners and jumps it also
//! helps to feed beyond the blend that is aimed at for a while; how much is found by least
//! squares within what the machine can feed ([`sharpened`]). [`compensated`] takes the best of
//! what it tried, and says how good it is against commands sent without a thought.

mod grid;
mod kernel;
mod solve;

use blend::MixModel;
use serde::{Deserialize, Serialize};

use crate::Machine;
use crate::delivery::{Cell, Command, Commands, cells};
use crate::economy::Extrusion;

/// A gain in the mean ΔE00 smaller than this part of it is not worth more commands.
const WORTH_MORE_COMMANDS: f64 = 0.02;

/// Commands, and what they are good for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Compensation {
    /// The commands to send.
    pub commands: Commands,
    /// How they were found.
    pub how: How,
    /// Mean ΔE00 over the visible area when commands are sent at their place.
    pub before_de00: f64,
    /// The same with these commands.
    pub after_de00: f64,
}

/// How commands were found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum How {
    /// At their place.
    Plain,
    /// Sent ahead.
    Shifted,
    /// Sent ahead, and fed beyond the aim where that helps.
    Sharpened,
}

/// The best commands for an extrusion: never worse than plain ones, and never outside of what
/// the machine can do.
///
/// Where the machine has only stored blends, commands are sent ahead but not sharpened, for
/// that takes blends that are not in store.
pub fn compensated(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Compensation {
    let cells = cells(extrusion, &machine.chamber);
    let error = |commands: &Commands| mean_error(&cells, commands, machine, model);
    let plain = Commands::plain(extrusion, machine);
    let before_de00 = error(&plain);
    let mut best = Compensation {
        commands: plain,
        how: How::Plain,
        before_de00,
        after_de00: before_de00,
    };
    let mut consider = |commands: Commands, how: How, gain: f64| {
        let after_de00 = error(&commands);
        if after_de00 < best.after_de00 * (1.0 - gain) {
            best.commands = commands;
            best.how = how;
            best.after_de00 = after_de00;
        }
    };
    consider(shifted(extrusion, machine), How::Shifted, 0.0);
    if machine.stored_blends.is_none() {
        let commands = sharpened(extrusion, machine, model);
        consider(commands, How::Sharpened, WORTH_MORE_COMMANDS);
    }
    best
}

/// Commands sent ahead by the chamber's lag. Where plastic that nobody sees lies between the
/// old blend and the new one, the change is moved into that.
pub fn shifted(extrusion: &Extrusion, machine: &Machine) -> Commands {
    let chamber = &machine.chamber;
    let commands = crate::delivery::changes(extrusion)
        .into_iter()
        .map(|change| {
            let gap = change.seen_mm3 - change.ends_mm3;
            // With no gap the mean of the change comes out at its place; a gap is used whole.
            let ahead = gap.max(chamber.mixed_mm3);
            Command {
                at_mm3: change.seen_mm3 - chamber.dead_mm3 - ahead,
                shares: machine.fed(&change.to),
            }
        });
    Commands::tidy(commands.collect(), machine)
}

/// Commands found by least squares: on a grid of places that follows the changes, the blends
/// within the machine's limits whose outcome is nearest to what is aimed at, each visible piece
/// weighted by its area and by how much its colour minds.
pub fn sharpened(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Commands {
    let cells = cells(extrusion, &machine.chamber);
    let grid = grid::of(extrusion, machine, model);
    if grid.is_empty() || cells.is_empty() {
        return Commands::plain(extrusion, machine);
    }
    let places: Vec<f64> = grid.iter().map(|g| g.at_mm3).collect();
    let rows = kernel::rows(&cells, &places, &machine.chamber);
    let found = solve::blends(&cells, &grid, &rows, machine, model);
    let commands = places
        .into_iter()
        .zip(found)
        .map(|(at_mm3, shares)| Command {
            at_mm3,
            shares: machine.fed(&shares),
        });
    Commands::tidy(commands.collect(), machine)
}

fn mean_error(cells: &[Cell], commands: &Commands, machine: &Machine, model: &dyn MixModel) -> f64 {
    let out = crate::delivery::of_cells(cells, commands, &machine.chamber);
    crate::delivery::mean_de00(cells, &out, model)
}
