//! What to check on a converted hotend before the first print, worked out from the machine file.

use serde::{Deserialize, Serialize};

use crate::Machine;

/// One thing to check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// How it stands.
    pub kind: Kind,
    /// What it is about, in a few words.
    pub title: String,
    /// What to do, and why.
    pub text: String,
}

/// How a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Kind {
    /// Danger: read it before you begin.
    Caution,
    /// The machine file says that something is wrong.
    Wrong,
    /// To be done by hand.
    ToDo,
    /// The machine file says that it is right.
    Right,
}

/// The list for a machine whose drives take filaments of these diameters, mm: one for each
/// spool. Cautions come first, then what is wrong, then what is to be done, in the order of the
/// work.
///
/// ```
/// use plan::{Machine, preflight::{Kind, checks}};
/// let mut machine = Machine::default();
/// machine.board_drivers = Some(4);
/// let list = checks(&machine, &[1.75, 1.75]);
/// assert_eq!(list[0].kind, Kind::Caution);
/// // Three axes and two spools need five.
/// assert!(list.iter().any(|c| c.kind == Kind::Wrong && c.title == "Too few stepper drivers"));
/// ```
pub fn checks(machine: &Machine, filaments_mm: &[f64]) -> Vec<Check> {
    let spools = filaments_mm.len();
    let mut list = cautions();
    list.extend([
        drivers(machine, spools),
        equal_feed(machine, spools),
        equal_filament(filaments_mm),
        step_rate(machine, filaments_mm),
        directions(spools),
        currents(),
        feed_each(machine, spools),
        cold_ends(spools),
        first_layer(),
        temperature(),
        flow(machine),
        lag(machine),
        shares(machine, spools),
    ]);
    list.sort_by_key(|check| check.kind);
    list
}

fn check(kind: Kind, title: &str, text: impl Into<String>) -> Check {
    Check {
        kind,
        title: title.to_owned(),
        text: text.into(),
    }
}

fn cautions() -> Vec<Check> {
    vec![
        check(
            Kind::Caution,
            "Mains voltage",
            "Switch the printer off at the mains and pull the plug before you open it. Heaters, \
             power supplies and mains wiring are for a licensed person: stop and ask one. Local \
             codes and the maker's manual come before this list.",
        ),
        check(
            Kind::Caution,
            "Hot metal",
            "A hotend burns skin long after it is switched off. Let it cool to room temperature \
             before you touch it. Some steps say that it must be hot; wear gloves for those.",
        ),
        check(
            Kind::Caution,
            "Fire and fumes",
            "A loose heater or sensor can set the printer on fire. Check that both are fixed, that \
             the firmware's thermal protection is on, and that there is a smoke alarm. Air the \
             room, and do not leave a print unattended.",
        ),
    ]
}

fn drivers(machine: &Machine, spools: usize) -> Check {
    let needed = machine.motion_drivers + spools;
    let sum = format!(
        "{} for the axes and {spools} for the spools: {needed} stepper drivers",
        machine.motion_drivers
    );
    match machine.board_drivers {
        Some(has) if has < needed => check(
            Kind::Wrong,
            "Too few stepper drivers",
            format!(
                "You need {sum}, and the board has {has}. Add an expansion, or use fewer spools."
            ),
        ),
        Some(has) => check(
            Kind::Right,
            "Stepper drivers",
            format!("You need {sum}, and the board has {has}."),
        ),
        None => check(
            Kind::ToDo,
            "Count the stepper drivers",
            format!(
                "You need {sum}. Count those on the board and write board_drivers in the machine \
                 file."
            ),
        ),
    }
}

/// Firmware mixes by steps, so unequal drives mix other shares than they are told.
fn equal_feed(machine: &Machine, spools: usize) -> Check {
    let feeds: Vec<f64> = (0..spools).map(|i| machine.drive(i).steps_per_mm).collect();
    let least = feeds.iter().copied().fold(f64::INFINITY, f64::min);
    let most = feeds.iter().copied().fold(0.0, f64::max);
    let off = 100.0 * (most / least - 1.0);
    if off > 0.5 {
        check(
            Kind::Wrong,
            "Unequal drives",
            format!(
                "The drives need from {least} to {most} steps for each mm, {off:.1} % apart. Most \
                 firmware mixes with one number of steps for all drives, so shares would be off. \
                 Fit equal drives, or make sure that your firmware knows each one's steps."
            ),
        )
    } else {
        check(
            Kind::Right,
            "Equal feed for each drive",
            format!("The machine file has {most} steps for each mm for every drive."),
        )
    }
}

/// Shares are by volume, and a thicker filament brings more of it for each mm.
fn equal_filament(filaments_mm: &[f64]) -> Check {
    let least = filaments_mm.iter().copied().fold(f64::INFINITY, f64::min);
    let most = filaments_mm.iter().copied().fold(0.0, f64::max);
    let off = 100.0 * ((most / least).powi(2) - 1.0);
    if off > 1.0 {
        check(
            Kind::Wrong,
            "Unequal filaments",
            format!(
                "The filaments are from {least} to {most} mm thick. For each mm, one brings \
                 {off:.0} % more plastic than another. Most firmware mixes by length, so shares \
                 would be off. Use filaments of one diameter."
            ),
        )
    } else {
        check(
            Kind::ToDo,
            "Thickness of each filament",
            format!(
                "All filaments should be {most} mm thick. Measure each at five places, and write \
                 the mean as the spool's diameter_mm. An error of 0.05 mm is 6 % of plastic."
            ),
        )
    }
}

fn step_rate(machine: &Machine, filaments_mm: &[f64]) -> Check {
    // The filament of the greatest flow, all from one drive: the thinnest runs fastest.
    let thinnest = filaments_mm.iter().copied().fold(f64::INFINITY, f64::min);
    let area = std::f64::consts::PI * thinnest * thinnest / 4.0;
    let feeds = (0..filaments_mm.len()).map(|i| machine.drive(i).steps_per_mm);
    let rate = machine.flow.most_mm3_s / area * feeds.fold(0.0, f64::max);
    check(
        Kind::ToDo,
        "Greatest speed of a drive",
        format!(
            "At {} mm³/s a drive that feeds alone makes {rate:.0} microsteps a second, and needs \
             {:.1} mm/s of filament. Check that the firmware allows it (greatest speed and \
             acceleration of the extruders).",
            machine.flow.most_mm3_s,
            machine.flow.most_mm3_s / area
        ),
    )
}

fn directions(spools: usize) -> Check {
    check(
        Kind::ToDo,
        "Direction of each drive",
        format!(
            "Without filament, command 10 mm from each of the {spools} drives alone. The right \
             drive must turn, and forwards. If not, correct it in the firmware. Never unplug a \
             motor with the power on."
        ),
    )
}

fn currents() -> Check {
    check(
        Kind::ToDo,
        "Motor current",
        "Set each driver's current to the motor's datasheet, a little below its rating. After ten \
         minutes of holding, motors may be too warm to touch for long, but must not burn. A motor \
         that skips needs more current or less friction.",
    )
}

fn feed_each(machine: &Machine, spools: usize) -> Check {
    let turns = machine.drive(0).turns(100.0);
    check(
        Kind::ToDo,
        "Feed of each drive",
        format!(
            "With the hotend hot, mark the filament 120 mm above each of the {spools} drives, \
             command 100 mm slowly, and measure what is left. It must be 20 mm, within 1 mm. A \
             marked gear makes {turns:.2} turns. If it is off, correct steps_per_mm. Compare the \
             drives with each other."
        ),
    )
}

fn cold_ends(spools: usize) -> Check {
    check(
        Kind::ToDo,
        "Paths without leaks",
        format!(
            "Load all {spools} filaments, and feed each one alone. None of the others may move \
             back. If one does, its path leaks in the mixing chamber or its drive holds too \
             weakly. Keep every inlet filled, or plastic goes up the empty one."
        ),
    )
}

fn first_layer() -> Check {
    check(
        Kind::ToDo,
        "First-layer height",
        "A mixing hotend is longer than the one it replaces. Home with the nozzle well above the \
         bed. Set the nozzle's height again, cold and then hot. Check that the probe's offset, the \
         end stops and the greatest height are still right, and that nothing hits the frame.",
    )
}

fn temperature() -> Check {
    check(
        Kind::ToDo,
        "Temperature control",
        "Tune the heater's control again with the part fan on: there is more metal to heat. Check \
         against a second thermometer if you can. Set thermal protection, and the greatest \
         temperature that the hotend's maker allows.",
    )
}

fn flow(machine: &Machine) -> Check {
    check(
        Kind::ToDo,
        "Greatest flow",
        format!(
            "Extrude into the air at rising speed until a drive skips or the strand thins. The \
             machine file has {} mm³/s; write your result less a fifth.",
            machine.flow.most_mm3_s
        ),
    )
}

fn lag(machine: &Machine) -> Check {
    let chamber = &machine.chamber;
    check(
        Kind::ToDo,
        "Lag of the melt chamber",
        format!(
            "Print the lag test and fit it. The machine file has {} mm³ of dead and {} mm³ of \
             mixed volume; a wrong chamber shifts and blurs every change.",
            chamber.dead_mm3, chamber.mixed_mm3
        ),
    )
}

fn shares(machine: &Machine, spools: usize) -> Check {
    let least = machine.least_in_steps() * spools as f64;
    if machine.keep_all_moving && least > 1.0 {
        return check(
            Kind::Wrong,
            "Least share",
            format!(
                "{spools} spools with a least share of {} add up to more than 1, so no blend can \
                 keep all of them moving. Lower least_share in the machine file.",
                machine.least_share
            ),
        );
    }
    let idle = if machine.keep_all_moving {
        "Every drive keeps moving (keep_all_moving)."
    } else {
        "A drive may stop while its filament is hot. If that filament chars or oozes, set \
         keep_all_moving in the machine file."
    };
    check(Kind::Right, "Least share", idle)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Drive;

    fn kind_of(machine: &Machine, title: &str) -> Kind {
        let list = checks(machine, &[1.75, 1.75]);
        let found = list.iter().find(|c| c.title == title);
        found.unwrap_or_else(|| panic!("no check '{title}'")).kind
    }

    #[test]
    fn drivers_are_counted() {
        let mut machine = Machine::default();
        assert_eq!(kind_of(&machine, "Count the stepper drivers"), Kind::ToDo);
        machine.board_drivers = Some(5);
        assert_eq!(kind_of(&machine, "Stepper drivers"), Kind::Right);
        machine.motion_drivers = 4;
        assert_eq!(kind_of(&machine, "Too few stepper drivers"), Kind::Wrong);
    }

    #[test]
    fn unequal_drives_are_wrong() {
        let mut machine = Machine::default();
        assert_eq!(kind_of(&machine, "Equal feed for each drive"), Kind::Right);
        let other = Drive {
            steps_per_mm: 95.0,
            ..Drive::default()
        };
        machine.drives = vec![Drive::default(), other];
        assert_eq!(kind_of(&machine, "Unequal drives"), Kind::Wrong);
    }

    #[test]
    fn filaments_of_two_diameters_are_wrong() {
        let list = checks(&Machine::default(), &[1.75, 2.85]);
        let found = list.iter().find(|c| c.title == "Unequal filaments");
        // (2.85 / 1.75)² is 2.65.
        assert!(found.is_some_and(|c| c.text.contains("165 %")), "{list:?}");
    }

    #[test]
    fn cautions_come_first_and_say_where_to_stop() {
        let list = checks(&Machine::default(), &[1.75; 3]);
        assert!(list.is_sorted_by_key(|c| c.kind));
        assert!(list[0].text.contains("licensed"));
        assert!(list.len() >= 14);
    }
}
