//! From what was seen of a bad print to its likeliest cause.
//!
//! Each fault is a small change of the print: a drive that feeds too little or too much for a
//! while, two spools exchanged, another chamber, heights that are off, a hotend that can't melt
//! fast enough. The part is followed through the chamber under each of them, alone and in
//! pairs, their free numbers are fitted to what was seen, and the causes are ranked by how well
//! they then explain it, one free number against another (G. Schwarz, "Estimating the Dimension
//! of a Model", Annals of Statistics 6(2), 1978, from memory), and by how usual each is. Where
//! none explains it, that is said.

mod fault;
mod fed;
mod forward;
mod leftover;
mod misfit;
mod numbers;
mod odds;
mod search;
mod seen;
mod together;
mod whole;
mod words;

use blend::MixModel;
use geometry::{Cancelled, Progress};
use serde::{Deserialize, Serialize};

use crate::{AsPrinted, Plan, Schedule};
use search::Fit;

pub use fault::{Cause, Fault, Shows};
pub use seen::{Seen, Sighting, Together};

/// What was found out about a print.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tracing {
    /// The causes, the likeliest first.
    pub findings: Vec<Finding>,
    /// How likely it is that it is none of these.
    pub none_of_these: f64,
    /// What to say to that, where it is likely.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doubt: Option<String>,
}

/// Findings less likely than this are only named.
const WORTH_TELLING: f64 = 0.01;

/// The most findings that are told in full.
const MOST_TOLD: usize = 5;

/// What of a [`Tracing`] a person is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Told<'a> {
    /// The causes to tell in full, the likeliest first.
    pub likely: Vec<&'a Finding>,
    /// How likely it is that it is none of these, if that is worth telling.
    pub none_of_these: Option<f64>,
    /// The names of the other single causes.
    pub unlikely: Vec<String>,
}

impl Tracing {
    /// What a person is told: no more causes than one can look into, the rest by their names.
    pub fn told(&self) -> Told<'_> {
        let (worth, rest): (Vec<&Finding>, Vec<&Finding>) = self
            .findings
            .iter()
            .partition(|f| f.chance >= WORTH_TELLING);
        let others = worth.iter().skip(MOST_TOLD).chain(&rest);
        let likely: Vec<String> = worth.iter().map(|f| f.cause.name()).collect();
        let mut unlikely: Vec<String> = Vec::new();
        for finding in others.filter(|f| f.cause.faults.len() < 2) {
            let name = finding.cause.name();
            // The same of another drive.
            let is_told = likely.iter().take(MOST_TOLD).any(|told| *told == name);
            if !is_told && !unlikely.contains(&name) {
                unlikely.push(name);
            }
        }
        Told {
            likely: worth.into_iter().take(MOST_TOLD).collect(),
            none_of_these: Some(self.none_of_these).filter(|chance| *chance >= WORTH_TELLING),
            unlikely,
        }
    }
}

/// A cause, and what speaks for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// The cause.
    pub cause: Cause,
    /// How likely it is, against the others and against none of them.
    pub chance: f64,
    /// How far what was seen is from what the cause makes, in expected errors of reading (root
    /// mean square): near 1 is as good as readings are.
    pub misfit: f64,
    /// What speaks for it, in a sentence or two.
    pub evidence: String,
    /// What to try.
    pub advice: String,
    /// How to find out whether it is so without printing the part again.
    pub test: String,
}

/// Above this it is said that nothing explains what was seen.
const DOUBTFUL: f64 = 0.3;
/// To so many of the best single faults a second one is added.
const PAIRED: usize = 3;
/// Beside a single fault that explains what was seen to so many usual errors only
/// [`search::QUICK`] seconds are looked for.
const GOOD: f64 = 1.15;

/// Ranks causes for what was seen, the likeliest first. Of each kind of cause only the one that
/// fits best is told; of one that is a single drive's, the best for each drive, since colours often
/// can't tell them apart.
///
/// # Errors
/// [`Cancelled`] when cancelled.
pub fn trace(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    sighting: &Sighting,
    progress: &Progress,
) -> Result<Tracing, Cancelled> {
    progress.stage("Looking for the cause");
    let print = forward::Print::new(plan, model, schedule, printed, sighting);
    if print.is_blind() {
        return Ok(Tracing::default());
    }
    let planned = print.misfit(&[]);
    let mut fits = vec![search::fitted(&print, &[])];
    fits.extend(beside(&print, &[], &search::SEARCHES, progress)?);
    progress.set(0.4);
    let mut singles: Vec<Fit> = fits.iter().skip(1).cloned().collect();
    singles.sort_by(|a, b| a.squares.total_cmp(&b.squares));
    // Of a kind the best drive's is enough to begin a pair with.
    let mut kinds: Vec<&str> = Vec::new();
    singles.retain(|single| {
        let kind = single.cause.faults.first().map_or("", Fault::name);
        let is_new = !kinds.contains(&kind);
        kinds.push(kind);
        is_new
    });
    let good = GOOD * GOOD * planned.count as f64;
    let explained = fits.iter().any(|f| f.squares <= good);
    // A chamber that is larger, or two spools exchanged, can hide in the scatter of readings
    // behind a drive that feeds too little; and both are quickly looked for.
    let seconds: &[_] = match explained {
        true => &search::QUICK,
        false => &search::SEARCHES,
    };
    for single in singles.iter().take(PAIRED) {
        fits.extend(beside(&print, &single.cause.faults, seconds, progress)?);
    }
    let fits = distinct(fits);
    let odds = odds::odds(
        &fits,
        planned.count,
        print.looks.len(),
        sighting.is_photographed(),
    );
    let mut findings: Vec<Finding> = fits
        .iter()
        .zip(&odds.chances)
        .map(|(fit, &chance)| {
            let misfit = (fit.squares / planned.count as f64).sqrt();
            Finding {
                chance,
                misfit,
                evidence: words::evidence(&fit.cause, plan, planned.rms(), misfit),
                advice: words::advice(&fit.cause, plan),
                test: words::test(&fit.cause, plan),
                cause: fit.cause.clone(),
            }
        })
        .collect();
    findings.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    let nearest = fits
        .iter()
        .map(|f| (f.squares / planned.count as f64).sqrt())
        .fold(f64::INFINITY, f64::min);
    Ok(Tracing {
        findings,
        none_of_these: odds.none,
        doubt: (odds.none > DOUBTFUL).then(|| words::doubt(nearest)),
    })
}

/// The best fit of each search's kind of fault beside some others.
fn beside(
    print: &forward::Print,
    others: &[Fault],
    searches: &[search::Search],
    progress: &Progress,
) -> Result<Vec<Fit>, Cancelled> {
    let mut fits = Vec::new();
    for search in searches {
        progress.check()?;
        for fault in search(print, others) {
            // Spells of slipping follow any scatter: beside another fault they explain too much.
            let slips = |fault: &Fault| matches!(fault, Fault::Slipping { .. });
            let both = others.iter().any(slips) || (!others.is_empty() && slips(&fault));
            let known = both || others.iter().any(|other| alike(other, &fault));
            if !known {
                fits.push(search::fitted(print, &search::with(others, &fault)));
            }
        }
    }
    Ok(fits)
}

/// Whether two faults would not be told apart as two: of one kind, and of one drive.
fn alike(one: &Fault, other: &Fault) -> bool {
    match (one.drive(), other.drive()) {
        (Some(one), Some(other)) => one == other,
        _ => std::mem::discriminant(one) == std::mem::discriminant(other),
    }
}

/// Of causes of the same faults, of the same drives or in another order, the better one.
fn distinct(fits: Vec<Fit>) -> Vec<Fit> {
    let kinds = |fit: &Fit| {
        let faults = fit.cause.faults.iter();
        let mut kinds: Vec<_> = faults.map(|fault| (fault.name(), fault.drive())).collect();
        kinds.sort_unstable();
        kinds
    };
    let mut kept: Vec<Fit> = Vec::new();
    for fit in fits {
        let same = kept.iter_mut().find(|other| kinds(other) == kinds(&fit));
        match same {
            Some(other) if fit.squares < other.squares => *other = fit,
            Some(_) => {}
            None => kept.push(fit),
        }
    }
    kept
}

/// What would be seen of a print with a cause at work: what [`trace`] compares with. For
/// studies, and to show a person what a cause looks like.
pub fn expected(
    plan: &Plan,
    model: &dyn MixModel,
    schedule: &Schedule,
    printed: &AsPrinted,
    sighting: &Sighting,
    cause: &Cause,
) -> Sighting {
    let print = forward::Print::new(plan, model, schedule, printed, sighting);
    Sighting {
        seen: print.seen(cause),
        ..sighting.clone()
    }
}
