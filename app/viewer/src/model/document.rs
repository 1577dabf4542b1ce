//! The open part: its mesh, its plan with the list of changes, and where it is saved.

use std::mem::Discriminant;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use geometry::inspect::Finding;
use geometry::{DVec3, Mesh, Surface};
use plan::{Drag, Edit, EditError, History, MeshSource, Paint, Plan};

use super::names::plan_stem;

/// Where the part came from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Origin {
    /// The plan's file, once there is one.
    pub plan_file: Option<PathBuf>,
    /// The mesh's file; none for a demonstration part, which is made by code.
    pub mesh_file: Option<PathBuf>,
    /// The demonstration's name.
    pub demo: Option<String>,
}

impl Origin {
    /// A file beside the part's, named after it with an ending.
    pub fn beside(&self, ending: &str) -> PathBuf {
        self.folder().join(format!("{}{ending}", self.stem()))
    }

    /// The folder of the part's files; the one that the window was started in while it has none.
    pub fn folder(&self) -> PathBuf {
        let file = self.plan_file.as_deref().or(self.mesh_file.as_deref());
        let here = || std::env::current_dir().unwrap_or_default();
        file.and_then(Path::parent)
            .map_or_else(here, Path::to_owned)
    }

    fn stem(&self) -> String {
        match (&self.plan_file, &self.mesh_file, &self.demo) {
            (Some(plan), _, _) => plan_stem(plan),
            (None, Some(mesh), _) => plan_stem(&mesh.with_extension("")),
            (None, None, Some(demo)) => demo.clone(),
            (None, None, None) => "part".to_owned(),
        }
    }
}

/// How large a part is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Area of the skin that is seen, mm².
    pub area_mm2: f64,
    /// Volume, mm³.
    pub volume_mm3: f64,
}

impl Size {
    /// Measures a part: the work grows with its facets.
    pub fn of(surface: &Surface) -> Self {
        let mesh = surface.mesh();
        let facets = 0..mesh.triangles().len();
        let seen = facets.filter(|&facet| !surface.is_unseen(facet as u32));
        Self {
            area_mm2: seen.map(|facet| mesh.area_vector(facet).length()).sum(),
            volume_mm3: mesh.volume_mm3(),
        }
    }
}

/// The open part.
pub struct Document {
    /// Where it came from.
    pub origin: Origin,
    /// The part's skin.
    pub surface: Surface,
    /// Least and greatest corner, mm.
    pub bounds_mm: (DVec3, DVec3),
    /// How large it is.
    pub size: Size,
    /// What the check of the mesh found, in words.
    pub findings: Vec<String>,
    /// The same, to be handed on.
    pub found: Vec<Finding>,
    /// What a person should know about how the mesh was read.
    pub notes: Vec<String>,
    plan: Plan,
    history: History,
    /// The drag that is going on, and what kind of edit it makes.
    drag: Option<(Drag, Discriminant<Edit>)>,
}

impl Document {
    /// Takes a plan for a part.
    pub fn new(plan: Plan, origin: Origin, part: (Surface, Size), findings: Vec<String>) -> Self {
        let (surface, size) = part;
        Self {
            bounds_mm: surface.bounds_mm(),
            size,
            surface,
            findings,
            found: Vec::new(),
            notes: Vec::new(),
            plan,
            history: History::new(),
            drag: None,
            origin,
        }
    }

    /// The same part on another mesh, which this is: with the plan, and all that can be undone,
    /// of before. How the mesh is mended and set on the bed is no step of undo.
    pub fn taking_over(mut self, before: Self, mesh: &MeshSource) -> Self {
        self.plan = before.plan;
        self.history = before.history;
        let own = &mut self.plan.mesh;
        if (own.mend, &own.place) != (mesh.mend, &mesh.place) {
            own.mend = mesh.mend;
            own.place = mesh.place.clone();
            self.history.mark_unsaved();
        }
        self
    }

    /// The plan as it is now.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The mesh.
    pub fn mesh(&self) -> &Arc<Mesh> {
        self.surface.mesh()
    }

    /// Makes a change. One that says what the plan says already is none: it leaves undo, redo
    /// and what is saved as they are.
    ///
    /// # Errors
    /// In words, when the change would make a plan that is none; the plan is then as it was.
    pub fn edit(&mut self, edit: Edit) -> Result<(), EditError> {
        self.drag = None;
        if says_nothing_new(&edit, &self.plan) {
            return Ok(());
        }
        self.history.apply(&mut self.plan, edit)
    }

    /// Makes a change that belongs to a drag; all changes up to the one that is `done` are
    /// one step of undo.
    ///
    /// # Errors
    /// As [`Document::edit`].
    pub fn edit_dragged(&mut self, edit: Edit, done: bool) -> Result<(), EditError> {
        if says_nothing_new(&edit, &self.plan) {
            if done {
                self.drag = None;
            }
            return Ok(());
        }
        let kind = std::mem::discriminant(&edit);
        // What was begun on another widget has ended, whether or not that could say so.
        let drag = match self.drag.filter(|(_, of)| *of == kind) {
            Some((drag, _)) => drag,
            None => self.history.begin_drag(),
        };
        self.drag = (!done).then_some((drag, kind));
        self.history.apply_drag(&mut self.plan, edit, drag)
    }

    /// Ends a drag whose last change was made already.
    pub fn end_drag(&mut self) {
        self.drag = None;
    }

    /// Takes the last change back; tells what it was.
    pub fn undo(&mut self) -> Option<&'static str> {
        self.drag = None;
        let label = self.history.undo_label()?;
        self.history.undo(&mut self.plan).then_some(label)
    }

    /// Makes the change again that was taken back; tells what it was.
    pub fn redo(&mut self) -> Option<&'static str> {
        self.drag = None;
        let label = self.history.redo_label()?;
        self.history.redo(&mut self.plan).then_some(label)
    }

    /// What undo would take back.
    pub fn undo_label(&self) -> Option<&'static str> {
        self.history.undo_label()
    }

    /// What redo would make again.
    pub fn redo_label(&self) -> Option<&'static str> {
        self.history.redo_label()
    }

    /// A number that names the state of the plan: equal numbers, equal plans.
    pub fn revision(&self) -> u64 {
        self.history.state()
    }

    /// Whether there is something that is not saved.
    pub fn is_unsaved(&self) -> bool {
        self.history.is_unsaved()
    }

    /// Whether the plan's own file is this plan.
    pub fn is_saved(&self) -> bool {
        !self.is_unsaved() && self.origin.plan_file.is_some()
    }

    /// Notes that nothing saved is like this plan.
    pub fn mark_unsaved(&mut self) {
        self.history.mark_unsaved();
    }

    /// Notes that the plan was saved to a file, its mesh standing in another.
    pub fn was_saved(&mut self, file: PathBuf, mesh_file: PathBuf, as_written: Plan) {
        // Where other files stand is the file's business and no step of undo.
        self.plan = as_written;
        self.history.mark_saved();
        self.origin = Origin {
            plan_file: Some(file),
            mesh_file: Some(mesh_file),
            demo: None,
        };
    }

    /// What the part is called.
    pub fn title(&self) -> String {
        if !self.plan.title.is_empty() {
            return self.plan.title.clone();
        }
        let file = self
            .origin
            .plan_file
            .as_deref()
            .or(self.origin.mesh_file.as_deref());
        let stem = file
            .and_then(Path::file_stem)
            .map(|s| s.to_string_lossy().into_owned());
        stem.unwrap_or_else(|| "Part".to_owned())
    }

    /// The part's lowest and highest point, mm.
    pub fn extent_mm(&self) -> (f64, f64) {
        (self.bounds_mm.0.z, self.bounds_mm.1.z)
    }

    /// The middle of the box around the part, mm.
    pub fn middle_mm(&self) -> DVec3 {
        (self.bounds_mm.0 + self.bounds_mm.1) * 0.5
    }
}

/// Whether an edit sets what the plan has already.
fn says_nothing_new(edit: &Edit, plan: &Plan) -> bool {
    let region = |index: &usize| plan.regions.get(*index);
    let fade = |index: &usize| match region(index).map(|r| &r.paint) {
        Some(Paint::Fade { fade, .. }) => Some(fade),
        _ => None,
    };
    let stop = |index: &usize, stop: &usize| fade(index).and_then(|f| f.stops.get(*stop));
    match edit {
        Edit::SetTitle(to) => plan.title == *to,
        Edit::SetMesh(to) => plan.mesh == *to,
        Edit::SetLayers(to) => plan.layers == *to,
        Edit::SetSkin(to) => plan.skin_mm == *to,
        Edit::SetWall(to) => plan.wall == *to,
        Edit::SetLaying(to) => plan.laying == *to,
        Edit::SetMachine(to) => plan.machine == *to,
        Edit::SetSpool { spool, to } => plan.spools.list.get(*spool) == Some(to),
        Edit::MoveRegion { from, to } => from == to,
        Edit::RenameRegion { region: r, to } => region(r).is_some_and(|r| r.name == *to),
        Edit::HideRegion { region: r, hidden } => region(r).is_some_and(|r| r.hidden == *hidden),
        Edit::LockRegion { region: r, locked } => region(r).is_some_and(|r| r.locked == *locked),
        Edit::SetMask { region: r, to } => region(r).is_some_and(|r| r.mask == *to),
        Edit::SetPaint { region: r, to } => region(r).is_some_and(|r| r.paint == *to),
        Edit::MoveStop {
            region,
            stop: s,
            at_mm,
        } => stop(region, s).is_some_and(|s| s.at_mm == *at_mm),
        Edit::SetStopShares {
            region,
            stop: s,
            shares,
        } => stop(region, s).is_some_and(|s| s.shares == *shares),
        Edit::SetSpacing { region, spacing } => fade(region).is_some_and(|f| f.spacing == *spacing),
        Edit::Together(all) => all.iter().all(|edit| says_nothing_new(edit, plan)),
        _ => false,
    }
}
