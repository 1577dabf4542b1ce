//! A part in bodies as files: 3MF, STL, the page of the tools, the lines that store them.

use std::io;

use bodies::{Bodies, Options};
use geometry::Progress;
use geometry::read::mesh_to_stl;
use plan::schedule::Provenance;
use plan::{AsPrinted, Schedule};
use project::cautions;
use project::job::Job;
use render::Image;
use report::tools_page::{Lines, ToolsPage, exploded};
use serde::{Deserialize, Serialize};
use weave::dialect::{Dialect, DialectError, Stored};

use crate::three_mf::write_bodies;

/// Names of the files that every part in bodies has, and what each is.
pub const BODY_FILES: &[(&str, &str)] = &[
    (
        "bodies.3mf",
        "3MF: one closed solid for each stored blend, in place, as one part",
    ),
    (
        "tools.html",
        "the tools to store, the lines that store them, and what is purged",
    ),
    ("tools.json", "the same for other programs"),
    ("start-lines.txt", "the lines that store the blends"),
    ("bodies.png", "the bodies apart from each other"),
];

/// What is said of a part in bodies for other programs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BodiesSummary {
    /// Version of this format.
    pub version: u32,
    /// What it was made from.
    pub provenance: Provenance,
    /// The bodies.
    pub tools: Vec<ToolSummary>,
    /// Volume of the part, mm³: the bodies' volumes add up to it.
    pub part_mm3: f64,
    /// How deep painted areas reach, mm; none if they reach as deep as the part is.
    pub depth_mm: Option<f64>,
    /// How far the stored blends are off what the plan asks for.
    pub fit: bodies::Fit,
    /// What is purged.
    pub purge: bodies::Purge,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// One body, for other programs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ToolSummary {
    /// What selects it.
    pub number: String,
    /// Its name.
    pub name: String,
    /// Its blend.
    pub shares: Vec<f64>,
    /// Its colour as predicted.
    pub colour: String,
    /// Volume, mm³.
    pub volume_mm3: f64,
    /// Mass if printed solid, g.
    pub mass_g: f64,
    /// Visible area, mm².
    pub visible_mm2: f64,
    /// Its STL file.
    pub file: String,
}

impl BodiesSummary {
    /// Version of the format that is written here.
    pub const VERSION: u32 = 1;
}

/// A part in bodies, as files.
pub struct MadeBodies {
    /// What it says.
    pub summary: BodiesSummary,
    /// The bodies drawn apart, if they could be drawn.
    pub picture: Option<Image>,
    /// Names, what they are, and content.
    pub files: Vec<(String, String, Vec<u8>)>,
}

/// Why there are no files.
#[derive(Debug, thiserror::Error)]
pub enum BodyFilesError {
    /// The part can't be cut.
    #[error(transparent)]
    Bodies(#[from] bodies::BodiesError),
    /// The dialect can't store so many blends.
    #[error(transparent)]
    Dialect(#[from] DialectError),
    /// A file's content can't be put together: a fault of this program.
    #[error("{name} can't be made: {source}")]
    Content {
        /// The file.
        name: &'static str,
        /// Why.
        source: io::Error,
    },
}

/// What the files are made from.
pub struct BodyPlan<'a> {
    /// The plan.
    pub job: &'a Job,
    /// What is asked for.
    pub schedule: &'a Schedule,
    /// What comes out along a toolpath, to set beside it.
    pub printed: Option<&'a AsPrinted>,
    /// What the user chose.
    pub options: Options,
    /// How the firmware is told.
    pub dialect: &'a Dialect,
}

impl BodyPlan<'_> {
    /// Cuts the part and makes all files.
    ///
    /// # Errors
    /// [`BodyFilesError`].
    pub fn files(&self, progress: &Progress) -> Result<MadeBodies, BodyFilesError> {
        let painted = &self.job.painted;
        let bodies = Bodies::new(painted, self.schedule, &self.options, progress)?;
        let lines = lines(&bodies, self.dialect)?;
        let names = names(&bodies);
        let stop = |error| BodyFilesError::Bodies(bodies::BodiesError::Cancelled(error));
        let picture = exploded(&bodies, progress).map_err(stop)?;
        progress.stage("Writing bodies");
        let from = &self.schedule.provenance;
        let page = ToolsPage {
            bodies: &bodies,
            from,
            lines: &lines,
            picture: picture.as_ref(),
            woven_waste_g: self.printed.map(|p| p.waste.mass_g),
            files: &names,
            cautions: cautions::SHORT,
        };
        let summary = summary(&bodies, from, &lines, &names);
        let description = format!("{}. Plan SHA-256 {}", from.review, from.plan_sha256);
        let content = |name: &'static str| move |source| BodyFilesError::Content { name, source };
        let mut files = Vec::new();
        let mut three_mf = Vec::new();
        write_bodies(&bodies, &from.title, &description, &mut three_mf)
            .map_err(content("bodies.3mf"))?;
        let json = serde_json::to_vec_pretty(&summary).map_err(io::Error::other);
        let mut png = Vec::new();
        if let Some(picture) = &picture {
            picture.write_png(&mut png).map_err(content("bodies.png"))?;
        }
        let start = format!("{}\n\n{}\n", lines.what, lines.text);
        let all = [
            three_mf,
            page.html().into_bytes(),
            json.map_err(content("tools.json"))?,
            start.into_bytes(),
            png,
        ];
        for ((name, what), bytes) in BODY_FILES.iter().zip(all) {
            if !bytes.is_empty() {
                files.push(((*name).to_owned(), (*what).to_owned(), bytes));
            }
        }
        for (body, name) in bodies.bodies.iter().zip(&names) {
            let what = format!("STL: the body of '{}', in the part's own place", body.name);
            files.push((name.clone(), what, mesh_to_stl(&body.mesh)));
        }
        Ok(MadeBodies {
            summary,
            picture,
            files,
        })
    }
}

fn summary(bodies: &Bodies, from: &Provenance, lines: &Lines, names: &[String]) -> BodiesSummary {
    let numbers = lines.numbers.iter().zip(names);
    let tools = bodies.bodies.iter().zip(numbers);
    BodiesSummary {
        version: BodiesSummary::VERSION,
        provenance: from.clone(),
        tools: tools
            .map(|(body, (number, file))| ToolSummary {
                number: number.clone(),
                name: body.name.clone(),
                shares: body.shares.as_slice().to_vec(),
                colour: body.colour.to_string(),
                volume_mm3: body.volume_mm3,
                mass_g: body.mass_g,
                visible_mm2: body.visible_mm2,
                file: file.clone(),
            })
            .collect(),
        part_mm3: bodies.part_mm3,
        depth_mm: bodies.depth_mm,
        fit: bodies.fit,
        purge: bodies.purge.clone(),
        notes: bodies.notes.clone(),
    }
}

/// The lines that store the blends, as a dialect says them.
fn lines(bodies: &Bodies, dialect: &Dialect) -> Result<Lines, DialectError> {
    let blends: Vec<_> = bodies.bodies.iter().map(|b| b.shares).collect();
    let plain = (0..blends.len()).map(|i| i.to_string()).collect();
    let (what, text, numbers) = match dialect.stored(&blends)? {
        Stored::AtStart(tools) => {
            let text: Vec<String> = tools.iter().flat_map(|(_, lines)| lines.clone()).collect();
            (
                "Paste these lines at the end of the start script, before the first tool is \
                 selected. They run once.",
                text.join("\n"),
                tools.iter().map(|(slot, _)| slot.to_string()).collect(),
            )
        }
        Stored::AtChange(lines) => {
            let each = lines.iter().enumerate();
            let text: Vec<String> = each.map(|(i, line)| format!("tool {i}: {line}")).collect();
            (
                "This dialect stores nothing. Put each line into the script that changes to its \
                 tool.",
                text.join("\n"),
                plain,
            )
        }
        Stored::OnMoves(words) => {
            let each = words.iter().enumerate();
            let text: Vec<String> = each
                .map(|(i, words)| format!("tool {i}: {words}"))
                .collect();
            (
                "This dialect stores nothing; it has the blend on every move. A script can't do \
                 that: use `tintfall weave` instead.",
                text.join("\n"),
                plain,
            )
        }
    };
    Ok(Lines {
        dialect: dialect.name.clone(),
        what: what.to_owned(),
        text,
        numbers,
    })
}

/// Names of the bodies' STL files: number and name in plain letters.
fn names(bodies: &Bodies) -> Vec<String> {
    let each = bodies.bodies.iter();
    each.map(|body| {
        let plain: String = body
            .name
            .to_lowercase()
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
            .collect();
        let words = plain.split('-').filter(|w| !w.is_empty());
        let words: Vec<&str> = words.take(8).collect();
        let mut name = words.join("-");
        name.truncate(40);
        let gap = if name.is_empty() { "" } else { "-" };
        format!("body-{}{gap}{name}.stl", body.tool)
    })
    .collect()
}
