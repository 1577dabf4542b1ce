//! Memory that runs out: told in words, with exit code 1, and a bound under which it does so
//! before the whole machine suffers.
//!
//! On Linux the system counts the bytes, by its limit on a process's data; elsewhere there is no
//! bound but the system's own. Whatever asks for more than there is, here or in a library, ends
//! up in [`ran_out`]; nothing of what was being written is left.

use std::alloc::{GlobalAlloc, Layout, System};
use std::io::Write;
use std::process;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, OnceLock};
use std::thread::{self, Thread};
use std::time::Duration;

use geometry::Progress;

/// The exit code of what the system would not give.
const EXIT: i32 = 1;

/// Held back, so that there is memory to say that there is none, bytes.
const RESERVE: usize = 4 << 20;

/// How long tidying up may take.
const TIDY: Duration = Duration::from_secs(2);

/// The system's allocator, but for what it does when there is no more.
pub(crate) struct Allocator;

#[global_allocator]
static ALLOCATOR: Allocator = Allocator;

static RAN_OUT: AtomicBool = AtomicBool::new(false);
static TOLD: AtomicBool = AtomicBool::new(false);
static BOUND: AtomicU64 = AtomicU64::new(u64::MAX);
static HELD_BACK: Mutex<Vec<u8>> = Mutex::new(Vec::new());
static WORK: OnceLock<Progress> = OnceLock::new();
static TIDIER: OnceLock<Thread> = OnceLock::new();

#[allow(
    unsafe_code,
    reason = "an allocator can't be written without; each call is handed on as it came"
)]
// SAFETY: every call goes to the system's allocator with the caller's own arguments.
unsafe impl GlobalAlloc for Allocator {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        given(unsafe { System.alloc(layout) }, layout.size())
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        given(unsafe { System.alloc_zeroed(layout) }, layout.size())
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        given(unsafe { System.realloc(at, layout, size) }, size)
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        unsafe { System.dealloc(at, layout) }
    }
}

#[inline]
fn given(at: *mut u8, bytes: usize) -> *mut u8 {
    if at.is_null() {
        ran_out(bytes);
    }
    at
}

/// Makes ready to tell of work that runs out of memory, and sets the bound: `most_gib`, or nine
/// tenths of what the machine has.
pub(crate) fn watch(work: &Progress, most_gib: Option<f64>) {
    let _ = WORK.set(work.clone());
    if let Ok(mut held) = HELD_BACK.lock() {
        held.reserve_exact(RESERVE);
    }
    let tidier = thread::Builder::new().spawn(|| {
        while !TOLD.load(Ordering::Acquire) {
            thread::park();
        }
        project::write::give_up();
        process::exit(EXIT);
    });
    if let Ok(tidier) = tidier {
        let _ = TIDIER.set(tidier.thread().clone());
    }
    let asked = most_gib.map(|gib| (gib * GIB) as u64);
    let usual = || machine_bytes().map(|bytes| bytes / 10 * 9);
    if let Some(bytes) = asked.or_else(usual)
        && bound(bytes)
    {
        BOUND.store(bytes, Ordering::Relaxed);
    }
}

const GIB: f64 = (1u64 << 30) as f64;

/// Says that memory ran out, and ends the program.
#[cold]
fn ran_out(bytes: usize) -> ! {
    if RAN_OUT.swap(true, Ordering::AcqRel) {
        // Another thread is about to end the program; or telling took memory that is not there.
        thread::sleep(TIDY);
        process::exit(EXIT);
    }
    if let Ok(mut held) = HELD_BACK.try_lock() {
        held.shrink_to_fit();
    }
    let mut line = std::io::stderr().lock();
    let _ = write!(line, "tintfall: memory ran out");
    if let Some(work) = WORK.get() {
        work.with_stage(|stage| {
            if !stage.is_empty() {
                let _ = write!(line, " at this stage: {stage}");
            }
        });
    }
    let _ = write!(line, "; {bytes} bytes were asked for");
    let _ = match BOUND.load(Ordering::Relaxed) {
        u64::MAX => write!(line, ", more than the system allows."),
        bound => write!(
            line,
            ", and the limit is {:.2} GiB in all, or the system's own.",
            bound as f64 / GIB
        ),
    };
    let _ = writeln!(
        line,
        " Use a mesh of fewer facets, fewer strokes or bands, or thicker layers. Or allow more \
         with --memory. No half-written files are left."
    );
    drop(line);
    TOLD.store(true, Ordering::Release);
    if let Some(tidier) = TIDIER.get() {
        tidier.unpark();
        thread::sleep(TIDY);
    }
    process::exit(EXIT);
}

/// Has the system bound this process's data; tells whether it does.
#[cfg(target_os = "linux")]
fn bound(bytes: u64) -> bool {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let before = getrlimit(Resource::Data);
    let current = before.current.map_or(bytes, |set| set.min(bytes));
    let limit = Rlimit {
        current: Some(current),
        maximum: before.maximum,
    };
    setrlimit(Resource::Data, limit).is_ok()
}

#[cfg(not(target_os = "linux"))]
fn bound(_: u64) -> bool {
    false
}

/// The machine's memory, or that of the container that this runs in, bytes.
fn machine_bytes() -> Option<u64> {
    let told = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = told.lines().find_map(|l| l.strip_prefix("MemTotal:"))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    let limits = [
        "/sys/fs/cgroup/memory.max",
        "/sys/fs/cgroup/memory/memory.limit_in_bytes",
    ];
    let of_container = limits.iter().filter_map(|path| {
        let told = std::fs::read_to_string(path).ok()?;
        told.trim().parse::<u64>().ok()
    });
    Some(of_container.fold(kib * 1024, u64::min))
}
