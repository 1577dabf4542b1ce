//! `tintfall inspect`.

use std::path::PathBuf;

use geometry::inspect::{Finding, Inspection, Severity, area_words, place_words, volume_words};
use geometry::place::{Axis, Stand};
use project::write;
use serde::Serialize;

use crate::colours::Colours;
use crate::console::Console;
use crate::fault::Fault;
use crate::part::{Part, PartArgs};

/// Inspect a mesh: its size, area and volume, its colours, and what may be wrong with it
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall inspect cup.stl
  tintfall inspect cup.obj --unit inch --up y --json
  tintfall inspect scan.glb --picture colours.png   the model's colours by area, as swatches")]
pub(crate) struct Args {
    #[command(flatten)]
    part: PartArgs,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
    /// Draw the model's own colours as a strip of swatches, each as wide as its area (PNG)
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
}

/// The report on a mesh, for other programs.
#[derive(Serialize)]
struct Report<'a> {
    file: String,
    format: geometry::read::Format,
    unit: &'static str,
    objects: usize,
    notes: &'a [String],
    names: Vec<&'a str>,
    /// Added to the file's coordinates to have those of the part on the bed.
    shift_mm: [f64; 3],
    size_mm: [f64; 3],
    sound: bool,
    findings: Vec<Finding>,
    mesh: &'a Inspection,
    colours: Option<Colours>,
}

impl Args {
    /// Reads the mesh and reports on it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let (part, seen, colours) = console.working(|progress| -> Result<_, Fault> {
            let (part, model) = self.part.read_coloured(progress)?;
            let colours = model
                .map(|model| Colours::of(&model, progress))
                .transpose()?;
            progress.stage("Inspecting the mesh");
            // In the file's own coordinates, where its maker will look.
            let seen = Inspection::of(&part.reading.mesh);
            progress.check()?;
            Ok((part, seen, colours))
        })?;
        if let Some(file) = &self.picture {
            let colours = colours.as_ref().ok_or_else(|| {
                Fault::Input(format!(
                    "{}: has no colours to draw; leave out --picture",
                    self.part.mesh.display()
                ))
            })?;
            let image = colours.strip();
            write::file(file, |out| image.write_png(out))?;
        }
        let shift_mm = part
            .placement
            .shift_mm(&part.reading.mesh)
            .map_err(|error| Fault::Input(format!("{}: {error}", self.part.mesh.display())))?;
        let (least, greatest) = part.mesh.bounds();
        let report = Report {
            file: self.part.mesh.display().to_string(),
            format: part.reading.format,
            unit: part.reading.unit.name(),
            objects: part.reading.objects,
            notes: &part.reading.notes,
            names: part.reading.mesh.groups().names(),
            shift_mm: shift_mm.to_array(),
            size_mm: (greatest - least).to_array(),
            sound: seen.is_sound(),
            findings: seen.findings(),
            mesh: &seen,
            colours,
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
    let [x, y, z] = report.size_mm;
    let mut text = format!(
        "{}: {}, read in {}\n",
        report.file, part.reading.format, report.unit
    );
    let mut line = |label: &str, value: String| {
        text.push_str(&format!("  {label:<9}{value}\n"));
    };
    line("size", format!("{} mm", [x, y, z].map(length).join(" × ")));
    line("area", area_words(mesh.area_mm2));
    if mesh.sealed_mm2 > 0.0 {
        let sealed = area_words(mesh.sealed_mm2);
        line("sealed", format!("{sealed} of it, which nobody sees"));
    }
    line("volume", volume_words(mesh.volume_mm3));
    line(
        "facets",
        format!("{} between {} vertices", mesh.facets, mesh.vertices),
    );
    line("shells", mesh.shells.len().to_string());
    line(
        "objects",
        format!("{}{}", report.objects, named(&report.names)),
    );
    line("stands", stands(report, part));
    line(
        "colours",
        report
            .colours
            .as_ref()
            .map_or("none".to_owned(), Colours::in_words),
    );
    for note in report.notes {
        text.push_str(&format!("  note     {note}\n"));
    }
    for finding in &report.findings {
        text.push_str(&told(finding));
    }
    text
}

/// Names that are listed.
const MOST_NAMES: usize = 20;

fn named(names: &[&str]) -> String {
    let listed: Vec<String> = names
        .iter()
        .take(MOST_NAMES)
        .map(|n| format!("'{n}'"))
        .collect();
    match names.len() {
        0 => String::new(),
        count if count > MOST_NAMES => {
            format!(
                ", named {} and {} more",
                listed.join(", "),
                count - MOST_NAMES
            )
        }
        _ => format!(", named {}", listed.join(", ")),
    }
}

/// Where the part stands, and how the file's coordinates become those of masks.
fn stands(report: &Report<'_>, part: &Part) -> String {
    let turned = match part.placement.up {
        Axis::Z => "",
        _ => "after turning it upright, ",
    };
    match part.placement.stand {
        Stand::AsDrawn => "as drawn: masks use the file's coordinates".to_owned(),
        Stand::Centred => format!(
            "centred, on the bed: {turned}add {} to the file's coordinates for masks",
            place_words(report.shift_mm.into())
        ),
    }
}

/// A length in mm with digits enough for a small part.
fn length(mm: f64) -> String {
    match mm.abs() {
        x if x >= 1.0 => format!("{mm:.2}"),
        _ => format!("{mm:.2e}").parse::<f64>().unwrap_or(mm).to_string(),
    }
}

fn told(finding: &Finding) -> String {
    let kind = match finding.severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Fault => "fault",
    };
    let place = finding.where_mm.map_or(String::new(), |p| {
        format!(" (at {} in the file)", place_words(p))
    });
    let mut text = format!("  {kind:<9}{}{place}\n", finding.what);
    if !finding.what_to_do.is_empty() {
        text.push_str(&format!("           {}\n", finding.what_to_do));
    }
    text
}
