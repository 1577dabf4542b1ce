//! Evidence, advice and tests in words.

use super::{Cause, Fault, Shows};
use crate::Plan;

/// What is said where nothing explains what was seen.
pub(super) fn doubt(nearest: f64) -> String {
    format!(
        "None of these explains what was seen; the best is off by {nearest:.1} times the usual \
         error of reading. Check the table for typing errors, that it belongs to this plan, and \
         that the spools are the plan's. Then look for a cause that is not in this list."
    )
}

pub(super) fn evidence(cause: &Cause, plan: &Plan, before: f64, after: f64) -> String {
    if cause.faults.is_empty() {
        return format!(
            "Your observations are off by {after:.1} times the usual error of reading, compared \
             with the print as planned."
        );
    }
    let says: Vec<String> = cause.faults.iter().map(|f| says(f, plan)).collect();
    format!(
        "{} Your observations are then off by {after:.1} times the usual error of reading, and by \
         {before:.1} times for a print as planned.",
        says.join(" ")
    )
}

fn says(fault: &Fault, plan: &Plan) -> String {
    match fault {
        Fault::Feed {
            drive,
            ratio,
            growing,
            from_mm,
            until_mm,
            shows,
        } => {
            let how = match shows {
                Shows::Filament => "",
                Shows::Gear => ", and its gear turns wrongly by as much",
                Shows::Nothing => {
                    ", but its gear and its length of filament are right: this filament is thinner \
                     or thicker than assumed, or the others are the opposite"
                }
            };
            format!(
                "{} on {} seems to feed {}{}{how}.",
                from_until(*from_mm, *until_mm),
                drive_name(plan, *drive),
                more_and_more(*growing),
                amount(*ratio)
            )
        }
        Fault::Slipping {
            drive,
            ratio,
            spells_mm,
        } => {
            let spells: Vec<String> = spells_mm
                .iter()
                .map(|[a, b]| format!("{a:.0} to {b:.0} mm"))
                .collect();
            format!(
                "At {} {} seems to feed {}.",
                spells.join(", "),
                drive_name(plan, *drive),
                amount(*ratio)
            )
        }
        Fault::AllShort {
            ratio,
            growing,
            from_mm,
            until_mm,
        } => format!(
            "{} on all drives seem to feed {}{}.",
            from_until(*from_mm, *until_mm),
            more_and_more(*growing),
            amount(*ratio)
        ),
        Fault::Swapped { drive, with } => format!(
            "The colours fit {} and {} swapped.",
            spool(plan, *drive),
            spool(plan, *with)
        ),
        Fault::Lag { lag_mm3 } => format!(
            "Changes come as if the chamber held {lag_mm3:.0} mm³; the machine file says {:.0} \
             mm³.",
            plan.machine.chamber.lag_mm3()
        ),
        Fault::Heights { start_mm, end_mm } => {
            let begin = match *start_mm < 0.0 {
                true => format!("{:.1} mm below the bed", -start_mm),
                false => format!("at {start_mm:.1} mm"),
            };
            format!("The changes of blend seem to begin {begin} and end at {end_mm:.1} mm.")
        }
        Fault::FlowLimit { most_share } => format!(
            "No drive seems to feed more than {:.0} % of the flow.",
            100.0 * most_share
        ),
    }
}

/// `From 12.0 mm until 31.5 mm`; an end of the part needs no words.
fn from_until(from_mm: f64, until_mm: f64) -> String {
    let from = match from_mm > 1e-6 {
        true => format!("From {from_mm:.1} mm"),
        false => "From the bed".to_owned(),
    };
    format!("{from} until {until_mm:.1} mm")
}

fn more_and_more(growing: bool) -> &'static str {
    match growing {
        true => "less and less, finally ",
        false => "",
    }
}

fn amount(ratio: f64) -> String {
    match ratio < 1.0 {
        true => format!("{:.0} % too little", 100.0 * (1.0 - ratio)),
        false => format!("{:.0} % too much", 100.0 * (ratio - 1.0)),
    }
}

pub(super) fn advice(cause: &Cause, plan: &Plan) -> String {
    if cause.faults.is_empty() {
        return "Nothing seems to be wrong with the print. If its colour is not what you want, \
                measure the spools or change the plan."
            .to_owned();
    }
    let all: Vec<String> = cause.faults.iter().map(|f| advised(f, plan)).collect();
    all.join(" ")
}

fn advised(fault: &Fault, plan: &Plan) -> String {
    match fault {
        Fault::Feed {
            drive,
            shows: Shows::Nothing,
            ..
        } => format!(
            "Measure the filament of all drives with a caliper at several places, of {} first. \
             Write the diameters in the plan.",
            drive_name(plan, *drive)
        ),
        Fault::Feed {
            drive,
            ratio,
            shows: Shows::Filament,
            ..
        } if *ratio < 1.0 => format!(
            "Check {}. Usual reasons, the most usual first (common practice, no source): its lever \
             binds or presses too little, its gear is worn or dusty, the spool or the guide \
             tangles, the plastic is too cold. Let the hotend cool and pull the filament out: look \
             for a ground or thick place.",
            drive_name(plan, *drive)
        ),
        Fault::Slipping { drive, .. } => format!(
            "Check {}: a spool that catches now and then, a bent guide, a lever that binds, a gear \
             with a worn place (common practice, no source).",
            drive_name(plan, *drive)
        ),
        Fault::Feed {
            drive,
            ratio,
            shows: Shows::Gear,
            ..
        } if *ratio < 1.0 => format!(
            "Check {}: is its driver's current high enough? Is it cooled? Does it have the same \
             steps for each mm as the other drives? Switch off before you touch wiring.",
            drive_name(plan, *drive)
        ),
        Fault::Feed { drive, .. } => format!(
            "{} feeds too much: its steps for each mm are set too high, or the share is sent to it \
             twice. Calibrate it over 100 mm and write the result in the machine file and the \
             firmware.",
            capital(&drive_name(plan, *drive))
        ),
        Fault::AllShort { .. } => "Check what all drives share: the nozzle may be partly clogged, \
                                   the plastic too cold, or the flow set too low. Let the nozzle \
                                   cool before you clean it."
            .to_owned(),
        Fault::Swapped { drive, with } => format!(
            "Check which filament goes into which inlet: drive {} should have {}, and drive {} {}. \
             Swap them, or reorder the spools in the plan.",
            drive + 1,
            spool(plan, *drive),
            with + 1,
            spool(plan, *with)
        ),
        Fault::Lag { lag_mm3 } => format!(
            "Print and fit the lag test. Or write about {lag_mm3:.0} mm³ for dead and mixed volume \
             together in the machine file. Then prepare again."
        ),
        Fault::Heights { .. } => "Compare the plan with the sliced part: its unit, scale, \
                                  orientation, first layer, and the place of the commands in the \
                                  toolpath. Prepare again from the same mesh."
            .to_owned(),
        Fault::FlowLimit { .. } => format!(
            "Print slower, or a little hotter within the filament maker's limits. The machine file \
             allows {} mm³/s; find what the hotend really melts, and write that value.",
            plan.machine.flow.most_mm3_s
        ),
    }
}

/// How to find out without printing the part again.
pub(super) fn test(cause: &Cause, plan: &Plan) -> String {
    match cause.faults.first() {
        None => "Zero the instrument and take one of the readings again.".to_owned(),
        Some(fault) => tested(fault, plan),
    }
}

fn tested(fault: &Fault, plan: &Plan) -> String {
    match fault {
        Fault::Feed {
            drive,
            shows: Shows::Nothing,
            ..
        } => format!(
            "Use a caliper: measure ten places along a metre of every filament, of filament {} \
             first.",
            drive + 1
        ),
        Fault::Feed { drive, ratio, .. } => format!(
            "With the hotend hot, mark the filament of {} 120 mm above its inlet. Feed 100 mm at \
             the speed of the print and measure what is left. With this cause, about {:.0} mm go \
             in. Try it with the spool in place, and again with a metre pulled loose. If only the \
             second is right, the spool or its guide is at fault. Keep fingers off the gears.",
            drive_name(plan, *drive),
            100.0 * ratio
        ),
        Fault::Slipping { drive, .. } => format!(
            "With the hotend hot, feed a metre through {} in ten pieces of 100 mm from a mark, and \
             check that all are equally long. Turn the spool once by hand and feel for a catch.",
            drive_name(plan, *drive)
        ),
        Fault::AllShort { .. } => format!(
            "With the hotend hot, feed 100 mm on each drive in turn into the air at {} mm³/s and \
             measure what went in. With this cause, it is too little on all of them. You can weigh \
             the output instead.",
            plan.machine.flow.usual_mm3_s
        ),
        Fault::Swapped { drive, .. } => format!(
            "With the hotend hot, feed drive {} alone into the air until the colour is steady. It \
             should be {}.",
            drive + 1,
            spool(plan, *drive)
        ),
        Fault::Lag { .. } => "With the hotend hot, purge one spool alone, then change to another. \
                              Weigh or measure what comes out until the colour begins to change \
                              (dead volume) and until it is steady. Or print the lag test, which \
                              is small."
            .to_owned(),
        Fault::Heights { .. } => {
            "Read the heights of the first and the last change in the printed \
                                  file, or run `tintfall verify` on it. You need not print \
                                  anything."
                .to_owned()
        }
        Fault::FlowLimit { .. } => format!(
            "With the hotend hot, feed one drive alone into the air at the flow of the print and \
             faster, up to {} mm³/s. Listen and look for the flow at which its gear slips.",
            plan.machine.flow.most_mm3_s
        ),
    }
}

fn spool(plan: &Plan, drive: usize) -> String {
    match plan.spools.get(drive) {
        Some(spool) => format!("'{}'", spool.name),
        None => format!("spool {}", drive + 1),
    }
}

fn drive_name(plan: &Plan, drive: usize) -> String {
    format!("drive {} ({})", drive + 1, spool(plan, drive))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}
