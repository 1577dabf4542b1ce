//! Tables that people fill in, up to what is worked out from them.

use blend::calibrate::{Provenance, fit};
use blend::spectrum::{Light, Readings, Spectrum, metamerism};
use blend::{Spool, SpoolColour, Srgb};
use calibrate::Table;
use calibrate::observations::{self, LagReadings};
use geometry::Progress;
use plan::lag_fit::{of_colours, of_ends};
use plan::trace::trace;

use super::Answer;
use super::weave::with_job;

/// Fits take time with the steps; the fuzzer looks at small ones.
const MOST_STEPS: usize = 12;

/// Readings of a test bar, up to the model that fits them.
pub fn read_measured(bytes: &[u8]) -> Answer {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return Answer::Refused;
    };
    let Ok(table) = Table::read(text) else {
        return Answer::Refused;
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
        return Answer::Read;
    }
    Answer::Refused
}

/// A spectrum, up to its colour in several lights.
pub fn read_spectrum(bytes: &[u8]) -> Answer {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return Answer::Refused;
    };
    let Ok(readings) = Readings::from_csv(text) else {
        return Answer::Refused;
    };
    let xyz = readings.to_spectrum().to_xyz();
    assert!(xyz.x.is_finite() && xyz.y.is_finite() && xyz.z.is_finite());
    let grey = Spectrum::flat(0.4);
    for light in Light::OTHERS {
        let apart = metamerism(&grey, &readings.to_spectrum(), light);
        assert!(apart.is_finite() && apart >= 0.0, "{light}: {apart}");
    }
    Answer::Read
}

/// What was seen of a print, up to the causes found for it.
pub fn read_seen(bytes: &[u8]) -> Answer {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return Answer::Refused;
    };
    with_job(|job| {
        let plan = job.painted.plan();
        let Ok(sighting) = observations::read_print(text, plan.spools.len(), job.top_mm) else {
            return Answer::Refused;
        };
        if sighting.seen.len() > MOST_STEPS {
            return Answer::Refused;
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
        let sum: f64 = found.findings.iter().map(|f| f.chance).sum();
        let sum = sum + found.none_of_these;
        assert!(
            found.findings.is_empty() || (sum - 1.0).abs() < 1e-6,
            "{found:?}"
        );
        match found.findings.is_empty() {
            true => Answer::Refused,
            false => Answer::Read,
        }
    })
}

/// Readings of a lag test, up to the chamber that fits them.
pub fn read_lag(bytes: &[u8]) -> Answer {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return Answer::Refused;
    };
    let Ok(readings) = observations::read_lag(text) else {
        return Answer::Refused;
    };
    with_job(|job| {
        let (plan, model) = (job.painted.plan(), job.painted.model());
        let (schedule, printed) = (&job.schedule, &job.printed);
        let fit = match &readings {
            LagReadings::Colours(list) if list.len() > MOST_STEPS => return Answer::Refused,
            LagReadings::Colours(list) => of_colours(plan, model, schedule, printed, list),
            LagReadings::Ends(list) => of_ends(plan, model, schedule, printed, list),
        };
        let Ok(fit) = fit else {
            return Answer::Refused;
        };
        assert!(fit.chamber.dead_mm3.is_finite() && fit.chamber.mixed_mm3.is_finite());
        let errors = [fit.dead_error_mm3, fit.mixed_error_mm3, fit.lag_error_mm3];
        assert!(errors.iter().all(|e| e.is_finite() && *e >= 0.0), "{fit:?}");
        Answer::Read
    })
}
