//! What goes into a hand-off.

use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use bodies::{BodiesError, Options};
use geometry::{Cancelled, Progress};
use plan::Painted;

use super::error::BundleError;
use super::manifest::{Entry, MANIFEST, MOST_FILES, Manifest, SUMS, place_of_record};
use crate::bodies::{BodyFilesError, BodyPlan};
use crate::coloured::Coloured;
use crate::prepare::{Work, side_by_side};
use crate::summary::FILES;
use crate::three_mf::Model;
use crate::{gltf, ply};
use project::cautions;
use project::job::Job;
use project::models::files_of_mesh;
use project::record::{Opened, what_of as of_record};
use project::signoff;
use project::write::WriteError;
use report::panel_table::{PanelTable, Screen, table};
use report::patches::{Fades, Patches};
use weave::dialect::Dialect;

/// Where the plan and what it names goes.
const SOURCE: &str = "source";

/// Where the part in bodies goes, and the built-in dialect that its lines are in.
const BODIES: &str = "bodies";
const DIALECT: &str = "slots";

/// What is written beyond what `prepare` writes, and what it is.
const MORE: &[(&str, &str)] = &[
    (
        "part.3mf",
        "3MF: the part with its blends as composite materials of the spools",
    ),
    (
        "part.glb",
        "glTF: the part in its colours as printed, for any viewer",
    ),
    ("part.ply", "PLY: the same"),
    (
        "key-in.txt",
        "a short table for a printer's own screen, with its error",
    ),
];

/// A file on its way: its place in the hand-off and its content.
pub(super) struct Packed {
    pub name: String,
    pub content: Vec<u8>,
}

/// The manifest, the files, and for each record of a print a warning if there is one.
type Gathered = (Manifest, Vec<Packed>, Vec<Option<String>>);

/// Makes all files of a hand-off; the manifest comes last.
pub(super) fn gather(
    job: &Job,
    records: &[Opened],
    progress: &Progress,
) -> Result<Gathered, BundleError> {
    let work = || Work::new(job, progress)?.with(records);
    let (work, shown) = side_by_side(job, work, whole, progress)?;
    let mut all: Vec<(String, String, Vec<u8>)> = Vec::new();
    let what_of = |name: &str| {
        let known = FILES.iter().chain(MORE).find(|(n, _)| *n == name);
        known.map_or(String::new(), |(_, what)| (*what).to_owned())
    };
    for (name, content) in work.files(&shown, progress)? {
        if name != "index.txt" {
            all.push((name.to_owned(), what_of(name), content));
        }
    }
    for (name, content) in exchanged(job, &work, shown.patches, progress)? {
        all.push((name.to_owned(), what_of(name), content));
    }
    all.extend(bodies(job, &work, progress)?);
    let (plan, source) = sources(job)?;
    all.extend(source);
    all.extend(recorded(records));
    // Beside these: the index, the list of sums and the manifest.
    let count = all.len() + 3;
    if count > MOST_FILES {
        return Err(BundleError::TooMany(count));
    }
    let title = &work.summary.provenance.title;
    let mut manifest = Manifest {
        version: Manifest::VERSION,
        title: title.clone(),
        made_by: work.summary.provenance.made_by.clone(),
        plan,
        plan_sha256: work.summary.provenance.plan_sha256.clone(),
        mesh_sha256: work.summary.provenance.mesh_sha256.clone(),
        review: work.standing.clone(),
        files: all
            .iter()
            .map(|(name, what, content)| Entry::of(name, what, content))
            .collect(),
    };
    let index = index(&manifest);
    let what = what_of("index.txt");
    manifest
        .files
        .insert(0, Entry::of("index.txt", &what, index.as_bytes()));
    all.insert(0, ("index.txt".into(), what, index.into_bytes()));
    let mut files: Vec<Packed> = all
        .into_iter()
        .map(|(name, _, content)| Packed { name, content })
        .collect();
    files.push(Packed {
        name: SUMS.to_owned(),
        content: manifest.sums().into_bytes(),
    });
    files.push(Packed {
        name: MANIFEST.to_owned(),
        content: manifest.to_ron()?.into_bytes(),
    });
    Ok((manifest, files, work.warnings()))
}

/// The skin of a part as a hand-off has it.
pub(super) fn whole(painted: &Painted, progress: &Progress) -> Result<Patches, Cancelled> {
    Patches::new(painted, Fades::Whole, progress)
}

/// The records of prints, each in a folder of its own.
fn recorded(records: &[Opened]) -> impl Iterator<Item = (String, String, Vec<u8>)> + '_ {
    let of_print = |(i, opened): (usize, &'_ Opened)| {
        let (number, files) = (i + 1, opened.files.clone());
        let placed = move |(name, bytes): (String, Vec<u8>)| {
            let place = format!("{}/{name}", place_of_record(number));
            (
                place,
                format!("print {number}: {}", of_record(&name)),
                bytes,
            )
        };
        files.into_iter().map(placed)
    };
    records.iter().enumerate().flat_map(of_print)
}

/// The part in open formats, and the table to key in.
fn exchanged(
    job: &Job,
    work: &Work<'_>,
    patches: Patches,
    progress: &Progress,
) -> Result<Vec<(&'static str, Vec<u8>)>, BundleError> {
    let painted = &job.painted;
    let model = three_mf(job, work, progress)?;
    progress.stage("Colouring the part for other programs");
    let part = Coloured::of(patches, painted, &work.schedule, &work.printed, progress)?;
    progress.stage("Writing open formats");
    let title = &work.schedule.provenance.title;
    let note = &work.schedule.provenance.review;
    let screen = Screen::of(painted);
    let keyed = PanelTable::new(painted, &work.schedule, screen);
    let text = table(&keyed, screen, painted, &work.schedule);
    Ok(vec![
        made("part.3mf", |out| model.write(out))?,
        made("part.glb", |out| gltf::write_glb(&part, title, note, out))?,
        made("part.ply", |out| ply::write_ply(&part, note, out))?,
        ("key-in.txt", text.into_bytes()),
    ])
}

/// The part in bodies, for print steps that take several tools; where it can't be cut, why not.
fn bodies(
    job: &Job,
    work: &Work<'_>,
    progress: &Progress,
) -> Result<Vec<(String, String, Vec<u8>)>, BundleError> {
    let Some(dialect) = Dialect::built_in(DIALECT) else {
        return Ok(Vec::new());
    };
    let plan = BodyPlan {
        job,
        schedule: &work.schedule,
        printed: Some(&work.printed),
        options: Options::default(),
        dialect: &dialect,
    };
    let files = match plan.files(progress) {
        Ok(made) => made.files,
        Err(BodyFilesError::Bodies(BodiesError::Cancelled(stop))) => return Err(stop.into()),
        Err(BodyFilesError::Content { name, source }) => {
            return Err(BundleError::Format { name, source });
        }
        Err(refused) => vec![(
            "refused.txt".to_owned(),
            "why there are no bodies".to_owned(),
            format!("The part was not cut into bodies: {refused}\n").into_bytes(),
        )],
    };
    let placed = |(name, what, content)| (format!("{BODIES}/{name}"), what, content);
    Ok(files.into_iter().map(placed).collect())
}

/// A file made in memory.
fn made(
    name: &'static str,
    fill: impl FnOnce(&mut Vec<u8>) -> io::Result<()>,
) -> Result<(&'static str, Vec<u8>), BundleError> {
    let mut bytes = Vec::new();
    match fill(&mut bytes) {
        Ok(()) => Ok((name, bytes)),
        Err(source) => Err(BundleError::Format { name, source }),
    }
}

/// The 3MF model of a plan.
pub(super) fn three_mf(
    job: &Job,
    work: &Work<'_>,
    progress: &Progress,
) -> Result<Model, BundleError> {
    let patches = Patches::new(&job.painted, Fades::InSteps, progress)?;
    let from = &work.schedule.provenance;
    let description = format!("{}. Plan SHA-256 {}", from.review, from.plan_sha256);
    Ok(Model::new(
        &job.painted,
        &patches,
        &from.title,
        &description,
    ))
}

/// The plan's place, and the plan, its mesh, spools, machine, pictures and signatures, byte for
/// byte.
type Sources = (String, Vec<(String, String, Vec<u8>)>);

fn sources(job: &Job) -> Result<Sources, BundleError> {
    let plan = job.painted.plan();
    let folder = job.path.parent().unwrap_or(Path::new(""));
    let own_name = file_name(&job.path);
    let mut names = vec![(plan.mesh.file.clone(), "the mesh".to_owned())];
    for (file, what) in [
        (&plan.spools.file, "the spools"),
        (&plan.machine.file, "the machine"),
    ] {
        if let Some(file) = file {
            names.push((file.clone(), what.to_owned()));
        }
    }
    for file in plan.imprint_files() {
        names.push((file, "a picture or font on the part".to_owned()));
    }
    let mesh = folder.join(&plan.mesh.file);
    let of_mesh = files_of_mesh(plan, &job.path).map_err(|why| unreadable(&mesh, why))?;
    let named = |file| (file, "a part of the mesh".to_owned());
    names.extend(of_mesh.into_iter().map(named));
    // As many folders between as the plan's names climb out of.
    let climbs = |name: &str| {
        let ups = Path::new(name).components();
        ups.filter(|c| matches!(c, Component::ParentDir)).count()
    };
    let depth = names.iter().map(|(n, _)| climbs(n)).max().unwrap_or(0);
    let mut base = PathBuf::from(SOURCE);
    base.extend(std::iter::repeat_n("plan", depth));
    let place = |name: &str| placed(&base, name).ok_or_else(|| outside(&job.path, name));
    let plan_place = place(&own_name)?;
    let mut files = vec![(
        plan_place.clone(),
        "the plan that everything was made from".to_owned(),
        read(&job.path)?,
    )];
    for (name, what) in names {
        let at = place(&name)?;
        if files.iter().all(|(n, _, _)| *n != at) {
            files.push((at, what, read(&folder.join(&name))?));
        }
    }
    let review = signoff::path_of(&job.path);
    if review.exists() {
        let at = place(&file_name(&review))?;
        files.push((at, "who reviewed the plan".to_owned(), read(&review)?));
    }
    Ok((plan_place, files))
}

fn file_name(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn outside(plan: &Path, name: &str) -> BundleError {
    BundleError::Outside {
        plan: plan.to_owned(),
        file: name.to_owned(),
    }
}

/// A file's place in the hand-off; `None` if it would lie outside of it.
fn placed(base: &Path, name: &str) -> Option<String> {
    let mut parts: Vec<String> = Vec::new();
    for component in base.join(name).components() {
        match component {
            Component::Normal(part) => parts.push(part.to_str()?.to_owned()),
            Component::ParentDir => {
                parts.pop()?;
            }
            Component::CurDir => {}
            Component::RootDir | Component::Prefix(_) => return None,
        }
    }
    let place = parts.join("/");
    let inside = parts.first().is_some_and(|first| first == SOURCE);
    (inside && super::manifest::is_plain(&place)).then_some(place)
}

fn read(path: &Path) -> Result<Vec<u8>, BundleError> {
    fs::read(path).map_err(|source| unreadable(path, source))
}

fn unreadable(path: &Path, source: io::Error) -> BundleError {
    BundleError::Write(WriteError {
        path: path.to_owned(),
        doing: "read",
        source,
    })
}

/// A page of text that says what the hand-off holds.
fn index(manifest: &Manifest) -> String {
    let mut text = format!(
        "{}\n{}\n\n",
        manifest.title.replace(char::is_control, " "),
        manifest.review.words().replace(char::is_control, " ")
    );
    let wide = manifest.files.iter().map(|e| e.name.chars().count());
    let wide = wide.max().unwrap_or(0).min(40);
    for entry in &manifest.files {
        text.push_str(&format!("{:wide$}  {}\n", entry.name, entry.what));
    }
    text.push_str(&format!(
        "{MANIFEST:wide$}  every file with its size and hash\n{SUMS:wide$}  the same for \
         `sha256sum --check {SUMS}`\n\nFirst run `tintfall check-handoff` on this folder. Then \
         open review.html.\n\nPlan SHA-256 {}\nMesh SHA-256 {}\nMade by {}\n\nBefore you print\n",
        manifest.plan_sha256, manifest.mesh_sha256, manifest.made_by
    ));
    for caution in cautions::SHORT {
        text.push_str(&format!("  - {caution}\n"));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_keep_their_places_to_each_other() {
        let at = |base: &str, name: &str| placed(Path::new(base), name);
        assert_eq!(at("source", "a.stl").as_deref(), Some("source/a.stl"));
        assert_eq!(at("source", "m/a.stl").as_deref(), Some("source/m/a.stl"));
        assert_eq!(
            at("source/plan", "../m/a.stl").as_deref(),
            Some("source/m/a.stl")
        );
        assert_eq!(at("source", "../a.stl"), None);
        assert_eq!(at("source", "/etc/a.stl"), None);
        assert_eq!(at("source", "../../a.stl"), None);
    }
}
