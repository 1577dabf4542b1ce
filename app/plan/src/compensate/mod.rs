//! Commands sent ahead of their place and sharpened, so that what comes out is what was asked.
//!
//! A steady ramp comes out of the chamber as the same ramp, later by dead plus mixed volume; so
//! sending it earlier by that much makes it exact. A change that has plastic to settle in, where
//! nobody sees it, is begun where the old blend was last seen ([`led`]). At corners and jumps
//! without such plastic it also helps to feed beyond the blend that is aimed at for a while; how
//! much is found by least squares within what the machine can feed. [`compensated`] takes the
//! better one change by change, and says how good it is against commands sent without a thought.

mod grid;
mod kernel;
mod led;
mod local;
mod solve;

use blend::MixModel;
use serde::{Deserialize, Serialize};

use crate::Machine;
use crate::delivery::{Cell, Commands, cells};
use crate::economy::Extrusion;

use led::Led;

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

/// The best commands for an extrusion, never outside of what the machine can do. Whether a
/// change is sharpened is decided for each stretch of changes on its own, so that a place where
/// it does not help changes nothing anywhere else.
///
/// Where the machine has only stored blends, commands are sent ahead but not sharpened, for
/// that takes blends that are not in store. Where nothing can be flushed they are never worse
/// than plain ones; a flush, though, is as large as commands sent ahead need it.
pub fn compensated(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Compensation {
    let cells = cells(extrusion, &machine.chamber);
    let error = |commands: &Commands| mean_error(&cells, commands, machine, model);
    let plain = Commands::plain(extrusion, machine);
    let led = Led::of(extrusion, machine, model);
    let before_de00 = error(&plain);
    let ahead = led.commands(machine);
    let mut best = Compensation {
        after_de00: error(&ahead),
        how: if ahead == plain {
            How::Plain
        } else {
            How::Shifted
        },
        commands: ahead,
        before_de00,
    };
    if machine.stored_blends.is_none()
        && let Some(commands) = local::sharpened(&cells, &led, machine, model)
    {
        let after_de00 = error(&commands);
        if after_de00 < best.after_de00 {
            best = Compensation {
                commands,
                how: How::Sharpened,
                after_de00,
                before_de00,
            };
        }
    }
    if led.flushed == 0 && before_de00 <= best.after_de00 {
        best = Compensation {
            commands: plain,
            how: How::Plain,
            before_de00,
            after_de00: before_de00,
        };
    }
    best
}

/// Commands sent ahead of their place: by the chamber's lag where the change is seen while it
/// happens, and to where the old blend was last seen where there is plastic enough to settle in.
pub fn led(extrusion: &Extrusion, machine: &Machine, model: &dyn MixModel) -> Commands {
    Led::of(extrusion, machine, model).commands(machine)
}

fn mean_error(cells: &[Cell], commands: &Commands, machine: &Machine, model: &dyn MixModel) -> f64 {
    let out = crate::delivery::of_cells(cells, commands, &machine.chamber);
    crate::delivery::mean_de00(cells, &out, model)
}
