//! `tintfall inspect`.

use geometry::inspect::{Finding, Inspection, Severity};
use serde::Serialize;

use crate::console::Console;
use crate::fault::Fault;
use crate::part::{Part, PartArgs};

/// Look a mesh over: its size, area and volume, and what may be wrong with it
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall inspect cup.stl
  tintfall inspect cup.obj --unit inch --up y --json")]
pub struct Args {
    #[command(flatten)]
    part: PartArgs,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
}

/// What is told of a mesh, for other programs.
#[derive(Serialize)]
struct Report<'a> {
    file: String,
    format: geometry::read::Format,
    unit: &'static str,
    objects: usize,
    notes: &'a [String],
    sound: bool,
    findings: Vec<Finding>,
    mesh: &'a Inspection,
}

impl Args {
    /// Reads the mesh and tells about it.
    pub fn run(self, console: &Console) -> Result<(), Fault> {
        let (part, seen) = console.working(|progress| -> Result<_, Fault> {
            let part = self.part.read(progress)?;
            progress.stage("Looking it over");
            let seen = Inspection::of(&part.mesh);
            Ok((part, seen))
        })?;
        let report = Report {
            file: self.part.mesh.display().to_string(),
            format: part.reading.format,
            unit: part.reading.unit.name(),
            objects: part.reading.objects,
            notes: &part.reading.notes,
            sound: seen.is_sound(),
            findings: seen.findings(),
            mesh: &seen,
        };
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&report).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&in_words(&report, &part)),
        }
    }
}

fn in_words(report: &Report<'_>, part: &Part) -> String {
    let mesh = report.mesh;
    let size = mesh.size_mm;
    let mut text = format!(
        "{}: {}, read in {}\n",
        report.file, part.reading.format, report.unit
    );
    let mut line = |label: &str, value: String| {
        text.push_str(&format!("  {label:<9}{value}\n"));
    };
    line(
        "size",
        format!("{:.2} × {:.2} × {:.2} mm", size.x, size.y, size.z),
    );
    line("area", format!("{:.2} cm²", mesh.area_mm2 / 100.0));
    line("volume", format!("{:.2} cm³", mesh.volume_mm3 / 1000.0));
    line(
        "facets",
        format!("{} between {} vertices", mesh.facets, mesh.vertices),
    );
    line("shells", mesh.shells.len().to_string());
    line("objects", report.objects.to_string());
    for note in report.notes {
        text.push_str(&format!("  note     {note}\n"));
    }
    for finding in &report.findings {
        text.push_str(&told(finding));
    }
    text
}

fn told(finding: &Finding) -> String {
    let kind = match finding.severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Fault => "fault",
    };
    let place = finding.where_mm.map_or(String::new(), |p| {
        format!(" (at {:.2}, {:.2}, {:.2} mm)", p.x, p.y, p.z)
    });
    let mut text = format!("  {kind:<9}{}{place}\n", finding.what);
    if !finding.what_to_do.is_empty() {
        text.push_str(&format!("           {}\n", finding.what_to_do));
    }
    text
}
