//! Where the time went, as a table.

use std::time::Duration;

use geometry::progress::StageTime;

/// The table: a line for each stage in the order in which they began, and what it all took. Stages
/// that run side by side overlap, so theirs may add up to more than the whole.
pub(crate) fn table(stages: &[StageTime], whole: Duration) -> String {
    let seconds = |time: Duration| format!("{:.2}", time.as_secs_f64());
    let mut rows: Vec<[String; 3]> = vec![["Stage", "Began, s", "Took, s"].map(str::to_owned)];
    for stage in stages {
        let name = match stage.times {
            1 => stage.name.clone(),
            times => format!("{}, {times} times", stage.name),
        };
        rows.push([name, seconds(stage.began), seconds(stage.took)]);
    }
    rows.push(["In all".to_owned(), String::new(), seconds(whole)]);
    let wide = rows.iter().map(|[name, ..]| name.chars().count()).max();
    let wide = wide.unwrap_or(0);
    let mut text: Vec<String> = rows
        .iter()
        .map(|[name, began, took]| format!("{name:wide$}  {began:>8}  {took:>8}"))
        .collect();
    if let Some(mb) = peak_memory_mb() {
        text.push(format!("{:wide$}  {:>8}  {mb:>8.0}", "Peak memory, MB", ""));
    }
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
            times,
        };
        let stages = [stage("Cutting", 1), stage("Reading a layer", 40)];
        let text = table(&stages, Duration::from_secs(2));
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[1], "Cutting                        0.03      1.25");
        assert_eq!(lines[2], "Reading a layer, 40 times      0.03      1.25");
        let wide = lines[0].chars().count();
        assert!(
            lines.iter().all(|line| line.chars().count() == wide),
            "{text}"
        );
    }
}
