//! What would be seen of a print under a cause.

use blend::{Lab, MAX_COMPONENTS, MixModel, Shares, SpoolColour, ciede2000};

use super::{Cause, Seen, Sighting};
use crate::delivery::{Command, Commands, Feed, delivered};
use crate::economy::{Heights, main_skin_mm3};
use crate::machine::Chamber;
use crate::{AsPrinted, Plan, Schedule};

/// A print and what was seen of it, made ready for many causes.
pub(super) struct Print<'a> {
    plan: &'a Plan,
    model: &'a dyn MixModel,
    commands: &'a Commands,
    heights: Heights,
    looks: Vec<Look>,
}

/// One thing that was seen, with where it is in the print.
struct Look {
    what: What,
    /// Usual error, in the unit of what was seen.
    error: f64,
    height_mm: f64,
}

enum What {
    /// A colour: from and to which extruded volume it was laid.
    Colour {
        from_mm3: f64,
        to_mm3: f64,
        lab: Lab,
    },
    Turns {
        drive: usize,
        turns: f64,
    },
    Filament {
        drive: usize,
        filament_mm: f64,
    },
}

impl<'a> Print<'a> {
    /// Leaves out what can't have been seen: drives that are not there, heights above the part.
    pub(super) fn new(
        plan: &'a Plan,
        model: &'a dyn MixModel,
        schedule: &Schedule,
        printed: &'a AsPrinted,
        sighting: &Sighting,
    ) -> Self {
        let heights = Heights::new(&printed.extrusion, schedule);
        let look = |seen: &Seen| {
            let (what, error, height_mm) = match seen {
                Seen::Colour { height_mm, colour } => {
                    let below = schedule
                        .layers
                        .partition_point(|l| l.span.top_mm < *height_mm);
                    let (from_mm3, to_mm3) = main_skin_mm3(&printed.extrusion, below)?;
                    let lab = colour.xyz().to_lab();
                    let what = What::Colour {
                        from_mm3,
                        to_mm3,
                        lab,
                    };
                    (what, sighting.colour_error_de00, *height_mm)
                }
                Seen::Turns {
                    height_mm,
                    drive,
                    turns,
                } => {
                    let drive = drive.checked_sub(1).filter(|d| *d < plan.spools.len())?;
                    let what = What::Turns {
                        drive,
                        turns: *turns,
                    };
                    (what, sighting.turns_error, *height_mm)
                }
                Seen::Filament {
                    height_mm,
                    drive,
                    filament_mm,
                } => {
                    let drive = drive.checked_sub(1).filter(|d| *d < plan.spools.len())?;
                    let what = What::Filament {
                        drive,
                        filament_mm: *filament_mm,
                    };
                    (what, sighting.filament_error, *height_mm)
                }
            };
            (height_mm <= heights.top_mm() + 1e-6).then_some(Look {
                what,
                error,
                height_mm,
            })
        };
        let looks = sighting.seen.iter().filter_map(look).collect();
        Self {
            plan,
            model,
            commands: &printed.compensation.commands,
            heights,
            looks,
        }
    }

    /// Whether nothing was seen that tells anything.
    pub(super) fn is_blind(&self) -> bool {
        self.looks.is_empty() || self.commands.0.is_empty()
    }

    /// How many things were seen.
    pub(super) fn count(&self) -> usize {
        self.looks.len()
    }

    pub(super) fn drives(&self) -> usize {
        self.plan.spools.len()
    }

    pub(super) fn top_mm(&self) -> f64 {
        self.heights.top_mm()
    }

    pub(super) fn chamber(&self) -> &Chamber {
        &self.plan.machine.chamber
    }

    /// Heights of the first and the last change of blend, mm; none if there is none.
    pub(super) fn changes_mm(&self) -> Option<(f64, f64)> {
        let changes = self.commands.0.get(1..)?;
        let at = |c: &Command| self.heights.height_mm(c.at_mm3);
        Some((at(changes.first()?), at(changes.last()?)))
    }

    /// The greatest share of any command.
    pub(super) fn greatest_share(&self) -> f64 {
        let shares = self
            .commands
            .0
            .iter()
            .flat_map(|c| c.shares.as_slice().to_vec());
        shares.fold(0.0, f64::max)
    }

    /// The sum of squared errors, each in its usual error.
    pub(super) fn misfit(&self, cause: &Cause) -> f64 {
        let seen = self.made_by(cause);
        let pairs = self.looks.iter().zip(seen);
        pairs
            .map(|(look, made)| (look.off(&made) / look.error).powi(2))
            .sum()
    }

    /// What would be seen.
    pub(super) fn seen(&self, cause: &Cause) -> Vec<Seen> {
        let pairs = self.looks.iter().zip(self.made_by(cause));
        pairs.map(|(look, made)| look.seen(made)).collect()
    }

    fn made_by(&self, cause: &Cause) -> Vec<Made> {
        let commands = self.warped(cause);
        let chamber = self.chamber_under(cause);
        let told = told(&commands);
        let fed = self.fed(cause, told.clone());
        let feeds: Vec<Feed> = fed
            .iter()
            .map(|f| Feed::steady(f.at_mm3, self.mixed(cause, f)))
            .collect();
        let colours = self.colours(&chamber, &feeds);
        self.looks
            .iter()
            .zip(colours)
            .map(|(look, lab)| match (&look.what, lab) {
                (What::Colour { .. }, Some(lab)) => Made::Colour(lab),
                (What::Colour { lab, .. }, None) => Made::Colour(*lab),
                (What::Turns { drive, .. }, _) => {
                    let lost = matches!(cause, Cause::UnderFeed { slips: false, .. });
                    let turned = if lost { &fed } else { &told };
                    Made::Amount(self.turns(turned, *drive, look.height_mm))
                }
                (What::Filament { drive, .. }, _) => {
                    let fed = sum_fed(&fed, *drive, self.heights.laid_mm3(look.height_mm));
                    Made::Amount(self.plan.spools[*drive].length_mm(fed))
                }
            })
            .collect()
    }

    /// The commands, at the heights where they are really carried out.
    fn warped(&self, cause: &Cause) -> Vec<Command> {
        let mut commands = self.commands.0.clone();
        if let (Cause::Heights { start_mm, end_mm }, Some((from, to))) = (cause, self.changes_mm())
        {
            let slope = match to > from {
                true => (end_mm - start_mm) / (to - from),
                false => 1.0,
            };
            for command in commands.iter_mut().skip(1) {
                let height = self.heights.height_mm(command.at_mm3);
                let height = start_mm + (height - from) * slope;
                command.at_mm3 = self.heights.laid_mm3(height);
            }
        }
        commands
    }

    fn chamber_under(&self, cause: &Cause) -> Chamber {
        let chamber = *self.chamber();
        match cause {
            Cause::Lag { lag_mm3 } if chamber.lag_mm3() > 0.0 => {
                let scale = lag_mm3 / chamber.lag_mm3();
                Chamber {
                    dead_mm3: chamber.dead_mm3 * scale,
                    mixed_mm3: chamber.mixed_mm3 * scale,
                    ..chamber
                }
            }
            _ => chamber,
        }
    }

    /// What each drive really feeds from each command on, as parts of the volume asked for;
    /// they need not add up to 1.
    fn fed(&self, cause: &Cause, mut fed: Vec<Fed>) -> Vec<Fed> {
        match cause {
            Cause::UnderFeed {
                drive,
                missing,
                from_mm,
                ..
            } => {
                let from_mm3 = self.heights.laid_mm3(*from_mm);
                let next = fed.partition_point(|f| f.at_mm3 <= from_mm3);
                if let Some(before) = next.checked_sub(1).and_then(|i| fed.get(i)) {
                    let mut split = *before;
                    split.at_mm3 = from_mm3;
                    fed.insert(next, split);
                }
                for f in fed.iter_mut().skip(next) {
                    if let Some(part) = f.parts_mut().get_mut(*drive) {
                        *part *= 1.0 - missing;
                    }
                }
            }
            Cause::FlowLimit { most_share } => {
                for part in fed.iter_mut().flat_map(Fed::parts_mut) {
                    *part = part.min(*most_share);
                }
            }
            _ => {}
        }
        fed
    }

    /// The blend that goes into the chamber.
    fn mixed(&self, cause: &Cause, fed: &Fed) -> Shares {
        let mut parts = fed.parts;
        let parts = &mut parts[..fed.count];
        if let Cause::Swapped { drive, with } = cause
            && *drive < parts.len()
            && *with < parts.len()
        {
            parts.swap(*drive, *with);
        }
        // A lone drive that feeds nothing leaves its old plastic; any blend will do for that.
        Shares::from_weights(parts)
            .or_else(|_| Shares::from_weights(&vec![1.0; parts.len()]))
            .unwrap_or(Shares::SINGLE)
    }

    /// For each look at a colour what it would be.
    fn colours(&self, chamber: &Chamber, feeds: &[Feed]) -> Vec<Option<Lab>> {
        let mut order: Vec<(usize, f64, f64)> = self
            .looks
            .iter()
            .enumerate()
            .filter_map(|(i, look)| match look.what {
                What::Colour {
                    from_mm3, to_mm3, ..
                } => Some((i, from_mm3, to_mm3)),
                _ => None,
            })
            .collect();
        order.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut colours = vec![None; self.looks.len()];
        let Some(start) = feeds.first().map(|f| f.from) else {
            return colours;
        };
        let mut edges: Vec<f64> = order.iter().flat_map(|(_, a, b)| [*a, *b]).collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let out = delivered(chamber, &start, feeds, &edges);
        for (i, from, _) in order {
            let at = edges.partition_point(|e| *e <= from).saturating_sub(1);
            colours[i] = out.get(at).map(|shares| self.model.mix(shares).to_lab());
        }
        colours
    }

    /// Turns of a drive's gear by a height, if it turns for all of this.
    fn turns(&self, fed: &[Fed], drive: usize, height_mm: f64) -> f64 {
        let volume = sum_fed(fed, drive, self.heights.laid_mm3(height_mm));
        let filament = self.plan.spools[drive].length_mm(volume);
        self.plan.machine.drive(drive).turns(filament)
    }
}

/// What the drives feed from an extruded volume on, as parts of the volume asked for.
#[derive(Clone, Copy)]
struct Fed {
    at_mm3: f64,
    parts: [f64; MAX_COMPONENTS],
    count: usize,
}

impl Fed {
    fn parts_mut(&mut self) -> &mut [f64] {
        &mut self.parts[..self.count]
    }
}

/// What the drives are told to feed.
fn told(commands: &[Command]) -> Vec<Fed> {
    commands
        .iter()
        .map(|command| {
            let shares = command.shares.as_slice();
            let mut parts = [0.0; MAX_COMPONENTS];
            parts[..shares.len()].copy_from_slice(shares);
            Fed {
                at_mm3: command.at_mm3,
                parts,
                count: shares.len(),
            }
        })
        .collect()
}

/// What a drive has fed by an extruded volume, mm³.
fn sum_fed(fed: &[Fed], drive: usize, laid_mm3: f64) -> f64 {
    let ends = fed.iter().skip(1).map(|f| f.at_mm3).chain([f64::INFINITY]);
    fed.iter()
        .zip(ends)
        .take_while(|(f, _)| f.at_mm3 < laid_mm3)
        .map(|(f, end)| (end.min(laid_mm3) - f.at_mm3) * f.parts.get(drive).copied().unwrap_or(0.0))
        .sum()
}

/// What a cause makes.
enum Made {
    Colour(Lab),
    Amount(f64),
}

/// Turns and filament of less than these are as good as none, so that errors of a part of them
/// do not vanish.
const LEAST_TURNS: f64 = 5.0;
const LEAST_FILAMENT_MM: f64 = 150.0;

impl Look {
    fn off(&self, made: &Made) -> f64 {
        match (&self.what, made) {
            (What::Colour { lab, .. }, Made::Colour(made)) => ciede2000(*lab, *made),
            (What::Turns { turns, .. }, Made::Amount(made)) => {
                (turns - made) / made.max(LEAST_TURNS)
            }
            (What::Filament { filament_mm, .. }, Made::Amount(made)) => {
                (filament_mm - made) / made.max(LEAST_FILAMENT_MM)
            }
            _ => 0.0,
        }
    }

    fn seen(&self, made: Made) -> Seen {
        let height_mm = self.height_mm;
        match (&self.what, made) {
            (What::Turns { drive, .. }, Made::Amount(turns)) => Seen::Turns {
                height_mm,
                drive: drive + 1,
                turns,
            },
            (What::Filament { drive, .. }, Made::Amount(filament_mm)) => Seen::Filament {
                height_mm,
                drive: drive + 1,
                filament_mm,
            },
            (What::Colour { lab, .. }, Made::Amount(_)) => Seen::Colour {
                height_mm,
                colour: SpoolColour::Lab(*lab),
            },
            (_, Made::Colour(lab)) => Seen::Colour {
                height_mm,
                colour: SpoolColour::Lab(lab),
            },
        }
    }
}
