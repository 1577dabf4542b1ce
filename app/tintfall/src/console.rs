//! The terminal: results on standard output; progress and complaints on standard error.

use std::borrow::Cow;
use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use geometry::Progress;
use indicatif::{ProgressBar, ProgressStyle};

use crate::fault::Fault;
use crate::timings;

/// How often the bar looks at the work.
const BEAT: Duration = Duration::from_millis(80);

/// Where a command prints, and the handle by which Ctrl-C cancels it.
pub(crate) struct Console {
    progress: Progress,
}

impl Console {
    /// Listens for Ctrl-C: the first cancels the work, a second ends the program.
    pub(crate) fn new() -> Self {
        let progress = Progress::with_clock(timings::processor);
        let handle = progress.clone();
        // Without the handler Ctrl-C ends the program as it always does.
        let _ = ctrlc::set_handler(move || {
            if handle.check().is_err() {
                project::write::give_up();
                std::process::exit(130);
            }
            handle.cancel();
        });
        Self { progress }
    }

    /// How far the work of this command is.
    pub(crate) fn progress(&self) -> &Progress {
        &self.progress
    }

    /// Writes to standard output.
    pub(crate) fn out(&self, text: &str) -> Result<(), Fault> {
        let mut out = io::stdout().lock();
        match out
            .write_all(plain(text).as_bytes())
            .and_then(|()| out.flush())
        {
            Ok(()) => Ok(()),
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Err(Fault::NobodyListens),
            Err(e) => Err(Fault::system(format!("can't write the output: {e}"))),
        }
    }

    /// Prints something that is not a result to standard error.
    pub(crate) fn note(&self, text: &str) {
        // With standard error gone there is nobody left to tell.
        let _ = writeln!(io::stderr(), "{}", plain(text));
    }

    /// Says why a command ends early.
    pub(crate) fn complain(&self, fault: &Fault) {
        if !matches!(fault, Fault::NobodyListens) {
            self.note(&format!("tintfall: {fault}"));
        }
    }

    /// How long each stage of the work took so far.
    pub(crate) fn timings(&self) -> String {
        let whole = (self.progress.elapsed(), self.progress.processor());
        timings::table(&self.progress.timings(), whole)
    }

    /// Does long work under a progress bar, which shows only on a terminal.
    pub(crate) fn working<T>(&self, work: impl FnOnce(&Progress) -> T) -> T {
        if !io::stderr().is_terminal() {
            return work(&self.progress);
        }
        let done = AtomicBool::new(false);
        thread::scope(|scope| {
            // Without the thread the bar is not shown, and the work goes on.
            let watcher = thread::Builder::new()
                .spawn_scoped(scope, || watch(&self.progress, &done))
                .ok();
            // Set on the way out of a panic as well, or the scope would wait for ever.
            let stop = StopOnDrop(&done);
            let result = work(&self.progress);
            drop(stop);
            if let Some(watcher) = watcher {
                watcher.thread().unpark();
            }
            result
        })
    }
}

/// Names from files may hold control characters of the terminal: they are shown, not sent.
fn plain(text: &str) -> Cow<'_, str> {
    let steers = |c: char| c.is_control() && c != '\n' && c != '\t';
    match text.contains(steers) {
        false => Cow::Borrowed(text),
        true => {
            let shown = text.chars().map(|c| match steers(c) {
                true => Cow::Owned(c.escape_default().to_string()),
                false => Cow::Owned(c.to_string()),
            });
            Cow::Owned(shown.collect::<Vec<Cow<'_, str>>>().concat())
        }
    }
}

struct StopOnDrop<'a>(&'a AtomicBool);

impl Drop for StopOnDrop<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Release);
    }
}

/// Shows the work's progress until it is done.
fn watch(progress: &Progress, done: &AtomicBool) {
    const STEPS: u64 = 1000;
    let bar = ProgressBar::new(STEPS);
    if let Ok(style) = ProgressStyle::with_template("{msg:32} {bar:40} {percent:>3} %") {
        bar.set_style(style.progress_chars("━╸─"));
    }
    while !done.load(Ordering::Acquire) {
        let (stage, share) = progress.seen();
        bar.set_message(stage);
        bar.set_position((f64::from(share) * STEPS as f64) as u64);
        thread::park_timeout(BEAT);
    }
    bar.finish_and_clear();
}
