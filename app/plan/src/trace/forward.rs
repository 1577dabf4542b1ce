//! What would be seen of a print under a cause.

use blend::colour::LocalMetric;
use blend::{Lab, MAX_COMPONENTS, MixModel, Shares, SpoolColour};

use super::fed::{Axis, Fed, faulty, sum_fed, told};
use super::leftover::Leftover;
use super::together::{Place, Shared};
use super::{Cause, Fault, Seen, Shows, Sighting, Together};
use crate::delivery::{Command, Commands, Feed, delivered};
use crate::economy::{Heights, main_skin_mm3, region_skin_mm3};
use crate::machine::Chamber;
use crate::{AsPrinted, Plan, Schedule};

/// A height so near above a layer's top is that layer's, mm.
const LEVEL_MM: f64 = 0.006;

/// A print and what was seen of it, made ready for many causes.
pub(super) struct Print<'a> {
    pub plan: &'a Plan,
    model: &'a dyn MixModel,
    commands: &'a Commands,
    heights: Heights,
    pub looks: Vec<Look>,
    /// What colours are off together.
    pub shared: Shared,
    /// How far the heights of colours may be off together, mm.
    pub height_error_mm: f64,
    /// Whether it is a finished part that was photographed, and so stands there.
    pub is_photographed: bool,
}

/// What a print differs in from what it is taken for, beside its faults.
#[derive(Clone, Copy)]
pub(super) struct Setting {
    /// How many times as large the chamber is.
    pub chamber_scale: f64,
    /// How much higher colours were read than was noted, mm.
    pub raised_mm: f64,
}

impl Setting {
    /// In nothing.
    pub(super) const AS_SET: Self = Self {
        chamber_scale: 1.0,
        raised_mm: 0.0,
    };
}

/// One thing that was seen, with where it is in the print.
pub(super) struct Look {
    pub what: What,
    /// Usual error, in the unit of what was seen.
    pub error: f64,
    pub height_mm: f64,
}

pub(super) enum What {
    /// A colour: from and to which volume that was asked for it was laid.
    Colour {
        region: Option<usize>,
        from_mm3: f64,
        to_mm3: f64,
        together: Together,
        lab: Lab,
        metric: LocalMetric,
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

/// What a cause makes of a look.
#[derive(Clone, Copy)]
pub(super) enum Made {
    Colour {
        lab: Lab,
        shares: Shares,
        /// What was really laid of the volume that was asked for there.
        laid: f64,
    },
    Amount(f64),
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
        let drives = plan.spools.len();
        let leftover = sighting.is_photographed().then(|| Leftover::of(model));
        let look = |seen: &Seen| {
            let drive_of = |drive: &usize| drive.checked_sub(1).filter(|d| *d < drives);
            let (what, error) = match seen {
                Seen::Colour {
                    height_mm,
                    region,
                    colour,
                    together,
                } => {
                    // A level face has the height of its layer's top.
                    let below = schedule
                        .layers
                        .partition_point(|l| l.span.top_mm < *height_mm - LEVEL_MM);
                    let extrusion = &printed.extrusion;
                    let (from_mm3, to_mm3) = match region {
                        Some(region) => region_skin_mm3(extrusion, schedule, below, *region)?,
                        None => main_skin_mm3(extrusion, below)?,
                    };
                    let lab = colour.xyz().to_lab();
                    let what = What::Colour {
                        region: *region,
                        from_mm3,
                        to_mm3,
                        together: *together,
                        lab,
                        metric: LocalMetric::at(lab),
                    };
                    let left = leftover.as_ref().map_or(0.0, |l| l.error_de00(lab));
                    (what, sighting.colour_error_de00.hypot(left))
                }
                Seen::Turns { drive, turns, .. } => {
                    let (drive, turns) = (drive_of(drive)?, *turns);
                    (What::Turns { drive, turns }, sighting.turns_error)
                }
                Seen::Filament {
                    drive, filament_mm, ..
                } => {
                    let (drive, filament_mm) = (drive_of(drive)?, *filament_mm);
                    let what = What::Filament { drive, filament_mm };
                    (what, sighting.filament_error)
                }
            };
            let height_mm = seen.height_mm();
            (height_mm <= heights.top_mm() + 1e-6).then_some(Look {
                what,
                error,
                height_mm,
            })
        };
        let looks: Vec<Look> = sighting.seen.iter().filter_map(look).collect();
        Self {
            shared: shared(&looks, heights.top_mm()),
            plan,
            model,
            commands: &printed.compensation.commands,
            heights,
            looks,
            height_error_mm: sighting.height_error_mm,
            is_photographed: sighting.is_photographed(),
        }
    }

    /// Whether nothing was seen that tells anything.
    pub(super) fn is_blind(&self) -> bool {
        self.looks.is_empty() || self.commands.0.is_empty()
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

    /// Whether anything but colours was seen.
    pub(super) fn has_amounts(&self) -> bool {
        let mut looks = self.looks.iter();
        looks.any(|l| !matches!(l.what, What::Colour { .. }))
    }

    /// Heights of the first and the last change of blend, mm; none if there is none.
    pub(super) fn changes_mm(&self) -> Option<(f64, f64)> {
        let changes = self.commands.0.get(1..)?;
        let at = |c: &Command| self.heights.height_mm(c.at_mm3);
        Some((at(changes.first()?), at(changes.last()?)))
    }

    /// The greatest share of any command.
    pub(super) fn greatest_share(&self) -> f64 {
        let commands = self.commands.0.iter();
        let shares = commands.flat_map(|c| c.shares.as_slice().to_vec());
        shares.fold(0.0, f64::max)
    }

    /// What would be seen.
    pub(super) fn seen(&self, cause: &Cause) -> Vec<Seen> {
        let made = self.made_by(&cause.faults, Setting::AS_SET);
        let pairs = self.looks.iter().zip(made);
        pairs.map(|(look, made)| look.seen(made)).collect()
    }

    /// What faults make of each look.
    pub(super) fn made_by(&self, faults: &[Fault], setting: Setting) -> Vec<Made> {
        let commands = self.warped(faults);
        let told = told(&commands);
        let height_of = |height_mm: f64| self.heights.laid_mm3(height_mm);
        // What goes in, what the gears turn for, and what length is taken.
        let fed = faulty(&told, faults, &height_of, |_| true);
        let turned = faulty(&told, faults, &height_of, |shows| shows == Shows::Gear);
        let taken = faulty(&told, faults, &height_of, |shows| shows != Shows::Nothing);
        let axis = Axis::of(&fed);
        let feeds: Vec<Feed> = fed
            .iter()
            .map(|f| Feed::steady(axis.laid_mm3(f.at_mm3), mixed(faults, f)))
            .collect();
        let chamber = self.chamber_under(faults, setting.chamber_scale);
        let places = self.places(setting.raised_mm, &axis);
        let mut colours = self.colours(&chamber, &feeds, &places).into_iter();
        self.looks
            .iter()
            .map(|look| match &look.what {
                What::Colour {
                    lab,
                    from_mm3,
                    to_mm3,
                    ..
                } => {
                    let found = colours.next().flatten();
                    let (lab, shares) = found.unwrap_or((*lab, Shares::SINGLE));
                    let laid_mm3 = axis.laid_mm3(*to_mm3) - axis.laid_mm3(*from_mm3);
                    let laid = laid_mm3 / (to_mm3 - from_mm3).max(1e-9);
                    Made::Colour { lab, shares, laid }
                }
                What::Turns { drive, .. } => {
                    let filament = self.filament_mm(&turned, *drive, look.height_mm);
                    Made::Amount(self.plan.machine.drive(*drive).turns(filament))
                }
                What::Filament { drive, .. } => {
                    Made::Amount(self.filament_mm(&taken, *drive, look.height_mm))
                }
            })
            .collect()
    }

    /// The commands, at the heights where they are really carried out.
    fn warped(&self, faults: &[Fault]) -> Vec<Command> {
        let mut commands = self.commands.0.clone();
        for fault in faults {
            let Fault::Heights { start_mm, end_mm } = fault else {
                continue;
            };
            let Some((from, to)) = self.changes_mm() else {
                continue;
            };
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

    fn chamber_under(&self, faults: &[Fault], scale: f64) -> Chamber {
        let chamber = *self.chamber();
        let lag = faults.iter().find_map(|fault| match fault {
            Fault::Lag { lag_mm3 } if chamber.lag_mm3() > 0.0 => Some(lag_mm3 / chamber.lag_mm3()),
            _ => None,
        });
        let scale = scale * lag.unwrap_or(1.0);
        Chamber {
            dead_mm3: chamber.dead_mm3 * scale,
            mixed_mm3: chamber.mixed_mm3 * scale,
            ..chamber
        }
    }

    /// For each look at a colour, in their order, from where to where it was laid, if it was so
    /// much higher than was noted.
    fn places(&self, raised_mm: f64, axis: &Axis) -> Vec<(f64, f64)> {
        let place = |look: &Look| {
            let What::Colour {
                from_mm3, to_mm3, ..
            } = look.what
            else {
                return None;
            };
            let laid_mm3 = |height_mm: f64| self.heights.laid_mm3(height_mm);
            let shift = match raised_mm == 0.0 {
                true => 0.0,
                false => laid_mm3(look.height_mm + raised_mm) - laid_mm3(look.height_mm),
            };
            let at = |mm3: f64| axis.laid_mm3(mm3 + shift);
            Some((at(from_mm3), at(to_mm3)))
        };
        self.looks.iter().filter_map(place).collect()
    }

    /// For each look at a colour, in their order, what it would be and of which blend.
    fn colours(
        &self,
        chamber: &Chamber,
        feeds: &[Feed],
        places: &[(f64, f64)],
    ) -> Vec<Option<(Lab, Shares)>> {
        let Some(start) = feeds.first().map(|f| f.from) else {
            return vec![None; places.len()];
        };
        let mut edges: Vec<f64> = places.iter().flat_map(|(a, b)| [*a, *b]).collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let out = delivered(chamber, &start, feeds, &edges);
        places
            .iter()
            .map(|(from, _)| {
                let at = edges.partition_point(|e| e <= from).saturating_sub(1);
                let shares = out.get(at)?;
                Some((self.model.mix(shares).to_lab(), *shares))
            })
            .collect()
    }

    /// Filament that a drive takes by a height, mm.
    fn filament_mm(&self, fed: &[Fed], drive: usize, height_mm: f64) -> f64 {
        let volume = sum_fed(fed, drive, self.heights.laid_mm3(height_mm));
        let spool = self.plan.spools.get(drive);
        spool.map_or(0.0, |s| s.length_mm(volume))
    }
}

/// What the colours among some looks are off together, at a part so high.
fn shared(looks: &[Look], top_mm: f64) -> Shared {
    let mut places = Vec::new();
    let mut row = 0;
    for look in looks {
        match look.what {
            What::Colour { lab, together, .. } => {
                let height = look.height_mm / top_mm.max(1e-9);
                places.push(Place::new(row, height, lab, together, look.error));
                row += 3;
            }
            _ => row += 1,
        }
    }
    Shared::of(&places, row)
}

/// The blend that goes into the chamber.
fn mixed(faults: &[Fault], fed: &Fed) -> Shares {
    let mut parts: [f64; MAX_COMPONENTS] = fed.parts;
    let parts = parts.get_mut(..fed.count).unwrap_or(&mut []);
    for fault in faults {
        if let Fault::Swapped { drive, with } = fault
            && *drive < parts.len()
            && *with < parts.len()
        {
            parts.swap(*drive, *with);
        }
    }
    // A lone drive that feeds nothing leaves its old plastic; any blend will do for that.
    Shares::from_weights(parts)
        .or_else(|_| Shares::from_weights(&vec![1.0; parts.len()]))
        .unwrap_or(Shares::SINGLE)
}

/// Turns and filament of less than these are as good as none, so that errors of a part of them
/// do not vanish.
const LEAST_TURNS: f64 = 5.0;
const LEAST_FILAMENT_MM: f64 = 150.0;

impl Look {
    /// How far it is off what a cause makes, in usual errors: three numbers for a colour, along
    /// the axes of its difference, and one for anything else.
    pub(super) fn off(&self, made: &Made, out: &mut Vec<f64>) {
        match (&self.what, made) {
            (What::Colour { metric, .. }, Made::Colour { lab, .. }) => {
                // The usual error is that of all three together.
                let axis = self.error / 3f64.sqrt();
                out.extend(metric.difference(*lab).map(|d| d / axis));
            }
            (What::Turns { turns, .. }, Made::Amount(made)) => {
                out.push((made - turns) / (self.error * made.max(LEAST_TURNS)));
            }
            (What::Filament { filament_mm, .. }, Made::Amount(made)) => {
                out.push((made - filament_mm) / (self.error * made.max(LEAST_FILAMENT_MM)));
            }
            _ => out.push(0.0),
        }
    }

    fn seen(&self, made: Made) -> Seen {
        let height_mm = self.height_mm;
        match &self.what {
            What::Turns { drive, turns } => Seen::Turns {
                height_mm,
                drive: drive + 1,
                turns: made.amount().unwrap_or(*turns),
            },
            What::Filament { drive, filament_mm } => Seen::Filament {
                height_mm,
                drive: drive + 1,
                filament_mm: made.amount().unwrap_or(*filament_mm),
            },
            What::Colour {
                region,
                lab,
                together,
                ..
            } => Seen::Colour {
                height_mm,
                region: *region,
                colour: SpoolColour::Lab(made.lab().unwrap_or(*lab)),
                together: *together,
            },
        }
    }
}

impl Made {
    fn amount(self) -> Option<f64> {
        match self {
            Self::Amount(amount) => Some(amount),
            Self::Colour { .. } => None,
        }
    }

    fn lab(self) -> Option<Lab> {
        match self {
            Self::Colour { lab, .. } => Some(lab),
            Self::Amount(_) => None,
        }
    }
}
