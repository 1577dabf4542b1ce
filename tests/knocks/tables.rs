//! Tables that people fill in, up to what is worked out from them.

use blend::calibrate::{Provenance, fit};
use blend::spectrum::Readings;
use blend::{Spool, SpoolColour, Srgb};
use calibrate::Table;
use calibrate::observations::{LagReadings, read_lag, read_print};
use geometry::Progress;
use plan::lag_fit::{of_colours, of_ends};
use plan::trace::trace;

use super::weave::with_job;

/// Fits take time with the steps; the fuzzer looks at small ones.
const MOST_STEPS: usize = 12;

pub(super) fn measured(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(table) = Table::read(text) else {
        return;
    };
    let text = table.write().expect("what was read can be written");
    assert_eq!(Table::read(&text).expect("what was written"), table);
    let count = table.rows.first().map_or(0, |row| row.shares.count());
    let spools: Vec<Spool> = (0..count)
        .map(|i| Spool::new(format!("{i}"), SpoolColour::Hex(Srgb([40 * i as u8; 3]))))
        .collect();
    if let Ok(drawn) = table.measurements(&spools, Provenance::default())
        && drawn.measurements.steps.len() <= MOST_STEPS
        && count <= 3
        && let Ok(fitted) = fit(&drawn.measurements)
    {
        assert!(fitted.strengths.iter().all(|s| s.is_finite()));
    }
}

pub(super) fn spectrum(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Ok(readings) = Readings::from_csv(text) {
        let xyz = readings.to_spectrum().to_xyz();
        assert!(xyz.x.is_finite() && xyz.y.is_finite() && xyz.z.is_finite());
    }
}

/// What was seen of a print, up to the causes found for it.
pub(super) fn seen(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    with_job(|job| {
        let plan = job.painted.plan();
        let Ok(sighting) = read_print(text, plan.spools.len(), job.top_mm) else {
            return;
        };
        if sighting.seen.len() > MOST_STEPS {
            return;
        }
        let model = job.painted.model();
        let progress = Progress::new();
        let found = trace(
            plan,
            model,
            &job.schedule,
            &job.printed,
            &sighting,
            &progress,
        )
        .expect("nobody cancels it");
        let sum: f64 = found.iter().map(|f| f.chance).sum();
        assert!(found.is_empty() || (sum - 1.0).abs() < 1e-6, "{found:?}");
    });
}

/// Readings of a lag test, up to the chamber that fits them.
pub(super) fn lag(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(readings) = read_lag(text) else {
        return;
    };
    with_job(|job| {
        let (plan, model) = (job.painted.plan(), job.painted.model());
        let (schedule, printed) = (&job.schedule, &job.printed);
        let fit = match &readings {
            LagReadings::Colours(list) if list.len() > MOST_STEPS => return,
            LagReadings::Colours(list) => of_colours(plan, model, schedule, printed, list),
            LagReadings::Ends(list) => of_ends(plan, model, schedule, printed, list),
        };
        if let Ok(fit) = fit {
            assert!(fit.chamber.dead_mm3.is_finite() && fit.chamber.mixed_mm3.is_finite());
        }
    });
}
