//! Evidence, advice and tests in words.

use super::{Cause, Fault, Shows};
use crate::Plan;

/// What is said where nothing explains what was seen.
pub(super) fn doubt(nearest: f64) -> String {
    format!(
        "None of these explains what was seen; the best is off by {nearest:.1} times the usual \
         error of reading. Check the table for slips of the pen, that it belongs to this plan, and \
         that the spools are those of the plan; then look for something that is not in this list."
    )
}

pub(super) fn evidence(cause: &Cause, plan: &Plan, before: f64, after: f64) -> String {
    if cause.faults.is_empty() {
        return format!(
            "What was seen is off by {after:.1} times the usual error of reading from a print as \
             planned."
        );
    }
    let says: Vec<String> = cause.faults.iter().map(|f| says(f, plan)).collect();
    format!(
        "{} What was seen is then off by {after:.1} times the usual error of reading, against \
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
                Shows::Gear => ", and its gear turns as wrongly",
                Shows::Nothing => {
                    ", though gear and length of filament are right: the filament itself is \
                     thinner or thicker, this one's or, the other way round, the others'"
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
            "The colours are those of {} and {} exchanged.",
            spool(plan, *drive),
            spool(plan, *with)
        ),
        Fault::Lag { lag_mm3 } => format!(
            "Changes come as if the chamber held {lag_mm3:.0} mm³; the machine file says {:.0} mm³.",
            plan.machine.chamber.lag_mm3()
        ),
        Fault::Heights { start_mm, end_mm } => format!(
            "The changes of blend seem to begin at {start_mm:.1} mm and to end at {end_mm:.1} mm."
        ),
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
        true => "less and less, at last ",
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
        return "Nothing seems to be wrong with the print. If its colour is not what you wish, \
                measure the spools, or change the plan."
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
            "Measure the filament of all drives, of {} first, with a caliper at several places, and \
             write their diameters in the plan.",
            drive_name(plan, *drive)
        ),
        Fault::Feed {
            drive,
            ratio,
            shows: Shows::Filament,
            ..
        } if *ratio < 1.0 => format!(
            "Look at {}. Usual reasons, the most usual first (common practice, no source): its \
             lever binds or presses too little, its gear is worn or full of dust, the spool or the \
             guide tangles, the plastic is too cold. Let the hotend cool and pull the filament: a \
             ground or thick place shows.",
            drive_name(plan, *drive)
        ),
        Fault::Slipping { drive, .. } => format!(
            "Look at {}: a spool that catches now and then, a bent guide, a lever that binds, a \
             gear with a worn place (common practice, no source).",
            drive_name(plan, *drive)
        ),
        Fault::Feed {
            drive,
            ratio,
            shows: Shows::Gear,
            ..
        } if *ratio < 1.0 => format!(
            "Look at {}: is its driver's current enough, is it cooled, do its steps for each mm \
             agree with the other drives'? Switch off before you touch wiring.",
            drive_name(plan, *drive)
        ),
        Fault::Feed { drive, .. } => format!(
            "{} feeds too much: its steps for each mm are set too high, or the share is sent to \
             it twice. Calibrate it over 100 mm and write what you find in the machine file and \
             the firmware.",
            capital(&drive_name(plan, *drive))
        ),
        Fault::AllShort { .. } => "Look at what all drives share: the nozzle may be partly \
                                   clogged, the plastic too cold, or the flow set too low. Let it \
                                   cool before you clean it."
            .to_owned(),
        Fault::Swapped { drive, with } => format!(
            "See which filament goes into which inlet: drive {} should have {}, and drive {} {}. \
             Exchange them, or move the spools in the plan.",
            drive + 1,
            spool(plan, *drive),
            with + 1,
            spool(plan, *with)
        ),
        Fault::Lag { lag_mm3 } => format!(
            "Print and fit the lag test, or write about {lag_mm3:.0} mm³ for dead and mixed volume \
             together in the machine file, and prepare again."
        ),
        Fault::Heights { .. } => "Compare the heights in the plan with the part as it was sliced: \
                                  its unit, scale, way up, first layer, and the place of the \
                                  commands in the toolpath. Prepare again from the same mesh."
            .to_owned(),
        Fault::FlowLimit { .. } => format!(
            "Print slower, or a little hotter within the filament maker's limits. The machine file \
             allows {} mm³/s; find what the hotend really melts, and write that.",
            plan.machine.flow.most_mm3_s
        ),
    }
}

/// How to find out without printing the part again.
pub(super) fn test(cause: &Cause, plan: &Plan) -> String {
    match cause.faults.first() {
        None => "Compare one of the readings once more, with the instrument zeroed.".to_owned(),
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
            "A caliper alone tells it: ten places along a metre of every filament, of filament {} \
             first.",
            drive + 1
        ),
        Fault::Feed { drive, ratio, .. } => format!(
            "Hot, mark the filament of {} 120 mm above its inlet, feed 100 mm at the speed of the \
             print, and measure what is left: this cause says that about {:.0} mm go in. Try it \
             with the spool as it hangs, and again with a metre pulled loose: if only that is \
             right, the spool or its guide is at fault. Keep fingers off the gears.",
            drive_name(plan, *drive),
            100.0 * ratio
        ),
        Fault::Slipping { drive, .. } => format!(
            "Hot, feed a metre through {} in ten lots of 100 mm from a mark, and see whether each \
             lot is as long as the others; turn the spool by hand once round and feel for a catch.",
            drive_name(plan, *drive)
        ),
        Fault::AllShort { .. } => format!(
            "Hot, feed 100 mm on each drive in turn into the air at {} mm³/s and measure what went \
             in: this cause says too little on all of them. Weighing what comes out tells the same.",
            plan.machine.flow.usual_mm3_s
        ),
        Fault::Swapped { drive, .. } => format!(
            "Hot, feed drive {} alone into the air until the colour is steady: it should be {}.",
            drive + 1,
            spool(plan, *drive)
        ),
        Fault::Lag { .. } => "Hot, purge one spool alone, change to another one, and weigh or \
                              measure what comes out until the colour begins to change (dead \
                              volume) and until it is steady; or print the lag test, which is small."
            .to_owned(),
        Fault::Heights { .. } => "Read the heights of the first and the last change in the file \
                                  that was printed, or run `tintfall verify` on it: nothing needs \
                                  to be printed."
            .to_owned(),
        Fault::FlowLimit { .. } => format!(
            "Hot, feed one drive alone into the air at the flow of the print and faster, up to {} \
             mm³/s, and hear or see from where on its gear slips.",
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
