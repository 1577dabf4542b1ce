//! Opening parts.

use std::path::{Path, PathBuf};

use geometry::{Progress, Surface};
use plan::Plan;

use super::Session;
use crate::files::{Left, OnDisk};
use crate::jobs::load::{self, Loaded, Source};
use crate::jobs::{Job, Outcome};
use crate::model::document::{Document, Origin};
use crate::model::draft::Draft;
use crate::model::names::folder_text;
use crate::model::page::{After, Page};
use crate::model::section::SectionPlane;
use crate::model::skin::SkinUpdate;
use crate::model::strands::StrandUpdate;

impl Session {
    /// Opens a plan or a mesh, asking first if unsaved work would be lost.
    pub fn open(&mut self, file: impl Into<PathBuf>) {
        let file = file.into();
        if self.settled(After::Open(file.clone())) {
            self.load(Source::File(file));
        }
    }

    /// Opens a demonstration.
    pub fn open_demo(&mut self, name: &str) {
        if self.settled(After::Demo(name.to_owned())) {
            self.load(Source::Demo(name.to_owned()));
        }
    }

    /// Opens what a window that is gone has left; it counts as not saved.
    pub fn open_left(&mut self, left: Left) {
        self.left.retain(|l| *l != left);
        self.load(Source::Left(left));
    }

    /// Throws away what a window that is gone has left.
    pub fn discard_left(&mut self, left: &Left) {
        left.discard();
        self.left.retain(|l| l != left);
    }

    /// Whether nothing would be lost; if something would, asks and remembers what to do then.
    fn settled(&mut self, then: After) -> bool {
        let unsaved = self.doc.as_ref().is_some_and(Document::is_unsaved);
        if unsaved {
            self.page = Some(Page::Unsaved { then });
        }
        !unsaved
    }

    /// Does something that loses unsaved work, asking first if there is any.
    pub fn ask_to(&mut self, then: After) {
        if self.settled(then.clone()) {
            self.after(then);
        }
    }

    pub(super) fn ask_open(&mut self) {
        let beside = self.recent.files.first().and_then(|f| f.parent());
        let folder = beside.map_or_else(|| std::env::current_dir().unwrap_or_default(), Into::into);
        let path = folder_text(&folder);
        self.page = Some(Page::OpenFile { path });
    }

    /// The folder of the open part's files, for a file's name to be typed after it; none while no
    /// part is open.
    pub(super) fn beside_part(&self) -> Option<String> {
        let origin = &self.doc.as_ref()?.origin;
        let file = origin.plan_file.as_ref().or(origin.mesh_file.as_ref());
        let folder = file.and_then(|f| f.parent()).map(Path::to_owned);
        let folder = folder.unwrap_or_else(|| std::env::current_dir().unwrap_or_default());
        Some(folder_text(&folder))
    }

    /// Drops the unsaved work and does what waited for that.
    pub fn drop_unsaved(&mut self, then: After) {
        self.page = None;
        self.autosave.clear();
        self.after(then);
    }

    /// Does what waited for unsaved work to be settled.
    pub(super) fn after(&mut self, then: After) {
        match then {
            After::Quit => {
                self.autosave.clear();
                self.keep_settings();
                self.quits = true;
            }
            After::Close => self.close(),
            After::Open(file) => self.load(Source::File(file)),
            After::Demo(name) => self.load(Source::Demo(name)),
        }
    }

    fn close(&mut self) {
        self.doc = None;
        self.on_disk = Default::default();
        self.elsewhere = Default::default();
        self.loading = None;
        self.painted = None;
        self.summary = Default::default();
        self.groundwork = None;
        self.review = Default::default();
        self.printed = Default::default();
        self.prepared = Default::default();
        self.bodies = Default::default();
        self.bodies_written = Default::default();
        self.section = Default::default();
        self.toolpath = Default::default();
        self.errands = Default::default();
        self.finished = Default::default();
        self.size_is_odd = false;
        self.chosen = Default::default();
        self.fitted = Default::default();
        self.picture = Default::default();
        self.own_colours = Default::default();
        self.flat_colours = Default::default();
        self.tools.drop_begun();
        self.clear_preview();
        self.preview = Default::default();
        self.colouring = Default::default();
        self.autosave.clear();
        // They tell of the part that is gone.
        self.notices.clear();
        self.skin_updates.clear();
        self.face_is_drawn = false;
        for gone in [
            SkinUpdate::Pieces(0),
            SkinUpdate::DrawnGone,
            SkinUpdate::Hover(Default::default(), [0.0; 3]),
            SkinUpdate::Face(Default::default()),
        ] {
            self.skin_updates.push_back(gone);
        }
        self.strand_updates.extend([
            StrandUpdate::Layer(None),
            StrandUpdate::Beneath(None),
            StrandUpdate::Blocks(None),
        ]);
    }

    fn load(&mut self, source: Source) {
        self.page = None;
        self.leave_cards();
        let title = format!("Opening {}", source.name());
        let job = Job::start(title, &self.waker, move |progress| {
            load::run(source, progress)
        });
        self.loading = Some(job);
    }

    /// Takes the part that was loaded.
    pub(super) fn take_loaded(&mut self, outcome: Outcome<Loaded>) {
        let loaded = match outcome {
            Outcome::Done(loaded) => loaded,
            Outcome::Cancelled => return,
            Outcome::Failed(why) => {
                self.notices.error(why);
                return;
            }
        };
        let seen = loaded.origin.plan_file.clone();
        if let Some(file) = seen.or(loaded.origin.mesh_file.clone()) {
            self.note_recent(&file);
        }
        self.show(loaded);
        if let Some(file) = self.spools_wanted.take() {
            self.take_spool_file(file);
        }
    }

    /// Shows a part that is in memory already.
    pub fn take_part(&mut self, plan: Plan, origin: Origin, surface: Surface) {
        match Loaded::of(plan, origin, surface, &Progress::new()) {
            Ok(loaded) => self.show(loaded),
            // Nobody else holds the progress, so nobody can have cancelled it.
            Err(cancelled) => self.notices.error(cancelled.to_string()),
        }
    }

    /// Whether something is wrong with the mesh that mending may put right.
    pub(super) fn can_mend(&self) -> bool {
        let unsound = |doc: &Document| {
            !doc.found.is_empty() && !doc.plan().mesh.mend && doc.origin.mesh_file.is_some()
        };
        self.loading.is_none() && self.doc.as_ref().is_some_and(unsound)
    }

    /// Mends the mesh of the part that is open, and has the plan do so from now on.
    pub(super) fn mend(&mut self) {
        if let Some(doc) = &self.doc {
            let (plan, origin) = (Box::new(doc.plan().clone()), doc.origin.clone());
            self.load_beneath(Source::Mended(plan, origin), "Mending the mesh");
        }
    }

    /// Loads another mesh under the plan that is open.
    pub(super) fn load_beneath(&mut self, source: Source, title: &str) {
        let job = Job::start(title, &self.waker, move |progress| {
            load::run(source, progress)
        });
        self.loading = Some(job);
    }

    /// Puts the part that is open on another mesh: the plan stays, and what was chosen.
    fn show_beneath(&mut self, loaded: Loaded) {
        let Some(before) = self.doc.take() else {
            return;
        };
        let chosen = std::mem::take(&mut self.chosen);
        let on_disk = OnDisk {
            plan: self.on_disk.plan,
            ..loaded.on_disk
        };
        let mesh = loaded.plan.mesh.clone();
        let stands_otherwise = before.plan().mesh.place != mesh.place;
        let view = (self.view.camera, self.view.cursor_mm, self.view.cut);
        let section = self.view.section;
        self.show(Loaded {
            is_beneath: false,
            ..loaded
        });
        self.chosen = chosen;
        self.on_disk = on_disk;
        (self.view.camera, self.view.cursor_mm, self.view.cut) = view;
        self.view.section = section;
        self.view.fit_wanted = stands_otherwise;
        self.doc = self.doc.take().map(|doc| doc.taking_over(before, &mesh));
        self.section_fits_part();
        self.set_cursor_mm(self.view.cursor_mm);
    }

    fn show(&mut self, loaded: Loaded) {
        if loaded.is_beneath {
            return self.show_beneath(loaded);
        }
        self.close();
        for warning in &loaded.warnings {
            self.notices.warning(warning.clone());
        }
        self.colouring.skin = Some(loaded.skin);
        self.on_disk = loaded.on_disk;
        let part = (loaded.surface, loaded.size);
        let mut doc = Document::new(loaded.plan, loaded.origin, part, loaded.findings);
        doc.notes = loaded.notes;
        doc.found = loaded.found;
        if let Some(left) = loaded.left {
            doc.mark_unsaved();
            left.discard();
        }
        self.view.cursor_mm = 0.5 * (doc.extent_mm().0 + doc.extent_mm().1);
        self.view.cut = false;
        self.view.section = SectionPlane::default();
        self.view.hover_mm = None;
        self.view.fit_wanted = true;
        self.view.camera.yaw_deg = 30.0;
        self.view.camera.pitch_deg = 0.0;
        self.toolpath.draft = Draft::suggested(&doc.origin);
        let regions = doc.plan().regions.len();
        self.chosen.region = regions.checked_sub(1);
        self.chosen.held = vec![false; doc.plan().spools.len()];
        self.doc = Some(doc);
        self.size_is_odd = loaded.size_is_odd;
        self.note_opened();
        self.suggest_forms();
        self.refresh_model();
        self.colouring.redraw_all = true;
    }

    pub(super) fn note_recent(&mut self, file: &Path) {
        self.recent.opened(file);
        if let Some(home) = &self.home
            && let Err(why) = self.recent.write(&home.recent_file())
        {
            self.notices.warning(why);
        }
    }

    /// Takes a file that is gone out of the list.
    pub fn forget_recent(&mut self, file: &Path) {
        self.recent.forget(file);
        if let Some(home) = &self.home
            && let Err(why) = self.recent.write(&home.recent_file())
        {
            self.notices.warning(why);
        }
    }
}
