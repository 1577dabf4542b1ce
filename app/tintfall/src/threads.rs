//! The threads that share the work: as many as the system gives, and if need be the main one alone.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

use rayon::ThreadPoolBuilder;

use crate::fault::Fault;

/// Starts the threads. What a person should know is told: that there are fewer than usual.
///
/// # Errors
/// [`Fault::System`] if the system gives not even what the main thread needs.
pub(crate) fn start() -> Result<Option<String>, Fault> {
    let wanted = wanted();
    let room = room::threads().unwrap_or(wanted).min(wanted);
    let given = if room < 2 { 0 } else { given(room) };
    let pool = match given {
        // The main thread shares the work with nobody: for that no thread is started.
        ..2 => ThreadPoolBuilder::new().num_threads(1).use_current_thread(),
        _ => ThreadPoolBuilder::new().num_threads(given),
    };
    pool.build_global()
        .map_err(|error| Fault::System(format!("no threads can be started: {error}")))?;
    Ok((given.max(1) < wanted).then(|| {
        format!(
            "Note: the system gives {} of {wanted} threads, so the work takes longer. A limit on \
             memory or on threads is set.",
            given.max(1)
        )
    }))
}

/// As many as there are cores, or as the variable of the library asks for.
fn wanted() -> usize {
    let asked = std::env::var("RAYON_NUM_THREADS").ok();
    match asked.and_then(|text| text.parse().ok()) {
        Some(count) if count > 0 => count,
        _ => thread::available_parallelism().map_or(1, usize::from),
    }
}

/// How many of so many threads the system starts. They end before this returns: the library
/// can't be asked twice, so it is asked only for what there is.
fn given(wanted: usize) -> usize {
    let over = Arc::new(AtomicBool::new(false));
    let start = || -> io::Result<JoinHandle<()>> {
        let over = Arc::clone(&over);
        thread::Builder::new().spawn(move || {
            while !over.load(Ordering::Acquire) {
                thread::park();
            }
        })
    };
    let started: Vec<JoinHandle<()>> = (0..wanted).map_while(|_| start().ok()).collect();
    over.store(true, Ordering::Release);
    for thread in &started {
        thread.thread().unpark();
    }
    let count = started.len();
    for thread in started {
        // It does nothing that could fail.
        let _ = thread.join();
    }
    count
}

/// How many threads fit under the limits on memory; half of what is left is for the work.
#[cfg(target_os = "linux")]
mod room {
    use rustix::process::{Resource, getrlimit};

    /// Addresses that a thread takes, bytes: its stack, and what the system's allocator sets
    /// aside for it (64 MiB in that of GNU).
    const ADDRESSES: u64 = 68 << 20;
    /// Memory that a thread takes, bytes: its stack.
    const DATA: u64 = 3 << 20;

    /// None without a limit.
    pub(super) fn threads() -> Option<usize> {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let fit = |resource, field, each: u64| {
            let limit = getrlimit(resource).current?;
            let left = limit.saturating_sub(taken(&status, field));
            usize::try_from(left / 2 / each).ok()
        };
        let addresses = fit(Resource::As, "VmSize:", ADDRESSES);
        let data = fit(Resource::Data, "VmData:", DATA);
        addresses.into_iter().chain(data).min()
    }

    /// A field of proc_pid_status(5) in KiB, as bytes; 0 where it is not told.
    fn taken(status: &str, field: &str) -> u64 {
        let line = status.lines().find_map(|line| line.strip_prefix(field));
        let kib = line.and_then(|text| text.trim().strip_suffix("kB")?.trim().parse::<u64>().ok());
        kib.unwrap_or(0) * 1024
    }

    #[cfg(test)]
    mod tests {
        #[test]
        fn a_field_is_read_in_bytes() {
            let status = "Name:\tx\nVmSize:\t    2048 kB\nVmData:\t 12 kB\n";
            assert_eq!(super::taken(status, "VmSize:"), 2 << 20);
            assert_eq!(super::taken(status, "VmData:"), 12 << 10);
            assert_eq!(super::taken(status, "VmPeak:"), 0);
        }
    }
}

#[cfg(not(target_os = "linux"))]
mod room {
    /// Nothing is known of limits here.
    pub(super) fn threads() -> Option<usize> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_few_threads_are_given() {
        assert_eq!(given(3), 3);
    }
}
