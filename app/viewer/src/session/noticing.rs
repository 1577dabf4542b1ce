//! Files of the open part that another program changes: noticed in the background, and offered.

use plan::{Edit, External, Machine};

use super::Session;
use super::filled::poll;
use crate::files::Opened;
use crate::jobs::load::Source;
use crate::jobs::watching::{self, Changed, Noticed, State, Watch, Watched, Which};
use crate::jobs::{Job, Outcome};
use crate::model::errand::Errand;
use crate::model::names::folder_of;
use crate::model::page::{After, Drawer};

impl Session {
    /// A file that another program has changed, until somebody says what to do about it.
    pub fn changed_elsewhere(&self) -> Option<&Changed> {
        self.elsewhere.changed.as_ref()
    }

    /// Watches the files as they are known here, and whether another window opens the plan; a watch
    /// over what was known before ends.
    pub(super) fn watch_files(&mut self) {
        let mut watch = self.elsewhere.watch.take();
        if let Some((of, job)) = watch.take() {
            let mut job = Some(job);
            match poll(&mut job) {
                Some(Outcome::Done(Noticed::Changed(changed))) => {
                    self.elsewhere.changed = Some(changed);
                }
                Some(Outcome::Done(Noticed::Others(others))) => self.note_others(others),
                Some(_) => {}
                None => self.elsewhere.watch = job.map(|job| (of, job)),
            }
        }
        if self.elsewhere.changed.is_some() {
            self.forget_what_came_right();
            return;
        }
        let opened = self.elsewhere.opened.as_ref();
        let windows = opened.map(|o| (o.notes().clone(), self.elsewhere.has_others));
        let watch = Watch {
            files: self.watched_files(),
            windows,
        };
        if watch == Watch::default() {
            self.elsewhere.watch = None;
            return;
        }
        let same = self
            .elsewhere
            .watch
            .as_ref()
            .is_some_and(|(of, _)| *of == watch);
        if !same {
            let of = watch.clone();
            let job = Job::start("Watching the files", &self.waker, move |p| {
                watching::run(&watch, p)
            });
            self.elsewhere.watch = Some((of, job));
        }
    }

    /// Notes for other windows which plan is open here, and tells if one of them has it, too.
    pub(super) fn note_opened(&mut self) {
        let plan = self.doc.as_ref().and_then(|d| d.origin.plan_file.clone());
        let noted = self.elsewhere.opened.as_ref().map(Opened::plan);
        if noted == plan.as_deref() {
            return;
        }
        self.elsewhere.opened = None;
        self.elsewhere.has_others = false;
        let (Some(home), Some(plan)) = (&self.home, plan) else {
            return;
        };
        match Opened::note(&home.open_folder(), &plan) {
            Ok(opened) => {
                let others = opened.notes().has_others();
                self.elsewhere.opened = Some(opened);
                self.note_others(others);
            }
            Err(why) => self.notices.warning(why),
        }
    }

    /// Another window has opened the plan, before this one or after it, or none has it any more.
    fn note_others(&mut self, others: bool) {
        self.elsewhere.has_others = others;
        let Some(opened) = self.elsewhere.opened.as_ref().filter(|_| others) else {
            return;
        };
        let name = opened.plan().display();
        self.notices.warning(format!(
            "{name} is open in another window, too. Change it in one of them only: when the other \
             saves, you are asked whose plan to keep."
        ));
    }

    /// Whether another window has the plan open, too.
    pub fn is_open_elsewhere(&self) -> bool {
        self.elsewhere.has_others
    }

    /// What waits for an answer needs none once the file was read or written here.
    fn forget_what_came_right(&mut self) {
        let files = self.watched_files();
        let known = |changed: &Changed| {
            let now = files.iter().find(|f| f.which == changed.of.which);
            now.is_none_or(|f| *f != changed.of)
        };
        if self.elsewhere.changed.as_ref().is_some_and(known) {
            self.elsewhere.changed = None;
        }
    }

    fn watched_files(&mut self) -> Vec<Watched> {
        let Some(doc) = &self.doc else {
            return Vec::new();
        };
        let origin = &doc.origin;
        let mut files = Vec::new();
        let own = [
            (
                Which::Plan,
                origin.plan_file.clone(),
                State::Contents(self.on_disk.plan),
            ),
            (
                Which::Mesh,
                origin.mesh_file.clone(),
                State::Stamp(self.on_disk.mesh),
            ),
        ];
        for (which, file, known) in own {
            let Some(file) = file else { continue };
            let known = self
                .elsewhere
                .declined
                .get(&which)
                .copied()
                .unwrap_or(known);
            files.push(Watched { which, file, known });
        }
        let plan = doc.plan();
        let folder = origin.plan_file.as_deref().map(folder_of);
        for (which, name) in [
            (Which::Spools, &plan.spools.file),
            (Which::Machine, &plan.machine.file),
        ] {
            let (Some(name), Some(folder)) = (name, &folder) else {
                continue;
            };
            let file = folder.join(name);
            let seen = self.elsewhere.named.get(&file).copied();
            let known = self.elsewhere.declined.get(&which).copied().or(seen);
            let watched = match known {
                Some(known) => Watched { which, file, known },
                None => Watched::now(which, file),
            };
            let first = watched.known;
            self.elsewhere
                .named
                .entry(watched.file.clone())
                .or_insert(first);
            files.push(watched);
        }
        files
    }

    /// Takes what somebody else has written.
    pub(super) fn take_theirs(&mut self) {
        let Some(changed) = self.elsewhere.changed.take() else {
            return;
        };
        let Changed { of, now } = changed;
        self.elsewhere.declined.remove(&of.which);
        match of.which {
            Which::Plan => self.drop_unsaved(After::Open(of.file)),
            Which::Mesh => self.load_mesh_again(),
            Which::Spools => {
                self.elsewhere.named.insert(of.file.clone(), now);
                self.take_spool_file(of.file);
            }
            Which::Machine => {
                self.elsewhere.named.insert(of.file.clone(), now);
                self.take_machine_file(&of);
            }
        }
    }

    /// Goes on with what is in the window, whatever the file holds now.
    pub(super) fn keep_mine(&mut self) {
        if let Some(Changed { of, now }) = self.elsewhere.changed.take() {
            self.elsewhere.declined.insert(of.which, now);
        }
    }

    /// Holds the plan in the window against the one in its file.
    pub(super) fn compare_with_theirs(&mut self) {
        let Some(changed) = &self.elsewhere.changed else {
            return;
        };
        self.errands.forms.other_plan = changed.of.file.display().to_string();
        self.show_drawer(Drawer::Job);
        self.run_errand(Errand::Compare);
    }

    /// Reads the mesh again, under the plan that is in the window.
    fn load_mesh_again(&mut self) {
        if let Some(doc) = &self.doc {
            let (plan, origin) = (Box::new(doc.plan().clone()), doc.origin.clone());
            self.load_beneath(Source::MeshAgain(plan, origin), "Reading the mesh again");
        }
    }

    fn take_machine_file(&mut self, of: &Watched) {
        let Some(doc) = &self.doc else { return };
        let name = doc.plan().machine.file.clone();
        let shown = of.file.display();
        let read = project::text_file::read_text(&of.file)
            .map_err(|why| format!("{shown}: {why}"))
            .and_then(|text| {
                Machine::from_ron(&text).map_err(|e| e.in_file(&shown.to_string()).to_string())
            });
        match read {
            Ok(value) => {
                self.edit(Edit::SetMachine(External { file: name, value }));
            }
            Err(why) => self.notices.error(why),
        }
    }
}
