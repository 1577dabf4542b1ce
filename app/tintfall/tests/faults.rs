//! Faults in the midst of writing: killed, stopped, no room, no permission, two at once.
//!
//! Each fault strikes at a moment that dice choose, over an older output and where there is
//! none. Writing is but a small part of the time that a command takes, so half of the kills and
//! stops wait until it has begun. What must hold each time: the old files or the new ones, each
//! whole, and nothing else but what a later run sweeps out.
//!
//! `TINTFALL_FAULT_ROUNDS` says how often each is tried on each command; without it each is tried
//! once on the quick ones. `tests/faults/run` is the
//! long run; it also gives `TINTFALL_FAULT_DISK`, a folder on a small disk, and
//! `TINTFALL_FAULT_PROGRAM`, an optimised build.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant, SystemTime};

use geometry::{DVec3, LayerPlan, solids};

/// Rounds asked for, if a long run is.
fn given_rounds() -> Option<u64> {
    std::env::var("TINTFALL_FAULT_ROUNDS").ok()?.parse().ok()
}

fn rounds() -> u64 {
    given_rounds().unwrap_or(1)
}

fn program() -> PathBuf {
    match std::env::var_os("TINTFALL_FAULT_PROGRAM") {
        Some(path) => path.into(),
        None => env!("CARGO_BIN_EXE_tintfall").into(),
    }
}

/// Numbers that look thrown, and are the same in each run (G. Marsaglia, "Xorshift RNGs",
/// *Journal of Statistical Software* 8, 2003, from memory).
struct Dice(u64);

impl Dice {
    /// Below 1.
    fn throw(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Files beneath a folder, by their path in it.
type Files = BTreeMap<String, Vec<u8>>;

/// What lies beneath a folder, and the temporaries among it.
#[derive(Default)]
struct Seen {
    files: Files,
    folders: usize,
    temporaries: Vec<PathBuf>,
}

fn seen(folder: &Path) -> Seen {
    let mut seen = Seen::default();
    look(folder, folder, &mut seen);
    seen
}

fn look(root: &Path, folder: &Path, seen: &mut Seen) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if name.starts_with(".writing-") && name.ends_with(".tmp") {
            seen.temporaries.push(path);
        } else if path.is_dir() {
            seen.folders += 1;
            look(root, &path, seen);
        } else {
            let name = path.strip_prefix(root).unwrap().to_str().unwrap();
            seen.files.insert(name.to_owned(), fs::read(&path).unwrap());
        }
    }
}

/// A command that writes, with what it writes from two different inputs.
struct Task {
    name: &'static str,
    /// Arguments, with `IN` for the folder of the input and `OUT` for the target.
    args: &'static [&'static str],
    /// The target in a folder of its own.
    target: &'static str,
    /// Its files may be part old, part new, if it is killed as they are put in place.
    mixes: bool,
    old: Files,
    new: Files,
    /// How long it takes.
    time: Duration,
    /// How long of that it writes.
    writing: Duration,
}

const TASKS: [(&str, &[&str], &str, bool); 7] = [
    (
        "new",
        &["new", "IN/box.stl", "--out", "OUT", "--replace"],
        "box.plan.ron",
        false,
    ),
    (
        "weave",
        &["weave", "IN/box.plan.ron", "box.gcode", "--out", "OUT"],
        "woven.gcode",
        false,
    ),
    (
        "prepare",
        &["prepare", "IN/box.plan.ron", "--out", "OUT"],
        "prepared",
        true,
    ),
    (
        "weave, reordered",
        &["weave", "IN/side.plan.ron", "box.gcode", "--out", "OUT"],
        "reordered.gcode",
        false,
    ),
    (
        "handoff",
        &["handoff", "IN/box.plan.ron", "--out", "OUT"],
        "handoff",
        false,
    ),
    (
        "handoff, packed",
        &["handoff", "IN/box.plan.ron", "--out", "OUT"],
        "handoff.zip",
        false,
    ),
    (
        "bodies",
        &["bodies", "IN/box.plan.ron", "--out", "OUT"],
        "bodies",
        true,
    ),
];

/// The first so many are tried when nobody asks for more: the others take longer.
const SHORT: usize = 4;

/// Inputs, and the commands tried on them.
struct Bench {
    root: tempfile::TempDir,
    tasks: Vec<Task>,
}

impl Bench {
    fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let at = root.path();
        // Another user must get at it.
        fs::set_permissions(at, fs::Permissions::from_mode(0o755)).unwrap();
        let part = solids::cuboid(DVec3::new(16.0, 12.0, 3.0)).unwrap();
        for name in ["one", "other"] {
            let folder = at.join(name);
            fs::create_dir(&folder).unwrap();
            fs::write(folder.join("box.stl"), geometry::read::mesh_to_stl(&part)).unwrap();
            let mut made = Command::new(program());
            made.args(["new", "box.stl"]).current_dir(&folder);
            assert!(made.output().unwrap().status.success());
            let plan = folder.join("box.plan.ron");
            let text = fs::read_to_string(&plan).unwrap();
            assert!(text.contains("\"box\""), "{text}");
            let named = text.replace("\"box\"", &format!("\"{name} box\""));
            // A side of its own, so that runs change places and plastic is purged.
            let side = "    regions: [\n        (name: \"Whole\", mask: Whole, paint: Fixed([1, 0])),\n\
                        (name: \"Side\", mask: Slab(direction: (1, 0, 0), from_mm: 2, to_mm: 9), \
                        paint: Fixed([0, 1])),\n    ],\n)\n";
            let at = named.find("    regions: [").unwrap();
            let sided = format!("{}{side}", &named[..at]);
            fs::write(folder.join("side.plan.ron"), sided).unwrap();
            fs::write(&plan, named).unwrap();
        }
        let mut file = Vec::new();
        let layers = LayerPlan::plain(0.2, 0.2);
        demo_models::toolpath(&part, &layers, &demo_models::recipe(2), &mut file).unwrap();
        fs::write(at.join("box.gcode"), file).unwrap();
        let mut bench = Self {
            root,
            tasks: Vec::new(),
        };
        let tasks = match given_rounds() {
            Some(_) => TASKS.len(),
            None => SHORT,
        };
        for (name, args, target, mixes) in TASKS.into_iter().take(tasks) {
            bench.add(Task {
                name,
                args,
                target,
                mixes,
                old: Files::new(),
                new: Files::new(),
                time: Duration::ZERO,
                writing: Duration::ZERO,
            });
        }
        bench
    }

    /// Runs a command on each of its inputs, undisturbed.
    fn add(&mut self, mut task: Task) {
        for input in ["one", "other"] {
            let place = self.place(&task);
            let start = Instant::now();
            let mut command = self.command(&task, input, &place);
            command.stdout(Stdio::null()).stderr(Stdio::piped());
            let mut child = command.spawn().unwrap();
            wait_for_writing(&mut child, &place);
            let begun = start.elapsed();
            let output = child.wait_with_output().unwrap();
            task.time = start.elapsed();
            task.writing = task.time - begun;
            let told = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success(), "{}: {told}", task.name);
            let seen = seen(&place);
            assert!(seen.temporaries.is_empty());
            match input {
                "one" => task.old = seen.files,
                _ => task.new = seen.files,
            }
            fs::remove_dir_all(&place).unwrap();
        }
        assert_ne!(task.old, task.new);
        assert!(task.old.keys().eq(task.new.keys()));
        self.tasks.push(task);
    }

    /// An empty folder for a command's target.
    fn place(&self, task: &Task) -> PathBuf {
        let place = self.root.path().join(task.name);
        let _ = fs::remove_dir_all(&place);
        fs::create_dir(&place).unwrap();
        place
    }

    fn command(&self, task: &Task, input: &str, place: &Path) -> Command {
        let target = place.join(task.target);
        let mut command = Command::new(program());
        command
            .args(task.filled_in(input, &target))
            .current_dir(self.root.path())
            .stdin(Stdio::null());
        command
    }

    fn start(&self, task: &Task, input: &str, place: &Path) -> Child {
        let mut command = self.command(task, input, place);
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command.spawn().unwrap()
    }
}

impl Task {
    fn filled_in(&self, input: &str, target: &Path) -> Vec<String> {
        let target = target.to_str().unwrap();
        let args = self.args.iter();
        args.map(|arg| arg.replace("IN", input).replace("OUT", target))
            .collect()
    }

    /// Puts the old output into an empty place, or none.
    fn lay(&self, place: &Path, with_old: bool) -> Files {
        if !with_old {
            return Files::new();
        }
        for (name, bytes) in &self.old {
            let path = place.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        }
        self.old.clone()
    }

    /// Checks that nothing but `before` or the new output is there; tells which.
    fn judge(&self, place: &Path, before: &Files) -> End {
        let seen = seen(place);
        let name = self.name;
        assert!(
            seen.temporaries.is_empty(),
            "{name}: {:?}",
            seen.temporaries
        );
        let end = self.judge_files(&seen.files, before);
        assert_ne!(end, End::Mixed, "{name}: part old, part new");
        if seen.files.is_empty() {
            assert_eq!(seen.folders, 0, "{name}: an empty folder is left");
        }
        end
    }

    fn judge_files(&self, files: &Files, before: &Files) -> End {
        if files == before {
            return End::Old;
        }
        if *files == self.new {
            return End::New;
        }
        for (name, bytes) in files {
            let whole = before.get(name) == Some(bytes) || self.new.get(name) == Some(bytes);
            assert!(whole, "{}: {name} is neither old nor new", self.name);
        }
        for name in before.keys() {
            assert!(files.contains_key(name), "{}: {name} is gone", self.name);
        }
        End::Mixed
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    Old,
    New,
    Mixed,
}

/// How often what came out.
#[derive(Default)]
struct Count {
    old: u64,
    new: u64,
    mixed: u64,
    temporaries: u64,
}

impl Count {
    fn add(&mut self, end: End) {
        match end {
            End::Old => self.old += 1,
            End::New => self.new += 1,
            End::Mixed => self.mixed += 1,
        }
    }

    fn tell(&self, fault: &str, task: &Task) {
        println!(
            "{fault:22} {:16} {:4} as before, {:4} new, {} mixed, {} with a temporary left",
            task.name, self.old, self.new, self.mixed, self.temporaries
        );
    }
}

/// Whether a temporary lies in a folder, or in one of its folders.
fn writes(folder: &Path) -> bool {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.into_iter().any(|entry| {
        let name = entry.file_name();
        let temporary = name
            .to_str()
            .is_some_and(|name| name.starts_with(".writing-"));
        temporary || entry.file_type().is_ok_and(|kind| kind.is_dir()) && writes(&entry.path())
    })
}

/// Waits until a command has begun to write, or has ended.
fn wait_for_writing(child: &mut Child, place: &Path) {
    while !writes(place) && child.try_wait().unwrap().is_none() {
        sleep(Duration::from_micros(200));
    }
}

/// Waits for a moment that dice choose: of all the time that a command takes, or, in every other
/// pair of rounds, of that in which it writes.
fn wait_for_the_moment(child: &mut Child, task: &Task, place: &Path, round: u64, dice: &mut Dice) {
    let time = match round / 2 % 2 {
        0 => task.time,
        _ => {
            wait_for_writing(child, place);
            task.writing
        }
    };
    sleep(time.mul_f64(1.1 * dice.throw()));
}

fn signal(child: &Child, name: &str) {
    let id = child.id().to_string();
    let sent = Command::new("kill")
        .args([name, &id])
        .stderr(Stdio::null())
        .status();
    // It may have ended already.
    sent.unwrap();
}

fn age(path: &Path) {
    let long_ago = SystemTime::now() - Duration::from_secs(3600);
    fs::File::open(path)
        .unwrap()
        .set_modified(long_ago)
        .unwrap();
}

fn killed_at_any_moment(bench: &Bench) {
    let mut dice = Dice(0x5eed_0001);
    for task in &bench.tasks {
        let mut count = Count::default();
        let mut left = None;
        for round in 0..rounds() {
            let place = bench.place(task);
            let before = task.lay(&place, round % 2 == 0);
            let mut child = bench.start(task, "other", &place);
            wait_for_the_moment(&mut child, task, &place, round, &mut dice);
            child.kill().unwrap();
            child.wait().unwrap();
            let seen = seen(&place);
            let end = task.judge_files(&seen.files, &before);
            assert!(end != End::Mixed || task.mixes, "{}: mixed", task.name);
            count.add(end);
            if !seen.temporaries.is_empty() {
                count.temporaries += 1;
                left = Some(seen.temporaries);
                // The next run, long after, sweeps them out.
                if round + 2 >= rounds() {
                    left.take().unwrap().iter().for_each(|path| age(path));
                    let output = bench.command(task, "other", &place).output().unwrap();
                    assert!(output.status.success());
                    assert_eq!(task.judge(&place, &before), End::New);
                }
            }
        }
        drop(left);
        count.tell("killed", task);
    }
}

fn stopped_at_any_moment(bench: &Bench) {
    let mut dice = Dice(0x5eed_0002);
    for task in &bench.tasks {
        // One request to stop, and impatiently two.
        for (fault, requests) in [("stopped", 1), ("stopped twice", 2)] {
            let mut count = Count::default();
            for round in 0..rounds() {
                let place = bench.place(task);
                let before = task.lay(&place, round % 2 == 0);
                let mut child = bench.start(task, "other", &place);
                wait_for_the_moment(&mut child, task, &place, round, &mut dice);
                for _ in 0..requests {
                    signal(&child, "-INT");
                }
                let status = child.wait().unwrap();
                let end = task.judge(&place, &before);
                let stopped = status.code() == Some(130) || status.signal() == Some(2);
                assert!(stopped || (status.success() && end == End::New), "{status}");
                count.add(end);
            }
            count.tell(fault, task);
        }
    }
}

/// Runs a command that may fail for want of room, and judges what is left.
fn run_short_of_room(task: &Task, command: &mut Command, place: &Path, before: &Files) -> End {
    let output: Output = command.output().unwrap();
    let end = task.judge(place, before);
    let told = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        Some(0) => assert_eq!(end, End::New),
        Some(1) => {
            assert_eq!(end, End::Old);
            assert!(
                told.contains("can't") && told.contains(task.target),
                "{told}"
            );
            assert!(!told.contains(".writing-"), "{told}");
        }
        _ => panic!("{}: {} {told}", task.name, output.status),
    }
    end
}

fn no_file_may_grow_so_large(bench: &Bench) {
    let mut dice = Dice(0x5eed_0003);
    for task in &bench.tasks {
        let mut count = Count::default();
        let largest = task.new.values().map(Vec::len).max().unwrap() as f64;
        for round in 0..rounds() {
            let place = bench.place(task);
            let before = task.lay(&place, round % 2 == 0);
            // At first so little that it fails at once, not only at the end.
            let blocks = match round {
                0 => 8,
                _ => (1.1 * dice.throw() * largest / 512.0) as u64,
            };
            let args = task.filled_in("other", &place.join(task.target));
            let mut command = Command::new("sh");
            command
                .arg("-c")
                // Without the signal that would end it, writing fails as on a full disk.
                .arg("trap '' XFSZ; ulimit -f \"$0\"; exec \"$@\"")
                .arg(blocks.to_string())
                .arg(program())
                .args(args)
                .current_dir(bench.root.path());
            count.add(run_short_of_room(task, &mut command, &place, &before));
        }
        count.tell("file size bounded", task);
    }
}

/// What a disk gives room by, bytes.
const PAGE: usize = 4096;

fn the_disk_is_full(bench: &Bench) {
    let Some(disk) = std::env::var_os("TINTFALL_FAULT_DISK").map(PathBuf::from) else {
        println!("no small disk was given");
        return;
    };
    let mut dice = Dice(0x5eed_0004);
    for task in &bench.tasks {
        let mut count = Count::default();
        let size = |files: &Files| files.values().map(Vec::len).sum::<usize>();
        for round in 0..rounds() {
            let place = disk.join("place");
            let _ = fs::remove_dir_all(&place);
            let _ = fs::remove_file(disk.join("filler"));
            fs::create_dir(&place).unwrap();
            let before = task.lay(&place, round % 2 == 0);
            // Until the disk is full, and then a little is given back.
            let mut filler = vec![7; 64 << 20];
            while fs::write(disk.join("filler"), &filler).is_err() {
                let fits = fs::metadata(disk.join("filler")).map_or(0, |data| data.len());
                filler.truncate((fits as usize).min(filler.len() - 1));
            }
            // A disk gives room by the page.
            let needed = size(&task.new) + PAGE * task.new.len();
            let room = (1.3 * dice.throw() * needed as f64) as usize;
            let keep = filler.len().saturating_sub(room) as u64;
            let file = fs::File::options().write(true).open(disk.join("filler"));
            file.unwrap().set_len(keep).unwrap();
            let mut command = bench.command(task, "other", &place);
            count.add(run_short_of_room(task, &mut command, &place, &before));
        }
        count.tell("disk full", task);
    }
}

fn the_folder_may_not_be_written_to(bench: &Bench) {
    // Root may write anywhere, so it becomes nobody.
    let reachable = bench.root.path().join("tintfall");
    fs::copy(program(), &reachable).unwrap();
    let nobody = || {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
        command.arg(&reachable).current_dir(bench.root.path());
        command
    };
    let is_root = fs::metadata("/proc/self").is_ok_and(|data| {
        use std::os::unix::fs::MetadataExt;
        data.uid() == 0
    });
    if is_root
        && !nobody()
            .arg("--version")
            .output()
            .is_ok_and(|o| o.status.success())
    {
        println!("root can't become nobody here");
        return;
    }
    for task in &bench.tasks {
        let place = bench.place(task);
        let before = task.lay(&place, true);
        let mut inner = vec![place.clone()];
        if place.join(task.target).is_dir() {
            inner.push(place.join(task.target));
        }
        let may = |mode| {
            for folder in &inner {
                fs::set_permissions(folder, fs::Permissions::from_mode(mode)).unwrap();
            }
        };
        may(0o555);
        let mut command = match is_root {
            true => nobody(),
            false => Command::new(program()),
        };
        let args = task.filled_in("other", &place.join(task.target));
        let output = command.args(args).current_dir(bench.root.path()).output();
        may(0o755);
        let output = output.unwrap();
        let told = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{}: {told}", task.name);
        assert!(
            told.contains("can't") && told.contains(task.target),
            "{told}"
        );
        assert_eq!(task.judge(&place, &before), End::Old);
        println!(
            "{:22} {:16} refused in words",
            "read-only folder", task.name
        );
    }
}

fn two_at_once(bench: &Bench) {
    let mut dice = Dice(0x5eed_0005);
    for task in &bench.tasks {
        let mut count = Count::default();
        for _ in 0..rounds() {
            let place = bench.place(task);
            let first = bench.start(task, "one", &place);
            sleep(task.time.mul_f64(0.1 * dice.throw()));
            let second = bench.start(task, "other", &place);
            for mut child in [first, second] {
                assert!(child.wait().unwrap().success(), "{}", task.name);
            }
            count.add(task.judge(&place, &task.old));
        }
        count.tell("two at once", task);
    }
}

#[test]
fn what_is_written_is_whole_whatever_happens() {
    // One after another: they share what undisturbed runs give, which takes a while.
    let bench = Bench::new();
    killed_at_any_moment(&bench);
    stopped_at_any_moment(&bench);
    no_file_may_grow_so_large(&bench);
    the_disk_is_full(&bench);
    the_folder_may_not_be_written_to(&bench);
    two_at_once(&bench);
}
