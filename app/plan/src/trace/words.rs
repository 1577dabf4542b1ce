//! Evidence and advice in words.

use super::Cause;
use crate::Plan;

pub(super) fn evidence(cause: &Cause, plan: &Plan, before: f64, after: f64) -> String {
    let fits = format!(
        "What was seen is then off by {after:.1} times the usual error of reading, against \
         {before:.1} times for a print as planned."
    );
    let says = match cause {
        Cause::AsPlanned => {
            return format!(
                "What was seen is off by {after:.1} times the usual error of reading from a print \
                 as planned."
            );
        }
        Cause::UnderFeed {
            drive,
            missing,
            from_mm,
            slips,
        } => {
            let how = match slips {
                true => "though its gear turns as it should",
                false => "and its gear turns that much too little",
            };
            format!(
                "From {from_mm:.1} mm on {} seems to feed {:.0} % too little, {how}.",
                drive_name(plan, *drive),
                100.0 * missing
            )
        }
        Cause::Swapped { drive, with } => format!(
            "The colours are those of {} and {} exchanged.",
            spool(plan, *drive),
            spool(plan, *with)
        ),
        Cause::Lag { lag_mm3 } => format!(
            "Changes come as if the chamber held {lag_mm3:.0} mm³; the machine file says {:.0} mm³.",
            plan.machine.chamber.lag_mm3()
        ),
        Cause::Heights { start_mm, end_mm } => format!(
            "The changes of blend seem to begin at {start_mm:.1} mm and to end at {end_mm:.1} mm."
        ),
        Cause::FlowLimit { most_share } => format!(
            "No drive seems to feed more than {:.0} % of the flow.",
            100.0 * most_share
        ),
    };
    format!("{says} {fits}")
}

pub(super) fn advice(cause: &Cause, plan: &Plan) -> String {
    match cause {
        Cause::AsPlanned => "Nothing seems to be wrong with the print. If its colour is not what \
                             you wish, measure the spools, or change the plan."
            .to_owned(),
        Cause::UnderFeed {
            drive, slips: true, ..
        } => format!(
            "Look at {}: is its gear clean, its spring tight, the spool free, the inlet clear? \
             Let the hotend cool and pull the filament: a ground or thick place shows. Then \
             measure its feed over 100 mm.",
            drive_name(plan, *drive)
        ),
        Cause::UnderFeed {
            drive,
            slips: false,
            ..
        } => format!(
            "Look at {}: do its steps for each mm agree with the other drives', is its driver's \
             current enough, is it cooled? Switch off before you touch wiring.",
            drive_name(plan, *drive)
        ),
        Cause::Swapped { drive, with } => format!(
            "See which filament goes into which inlet: drive {} should have {}, and drive {} {}. \
             Exchange them, or move the spools in the plan.",
            drive + 1,
            spool(plan, *drive),
            with + 1,
            spool(plan, *with)
        ),
        Cause::Lag { lag_mm3 } => format!(
            "Print and fit the lag test, or write about {lag_mm3:.0} mm³ for dead and mixed volume \
             together in the machine file, and prepare again."
        ),
        Cause::Heights { .. } => "Compare the heights in the plan with the part as it was sliced: \
                                  its unit, scale, way up, first layer, and the place of the \
                                  commands in the toolpath. Prepare again from the same mesh."
            .to_owned(),
        Cause::FlowLimit { .. } => format!(
            "Print slower, or a little hotter within the filament maker's limits. The machine file \
             allows {} mm³/s; find what the hotend really melts, and write that.",
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
