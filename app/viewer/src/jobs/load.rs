//! Opens a part: a mesh, a plan with its mesh, a demonstration, or what a window that is gone
//! has left.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use blend::Shares;
use geometry::inspect::{Finding, Severity};
use geometry::place::Unit;
use geometry::read::{Format, ReadOptions, odd_size, read_mesh};
use geometry::{Cancelled, Progress, Surface};
use plan::document::{StandError, Stood};
use plan::{FirstPlan, MeshSource, Paint, Plan};
use project::job::{Job, beside, load_pictures};
use project::text_file::read_text;

use super::Stop;
use super::skin::Skin;
use crate::files::{Left, OnDisk};
use crate::model::document::{Origin, Size};

/// Where a part comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// A mesh or a plan.
    File(PathBuf),
    /// A demonstration, by its name.
    Demo(String),
    /// What a window that is gone has left.
    Left(Left),
    /// The part that is open, its mesh mended.
    Mended(Box<Plan>, Origin),
    /// The part that is open, its mesh as the file has it now.
    MeshAgain(Box<Plan>, Origin),
}

impl Source {
    /// In a few words.
    pub fn name(&self) -> String {
        match self {
            Self::File(file) => file
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned(),
            Self::Demo(name) => name.clone(),
            Self::Left(left) => left.about.title.clone(),
            Self::Mended(plan, _) | Self::MeshAgain(plan, _) => plan.mesh.file.clone(),
        }
    }
}

/// A part that was opened.
pub struct Loaded {
    /// Its plan.
    pub plan: Plan,
    /// Where it came from.
    pub origin: Origin,
    /// Its skin, to be asked.
    pub surface: Surface,
    /// Its skin, to be drawn.
    pub skin: Arc<Skin>,
    /// How large it is.
    pub size: Size,
    /// What the check of the mesh found.
    pub findings: Vec<String>,
    /// The same, to be handed on.
    pub found: Vec<Finding>,
    /// What a person should know about how the mesh was read.
    pub notes: Vec<String>,
    /// What the person should know at once.
    pub warnings: Vec<String>,
    /// Its files as they were read.
    pub on_disk: OnDisk,
    /// What is done with once the part is shown.
    pub left: Option<Left>,
    /// Whether it is the part that was open, on another mesh.
    pub is_beneath: bool,
    /// Whether its file does not say its unit, and in millimetres its size is unlikely.
    pub size_is_odd: bool,
}

impl Loaded {
    /// From a plan and a part in memory.
    ///
    /// # Errors
    /// [`Cancelled`].
    pub fn of(
        plan: Plan,
        origin: Origin,
        surface: Surface,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        // Who is beside whom is asked for at the first stroke, and takes one core a while.
        let beside = || {
            surface.adjacency();
        };
        let skin = || Skin::of(surface.mesh(), progress);
        let (skin, (size, ())) = rayon::join(skin, || rayon::join(|| Size::of(&surface), beside));
        let skin = Arc::new(skin?);
        let files = (origin.plan_file.as_deref(), origin.mesh_file.as_deref());
        Ok(Self {
            on_disk: OnDisk::now(files.0, files.1),
            plan,
            origin,
            surface,
            skin,
            size,
            findings: Vec::new(),
            found: Vec::new(),
            notes: Vec::new(),
            warnings: Vec::new(),
            left: None,
            is_beneath: false,
            size_is_odd: false,
        })
    }
}

/// Opens it.
///
/// # Errors
/// [`Stop`] in words that say which file and what to do, or when cancelled.
pub fn run(source: Source, progress: &Progress) -> Result<Loaded, Stop> {
    match source {
        Source::File(file) => match is_plan(&file) {
            true => open_plan(&file, progress),
            false => open_mesh(&file, progress),
        },
        Source::Demo(name) => {
            let demo = demo_named(&name)?;
            let plan = Plan::from_ron(demo.plan_ron).map_err(|e| Stop::failed(&e))?;
            let origin = Origin {
                demo: Some(name),
                ..Origin::default()
            };
            let surface = Surface::new(Arc::new(demo.mesh));
            looked_over(plan, origin, surface, Told::default(), progress)
        }
        Source::Left(left) => open_left(left, progress),
        Source::Mended(mut plan, origin) => {
            plan.mesh.mend = true;
            open_beneath(*plan, origin, progress)
        }
        Source::MeshAgain(plan, origin) => open_beneath(*plan, origin, progress),
    }
}

fn is_plan(file: &Path) -> bool {
    file.extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("ron"))
}

/// Has a new plan begin with one blend: whoever wants a fade asks for it.
fn plain(plan: &mut Plan) {
    let first = Shares::pure(0, plan.spools.len());
    for (region, shares) in plan.regions.iter_mut().zip(first) {
        region.paint = Paint::Fixed(shares);
    }
}

fn demo_named(name: &str) -> Result<demo_models::Demo, Stop> {
    let demos = demo_models::all().map_err(|e| Stop::failed(&e))?;
    let names: Vec<&str> = demos.iter().map(|d| d.name).collect();
    let known = names.join(", ");
    let found = demos.into_iter().find(|d| d.name == name);
    found.ok_or_else(|| {
        Stop::Failed(format!(
            "there is no demonstration '{name}'; there are {known}"
        ))
    })
}

fn open_plan(file: &Path, progress: &Progress) -> Result<Loaded, Stop> {
    let job = Job::open(file, progress)?;
    let plan = job.painted.plan().clone();
    let origin = Origin {
        plan_file: Some(file.to_owned()),
        mesh_file: Some(beside(file, &plan.mesh.file)),
        demo: None,
    };
    let surface = job.painted.surface().clone();
    let told = Told {
        notes: job.notes,
        findings: job.findings,
    };
    looked_over(plan, origin, surface, told, progress)
}

fn load_plan(file: &Path, text: &str) -> Result<Plan, Stop> {
    let read = |name: &str| read_text(&beside(file, name));
    let plan = Plan::load(text, read);
    let mut plan = plan.map_err(|e| Stop::Failed(format!("{}: {e}", file.display())))?;
    load_pictures(&mut plan, file)?;
    Ok(plan)
}

fn open_mesh(file: &Path, progress: &Progress) -> Result<Loaded, Stop> {
    let name = file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let source = MeshSource::named(name);
    let Placed { stood, format } = placed_mesh(file, &source, progress)?;
    let (lo, hi) = stood.surface.bounds_mm();
    let odd_size =
        odd_size(stood.surface.mesh(), Unit::Millimetre).filter(|_| !format.states_unit());
    let stem = file
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let mut plan = Plan::first(FirstPlan {
        mesh: source,
        title: stem,
        height_mm: hi.z - lo.z,
    });
    plain(&mut plan);
    let origin = Origin {
        mesh_file: Some(file.to_owned()),
        ..Origin::default()
    };
    let told = Told {
        notes: stood.notes,
        findings: stood.findings,
    };
    let mut loaded = looked_over(plan, origin, stood.surface, told, progress)?;
    loaded.size_is_odd = odd_size.is_some();
    // The window asks for the unit, which says it already.
    loaded
        .warnings
        .retain(|told| Some(told) != odd_size.as_ref());
    Ok(loaded)
}

fn open_beneath(plan: Plan, origin: Origin, progress: &Progress) -> Result<Loaded, Stop> {
    let file = origin
        .mesh_file
        .clone()
        .ok_or_else(|| Stop::Failed("this part has no mesh file".to_owned()))?;
    let Placed { stood, .. } = placed_mesh(&file, &plan.mesh, progress)?;
    let told = Told {
        notes: stood.notes,
        findings: stood.findings,
    };
    let mut loaded = looked_over(plan, origin, stood.surface, told, progress)?;
    loaded.is_beneath = true;
    Ok(loaded)
}

fn open_left(left: Left, progress: &Progress) -> Result<Loaded, Stop> {
    let copy = left.plan_copy();
    open_copy(left, progress).map_err(|stop| match stop {
        Stop::Cancelled => Stop::Cancelled,
        Stop::Failed(why) => Stop::Failed(format!(
            "the copy for recovery can't be opened: {why}. It is kept as {}",
            copy.display()
        )),
    })
}

fn open_copy(left: Left, progress: &Progress) -> Result<Loaded, Stop> {
    let about = &left.about;
    let named = about.plan_file.clone().or(about.mesh_file.clone());
    let plan = load_plan(&named.unwrap_or_default(), &left.plan_text)?;
    let (surface, told) = match (&about.mesh_file, &about.demo) {
        (Some(mesh_file), _) => {
            let Placed { stood, .. } = placed_mesh(mesh_file, &plan.mesh, progress)?;
            let told = Told {
                notes: stood.notes,
                findings: stood.findings,
            };
            (stood.surface, told)
        }
        (None, Some(demo)) => {
            let surface = Surface::new(Arc::new(demo_named(demo)?.mesh));
            (surface, Told::default())
        }
        (None, None) => {
            let mesh = &plan.mesh.file;
            return Err(Stop::Failed(format!(
                "the note with its mesh's place is lost; put the copy beside '{mesh}' under a name \
                 that ends in .plan.ron, and open that"
            )));
        }
    };
    let origin = Origin {
        plan_file: about.plan_file.clone(),
        mesh_file: about.mesh_file.clone(),
        demo: about.demo.clone(),
    };
    let mut loaded = looked_over(plan, origin, surface, told, progress)?;
    // The copy may be older than what the plan's file holds now.
    loaded.on_disk.plan = None;
    loaded.left = Some(left);
    Ok(loaded)
}

/// A mesh on the bed, and the format of its file.
struct Placed {
    stood: Stood,
    format: Format,
}

/// Reads a mesh and stands it on the bed.
fn placed_mesh(file: &Path, source: &MeshSource, progress: &Progress) -> Result<Placed, Stop> {
    progress.stage("Reading the mesh");
    let options = ReadOptions {
        progress: progress.clone(),
        ..source.place.read_options()
    };
    let reading = read_mesh(file, &options).map_err(|e| match progress.check() {
        Err(cancelled) => cancelled.into(),
        Ok(()) => Stop::Failed(super::with_causes(&e)),
    })?;
    progress.check()?;
    let format = reading.format;
    source
        .stand(reading, progress)
        .map(|stood| Placed { stood, format })
        .map_err(|error| match error {
            StandError::Cancelled(cancelled) => cancelled.into(),
            error => Stop::Failed(format!("{}: {error}", file.display())),
        })
}

/// What a person should know about a mesh.
#[derive(Default)]
struct Told {
    /// How it was read and mended.
    notes: Vec<String>,
    /// What is wrong with it.
    findings: Vec<Finding>,
}

/// Makes a part ready to be asked and drawn.
fn looked_over(
    plan: Plan,
    origin: Origin,
    surface: Surface,
    told: Told,
    progress: &Progress,
) -> Result<Loaded, Stop> {
    let mut loaded = Loaded::of(plan, origin, surface, progress)?;
    loaded.findings = told.findings.iter().map(Finding::told).collect();
    let worst = told.findings.iter().find(|f| f.severity == Severity::Fault);
    if let Some(worst) = worst {
        loaded
            .warnings
            .push(format!("{} See the checks.", worst.what));
    }
    loaded.warnings.extend(told.notes.iter().cloned());
    loaded.notes = told.notes;
    loaded.found = told.findings;
    Ok(loaded)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::Keeper;
    use crate::files::recovery::{About, find_left};

    #[test]
    fn a_copy_cut_off_anywhere_is_refused_in_words_and_kept() {
        let demo = demo_named("nameplate").expect("a demonstration");
        let plan = Plan::from_ron(demo.plan_ron).expect("a plan");
        // As the window writes it.
        let text = plan.to_ron().expect("written");
        let about = About {
            title: plan.title.clone(),
            plan_file: None,
            mesh_file: None,
            demo: Some("nameplate".to_owned()),
            at_s: 7,
        };
        let home = tempfile::tempdir().expect("a folder");
        let keeper = Keeper::new(home.path()).expect("kept");
        keeper.keep(&about, &text).expect("written");
        drop(keeper);
        let whole = find_left(home.path()).pop().expect("a copy");
        assert!(run(Source::Left(whole.clone()), &Progress::new()).is_ok());
        let body = text.trim_end().len();
        for length in 1..body {
            std::fs::write(whole.plan_copy(), &text.as_bytes()[..length]).expect("cut");
            let left = find_left(home.path()).pop().expect("still a copy");
            match run(Source::Left(left), &Progress::new()) {
                Err(Stop::Failed(why)) => {
                    assert!(
                        why.contains("can't be opened") && why.contains("kept as"),
                        "{why}"
                    );
                }
                Err(Stop::Cancelled) => panic!("nobody stopped it"),
                Ok(_) => panic!("half a plan was opened, cut at {length}"),
            }
        }
        assert!(whole.plan_copy().exists());
    }
}
