//! Where the time went, as a table.

use std::time::Duration;

use geometry::progress::StageTime;

/// The processor time that this process took so far, on all cores; nothing where the system does
/// not tell it.
#[cfg(target_os = "linux")]
pub(crate) fn processor() -> Duration {
    use rustix::time::{ClockId, clock_gettime};
    let spent = clock_gettime(ClockId::ProcessCPUTime);
    let seconds = u64::try_from(spent.tv_sec).unwrap_or(0);
    Duration::new(seconds, u32::try_from(spent.tv_nsec).unwrap_or(0))
}

/// The processor time that this process took so far: the system does not tell it in this way.
#[cfg(not(target_os = "linux"))]
pub(crate) fn processor() -> Duration {
    Duration::ZERO
}

/// The table: a line for each stage in the order in which they began, and what it all took. Stages
/// that run side by side overlap, so theirs may add up to more than the whole; the cores that were
/// busy are those of the process, whatever they did.
pub(crate) fn table(
    stages: &[StageTime],
    (whole, processor): (Duration, Option<Duration>),
) -> String {
    let seconds = |time: Duration| format!("{:.2}", time.as_secs_f64());
    let busy = |processor: Option<Duration>, took: Duration| match processor {
        Some(processor) if !processor.is_zero() && !took.is_zero() => {
            format!("{:.1}", processor.as_secs_f64() / took.as_secs_f64())
        }
        _ => String::new(),
    };
    let head = ["Stage", "Began, s", "Took, s", "Cores busy"];
    let mut rows: Vec<[String; 4]> = vec![head.map(str::to_owned)];
    for stage in stages {
        let name = match stage.times {
            1 => stage.name.clone(),
            times => format!("{}, {times} times", stage.name),
        };
        let cores = busy(stage.processor, stage.took);
        rows.push([name, seconds(stage.began), seconds(stage.took), cores]);
    }
    let all = ["In all".to_owned(), String::new(), seconds(whole)];
    let [name, began, took] = all;
    rows.push([name, began, took, busy(processor, whole)]);
    let processor = processor.filter(|processor| !processor.is_zero());
    if let Some(processor) = processor {
        let name = "Processor, all cores, s".to_owned();
        rows.push([name, String::new(), seconds(processor), String::new()]);
    }
    if let Some(mb) = peak_memory_mb() {
        let name = "Peak memory, MB".to_owned();
        rows.push([name, String::new(), format!("{mb:.0}"), String::new()]);
    }
    let wide = rows.iter().map(|[name, ..]| name.chars().count()).max();
    let wide = wide.unwrap_or(0);
    let text: Vec<String> = rows
        .iter()
        .map(|[name, began, took, cores]| {
            format!("{name:wide$}  {began:>8}  {took:>8}  {cores:>10}")
        })
        .map(|line| line.trim_end().to_owned())
        .collect();
    text.join("\n")
}

/// The most memory that this process had so far, where the system tells it (Linux: `VmHWM` of
/// proc_pid_status(5), in KiB).
fn peak_memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_beneath_each_other() {
        let stage = |name: &str, times| StageTime {
            name: name.to_owned(),
            began: Duration::from_millis(30),
            took: Duration::from_millis(1250),
            processor: Some(Duration::from_millis(2000)),
            times,
        };
        let stages = [stage("Cutting", 1), stage("Reading a layer", 40)];
        let text = table(&stages, (Duration::from_secs(2), None));
        let lines: Vec<&str> = text.lines().collect();
        let end = |line: &str, word: &str| line.find(word).map(|at| at + word.len());
        assert_eq!(end(lines[1], "0.03"), end(lines[0], "Began, s"));
        assert_eq!(end(lines[1], "1.25"), end(lines[0], "Took, s"));
        assert_eq!(end(lines[1], "1.6"), end(lines[0], "Cores busy"));
        assert_eq!(end(lines[2], "1.25"), end(lines[3], "2.00"));
        assert!(
            lines[2].starts_with("Reading a layer, 40 times  "),
            "{text}"
        );
        assert!(
            lines[3].starts_with("In all") && lines[3].ends_with("2.00"),
            "{text}"
        );
    }

    /// Work takes processor time, and the clock shows it where there is one.
    #[cfg(target_os = "linux")]
    #[test]
    fn the_clock_runs_while_work_is_done() {
        let before = processor();
        let mut sum = 0u64;
        while processor() == before {
            sum = std::hint::black_box(sum.wrapping_add(1));
        }
        assert!(processor() > before);
    }
}
