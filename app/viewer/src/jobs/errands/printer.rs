//! Knowing the spools and the hotend: test prints, and the fit of the chamber.

use std::path::Path;

use calibrate::lag_test::LagTest;
use calibrate::observations::{read_lag, with_chamber};
use calibrate::{Options, Swatch};
use geometry::Progress;
use plan::lag_fit::{LagFit, Unit};
use plan::machine::Chamber;
use plan::{Plan, ron_text};
use project::job::Job;

use super::order::{Order, not_prepared, text_of, typed, worked};
use crate::jobs::Stop;
use crate::model::errand::{Answer, Forms, Line};

/// Writes the test print of the plan's spools.
pub(super) fn swatch(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let folder = typed(&order.forms.swatch_folder, "the folder")?;
    let plan = &order.part.plan;
    let options = Options {
        between: order.forms.between,
        tallest_mm: order.forms.tallest_mm,
    };
    let swatch = Swatch::new(plan.spools.value.clone(), &plan.machine, &options)
        .map_err(|error| Stop::failed(&error))?;
    swatch
        .write(&folder)
        .map_err(|error| Stop::failed(&error))?;
    let mut answer = Answer::wrote(&folder);
    let (mut mass_g, mut minutes) = (0.0, 0.0);
    for (name, bar) in swatch.bars() {
        let job = Job::open(&Swatch::plan_file(&folder, name), progress)?;
        let made = package::prepare(&job, &folder.join(name), progress).map_err(not_prepared)?;
        let totals = &made.summary.totals;
        mass_g += totals.spools.iter().map(|s| s.mass_g).sum::<f64>();
        minutes += plan.machine.minutes(totals.volume_mm3);
        let about = format!("an upright bar of {} steps", bar.steps.len());
        answer.lines.push(Line::File(format!("{name}.stl"), about));
        let about = "its plan, schedule and sheet".to_owned();
        answer.lines.push(Line::File(format!("{name}/"), about));
    }
    answer.lines.extend(
        [
            (
                "how-to-measure.txt",
                "where everything is, and how to measure it",
            ),
            (Swatch::TABLE, "the table to fill in"),
        ]
        .map(|(file, about)| Line::File(file.to_owned(), about.to_owned())),
    );
    answer.lines.push(Line::Text(format!(
        "It takes about {mass_g:.0} g of plastic and {:.1} h, at the machine's usual flow and \
         without travel moves. Print it, measure it, fill in {}, and take that file on the page \
         of spools.",
        minutes / 60.0,
        Swatch::TABLE
    )));
    Ok(answer)
}

/// Writes the lag test for the plan's spools and machine.
pub(super) fn lag_test(order: &Order, progress: &Progress) -> Result<Answer, Stop> {
    let folder = typed(&order.forms.lag_folder, "the folder")?;
    let plan = &order.part.plan;
    let mut test = LagTest::new(
        &plan.spools,
        order.part.model.as_ref(),
        &plan.machine,
        "lag-test.stl",
    )
    .map_err(|error| Stop::failed(&error))?;
    let measured = measured_text(plan)?;
    if measured.is_some() {
        test.name_measured(plan.spools.value.clone());
    }
    test.write(&folder, measured.as_deref())
        .map_err(|error| Stop::failed(&error))?;
    let job = Job::open(&folder.join("lag-test.plan.ron"), progress)?;
    package::prepare(&job, &folder.join(LagTest::NAME), progress).map_err(not_prepared)?;
    let mut answer = Answer::wrote(&folder);
    answer.lines.extend(
        [
            ("lag-test.stl", "a thin square tower"),
            ("lag-test/", "its schedule, sheet and summary"),
            ("how-to-read.txt", "how to print and read it"),
            ("ends.csv", "a table for where each change began and ended"),
            ("colours.csv", "a table for colours by height: a better fit"),
        ]
        .map(|(file, about)| Line::File(file.to_owned(), about.to_owned())),
    );
    answer.lines.push(Line::Warning(
        "Print the tower alone and slowly, and stay with it: it is thin and tall. Nozzle and bed \
         burn."
            .to_owned(),
    ));
    Ok(answer)
}

/// What was measured of the spools, written out as their file has it.
fn measured_text(plan: &Plan) -> Result<Option<String>, Stop> {
    let measured = plan.spools.measured.as_ref();
    measured
        .map(|measured| ron_text::write(measured).map_err(|error| Stop::failed(&error)))
        .transpose()
}

/// Fits the chamber, and writes the machine file.
pub(super) fn lag_fit(forms: &Forms, progress: &Progress) -> Result<Answer, Stop> {
    let plan_file = typed(&forms.lag_plan, "the plan that was printed")?;
    let readings_file = typed(&forms.lag_readings, "the table of readings")?;
    let out = typed(&forms.machine_file, "the machine file to write")?;
    let named = |error: &dyn std::error::Error| {
        Stop::Failed(format!("{}: {error}", readings_file.display()))
    };
    let readings = read_lag(&text_of(&readings_file)?).map_err(|error| named(&error))?;
    let job = Job::open(&plan_file, progress)?;
    let (schedule, printed) = worked(&job, progress)?;
    progress.stage("Fitting");
    let (plan, model) = (job.painted.plan(), job.painted.model());
    let fit = readings
        .fit(plan, model, &schedule, &printed)
        .map_err(|error| named(&error))?;
    let machine = with_chamber(&plan.machine, &fit);
    let text = machine.to_ron().map_err(|error| Stop::failed(&error))?;
    project::write::bytes(&out, text.as_bytes()).map_err(|error| Stop::failed(&error))?;
    Ok(fitted(&out, &plan.machine.chamber, &fit))
}

fn fitted(out: &Path, before: &Chamber, fit: &LagFit) -> Answer {
    let chamber = &fit.chamber;
    let unit = match fit.unit {
        Unit::De00 => "ΔE00",
        Unit::Mm => "mm",
    };
    let mut answer = Answer::wrote(out);
    answer.lines.push(Line::Text(format!(
        "Dead volume {:.1} ± {:.1} mm³ (before {:.1}); mixed volume {:.1} ± {:.1} mm³ (before \
         {:.1}); lag {:.1} ± {:.1} mm³. ± is one standard error.",
        chamber.dead_mm3,
        fit.dead_error_mm3,
        before.dead_mm3,
        chamber.mixed_mm3,
        fit.mixed_error_mm3,
        before.mixed_mm3,
        chamber.lag_mm3(),
        fit.lag_error_mm3,
    )));
    answer.lines.push(Line::Text(format!(
        "{} readings are off by {:.2} {unit} (RMS), with the old chamber by {:.2} {unit}. In a \
         plan beside it, name it as its machine.",
        fit.readings, fit.misfit, fit.misfit_before
    )));
    let warnings = fit.warnings.iter().map(|w| Line::Warning(format!("{w}.")));
    answer.lines.extend(warnings);
    answer
}
