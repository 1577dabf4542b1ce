//! Opening parts.

use std::path::{Path, PathBuf};

use geometry::{Progress, Surface};
use plan::Plan;

use super::{After, Page, Session};
use crate::files::Left;
use crate::jobs::load::{self, Loaded, Source};
use crate::jobs::{Job, Outcome};
use crate::state::document::{Document, Origin};
use crate::state::strands::StrandUpdate;
use crate::state::toolpath::Draft;

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

    /// Asked to leave the program.
    pub fn ask_to_quit(&mut self) {
        if self.settled(After::Quit) {
            self.after(After::Quit);
        }
    }

    /// Asked to close the part.
    pub fn ask_to_close(&mut self) {
        if self.settled(After::Close) {
            self.after(After::Close);
        }
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
        self.painted = None;
        self.summary = Default::default();
        self.review = Default::default();
        self.printed = Default::default();
        self.prepared = None;
        self.toolpath = Default::default();
        self.chosen = Default::default();
        self.hand.drop_begun();
        self.work.drop_part();
        self.autosave.clear();
        self.skin_updates.clear();
        self.skin_updates
            .push_back(crate::state::skin::SkinUpdate::Pieces(0));
        self.clear_preview();
        for gone in [StrandUpdate::Layer(None), StrandUpdate::Beneath(None)] {
            self.strand_updates.push_back(gone);
        }
    }

    fn load(&mut self, source: Source) {
        self.page = None;
        self.work.leave_cards();
        let title = format!("Opening {}", source.name());
        let job = Job::start(title, &self.waker, move |progress| {
            load::run(source, progress)
        });
        self.work.load = Some(job);
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

    fn show(&mut self, loaded: Loaded) {
        self.close();
        self.notices.settle();
        for warning in &loaded.warnings {
            self.notices.warning(warning.clone());
        }
        self.work.skin = Some(loaded.skin);
        let mut doc = Document::new(loaded.plan, loaded.origin, loaded.surface, loaded.findings);
        doc.notes = loaded.notes;
        if let Some(left) = loaded.left {
            doc.mark_unsaved();
            left.discard();
        }
        self.view.cursor_mm = 0.5 * (doc.extent_mm().0 + doc.extent_mm().1);
        self.view.cut = false;
        self.view.hover_mm = None;
        self.view.fit_wanted = true;
        self.view.camera.yaw_deg = 30.0;
        self.view.camera.pitch_deg = 0.0;
        self.toolpath.draft = Draft::suggested(&doc.origin);
        let regions = doc.plan().regions.len();
        self.chosen.region = regions.checked_sub(1);
        self.chosen.held = vec![false; doc.plan().spools.len()];
        self.doc = Some(doc);
        self.refresh_model();
        self.work.repaint_all();
    }

    fn note_recent(&mut self, file: &Path) {
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

    /// Writes the settings down.
    pub fn keep_settings(&mut self) {
        self.settings.brush_mm = self.hand.brush_mm;
        self.settings.lens = self.view.camera.lens;
        if let Some(home) = &self.home
            && let Err(why) = self.settings.write(&home.settings_file())
        {
            self.notices.warning(why);
        }
    }
}
