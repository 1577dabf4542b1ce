//! A handle through which long work tells how far it is and learns that it should stop.

use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The work was cancelled; nothing of it remains.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cancelled")]
pub struct Cancelled;

/// A shared handle: the worker reports stages and fractions, any holder may cancel.
///
/// ```
/// use geometry::Progress;
/// let progress = Progress::new();
/// progress.stage("Slicing");
/// progress.set(0.5);
/// assert_eq!(progress.seen(), ("Slicing".to_owned(), 0.5));
/// progress.cancel();
/// assert!(progress.check().is_err());
/// ```
#[derive(Clone, Debug, Default)]
pub struct Progress(Arc<Line>);

/// How long the stages of one name took.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageTime {
    /// The stage, in words a person reads.
    pub name: String,
    /// When it first began, counted from the first handle.
    pub began: Duration,
    /// How long it took, all its times added up.
    pub took: Duration,
    /// Processor time of the whole process in the meantime, work beside it included; none where
    /// the handle has no such clock ([`Progress::with_clock`]).
    pub processor: Option<Duration>,
    /// How often it was begun.
    pub times: usize,
}

/// A line of work: one stage after the other.
#[derive(Debug, Default)]
struct Line {
    work: Arc<Work>,
    stage: Mutex<Option<Stage>>,
    /// Fraction of the stage as `f32` bits.
    fraction: AtomicU32,
}

/// The stage that a line is at.
#[derive(Clone, Debug)]
struct Stage {
    name: String,
    since: Instant,
    processor_before: Option<Duration>,
}

/// What lines side by side share.
#[derive(Debug)]
struct Work {
    begun: Instant,
    /// The processor time that this process took so far.
    clock: Option<fn() -> Duration>,
    cancelled: AtomicBool,
    /// Stages that are over.
    over: Mutex<Vec<StageTime>>,
}

impl Default for Work {
    fn default() -> Self {
        Self {
            begun: Instant::now(),
            clock: None,
            cancelled: AtomicBool::new(false),
            over: Mutex::new(Vec::new()),
        }
    }
}

impl Work {
    fn add(&self, stage: Stage) {
        if let Ok(mut over) = self.over.lock() {
            self.add_to(&mut over, stage);
        }
    }

    fn processor(&self) -> Option<Duration> {
        self.clock.map(|clock| clock())
    }

    fn add_to(&self, times: &mut Vec<StageTime>, stage: Stage) {
        let took = stage.since.elapsed();
        let began = stage.since.duration_since(self.begun);
        let before = stage.processor_before;
        let processor = self.processor().zip(before);
        let processor = processor.map(|(now, before)| now.saturating_sub(before));
        match times.iter_mut().find(|time| time.name == stage.name) {
            Some(time) => {
                time.took += took;
                time.processor = time.processor.zip(processor).map(|(a, b)| a + b);
                time.times += 1;
            }
            None => times.push(StageTime {
                name: stage.name,
                began,
                took,
                processor,
                times: 1,
            }),
        }
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        let stage = self.stage.get_mut().ok().and_then(Option::take);
        if let Some(stage) = stage {
            self.work.add(stage);
        }
    }
}

impl Progress {
    /// A fresh handle, at no stage, not cancelled.
    pub fn new() -> Self {
        Self::default()
    }

    /// A fresh handle with a clock of the processor time that this process took so far, so that
    /// [`Progress::timings`] say how many cores were busy.
    pub fn with_clock(clock: fn() -> Duration) -> Self {
        let work = Work {
            clock: Some(clock),
            ..Work::default()
        };
        Self(Arc::new(Line {
            work: Arc::new(work),
            stage: Mutex::default(),
            fraction: AtomicU32::default(),
        }))
    }

    /// A handle for work that runs beside this one: it is cancelled with it and has stages of
    /// its own, which end when it is dropped.
    ///
    /// ```
    /// use geometry::Progress;
    /// let progress = Progress::new();
    /// progress.stage("Measuring");
    /// let beside = progress.beside();
    /// beside.stage("Drawing");
    /// assert_eq!(progress.seen().0, "Measuring");
    /// drop(beside);
    /// let names: Vec<String> = progress.timings().into_iter().map(|time| time.name).collect();
    /// assert_eq!(names, ["Measuring", "Drawing"]);
    /// ```
    pub fn beside(&self) -> Self {
        Self(Arc::new(Line {
            work: Arc::clone(&self.0.work),
            stage: Mutex::default(),
            fraction: AtomicU32::default(),
        }))
    }

    /// Begins a stage, named in words a person reads, at fraction 0. The one before is over.
    pub fn stage(&self, name: &str) {
        let new = Stage {
            name: name.to_owned(),
            since: Instant::now(),
            processor_before: self.0.work.processor(),
        };
        let before = match self.0.stage.lock() {
            Ok(mut stage) => stage.replace(new),
            Err(_) => None,
        };
        if let Some(before) = before {
            self.0.work.add(before);
        }
        self.set(0.0);
    }

    /// Sets the fraction of the present stage, in `0..=1`.
    pub fn set(&self, fraction: f32) {
        self.0
            .fraction
            .store(fraction.clamp(0.0, 1.0).to_bits(), Ordering::Relaxed);
    }

    /// The stage and its fraction, for a progress bar.
    pub fn seen(&self) -> (String, f32) {
        let stage = self.0.stage.lock().ok().and_then(|stage| stage.clone());
        (
            stage.map(|stage| stage.name).unwrap_or_default(),
            f32::from_bits(self.0.fraction.load(Ordering::Relaxed)),
        )
    }

    /// Hands the stage's name to whoever must not ask for memory; nothing if it is being set.
    pub fn with_stage(&self, tell: impl FnOnce(&str)) {
        if let Ok(stage) = self.0.stage.try_lock() {
            tell(stage.as_ref().map_or("", |stage| &stage.name));
        }
    }

    /// How long each stage took up to now, in the order in which they began; stages of one name
    /// are added up, and those of lines beside this one overlap.
    pub fn timings(&self) -> Vec<StageTime> {
        let work = &self.0.work;
        let mut times = work.over.lock().map(|t| t.clone()).unwrap_or_default();
        let now = self.0.stage.lock().ok().and_then(|stage| stage.clone());
        if let Some(stage) = now {
            work.add_to(&mut times, stage);
        }
        times.sort_by_key(|time| time.began);
        times
    }

    /// Processor time of the process so far, where the handle has a clock of it.
    pub fn processor(&self) -> Option<Duration> {
        self.0.work.processor()
    }

    /// How long it is since the first handle was made.
    pub fn elapsed(&self) -> Duration {
        self.0.work.begun.elapsed()
    }

    /// Asks the work to stop at its next check.
    pub fn cancel(&self) {
        self.0.work.cancelled.store(true, Ordering::Relaxed);
    }

    /// Fails once the work should stop; call it between pieces of work.
    pub fn check(&self) -> Result<(), Cancelled> {
        match self.0.work.cancelled.load(Ordering::Relaxed) {
            true => Err(Cancelled),
            false => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stages_of_one_name_are_added_up_in_the_order_they_began() {
        let progress = Progress::new();
        for name in ["Reading", "Cutting", "Reading"] {
            progress.stage(name);
        }
        let times = progress.timings();
        let told: Vec<(&str, usize)> = times.iter().map(|t| (t.name.as_str(), t.times)).collect();
        assert_eq!(told, [("Reading", 2), ("Cutting", 1)]);
        let all: Duration = times.iter().map(|t| t.took).sum();
        assert!(all <= progress.elapsed());
    }

    #[test]
    fn processor_time_is_told_where_there_is_a_clock() {
        use std::sync::atomic::AtomicU64;
        static SECONDS: AtomicU64 = AtomicU64::new(0);
        let clock = || Duration::from_secs(SECONDS.fetch_add(2, Ordering::Relaxed));
        let progress = Progress::with_clock(clock);
        for name in ["Reading", "Cutting", "Reading"] {
            progress.stage(name);
        }
        let times = progress.timings();
        // Each reading of the clock is two seconds later: as a stage begins, and as one is over.
        let told: Vec<Option<u64>> = times
            .iter()
            .map(|t| t.processor.map(|p| p.as_secs()))
            .collect();
        assert_eq!(told, [Some(8), Some(6)]);
        assert_eq!(Progress::new().processor(), None);
    }

    #[test]
    fn work_beside_is_cancelled_with_the_rest() {
        let progress = Progress::new();
        let beside = progress.beside();
        progress.cancel();
        assert!(beside.check().is_err());
        assert!(progress.timings().is_empty());
    }
}
