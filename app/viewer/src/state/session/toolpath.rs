//! The person's toolpath: weaving the plan into it, reading the result back, and following its
//! strands layer by layer and move by move.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use blend::{Xyz, ciede2000};
use egui::Color32;
use geometry::{DVec3, Progress};
use handoff::weave::verify::Miss;
use handoff::weave::verify::laid::Piece;

use super::{Drawer, Session};
use crate::jobs::follow::{self, Layer, Opened};
use crate::jobs::read_back::{self, ReadBack};
use crate::jobs::toolpath_file::{Part, is_woven};
use crate::jobs::weave::{self, Done};
use crate::jobs::{Job, Outcome};
use crate::panels::widgets::colour32;
use crate::state::follow::{Entering, Follow, Stepped};
use crate::state::strands::{StrandMesh, StrandUpdate};

use super::working::poll;

/// A layer is hard to see from the side: a level view is tilted so far to follow it, degrees.
const TILT_DEG: f64 = 42.0;

/// A bad place is looked at no smaller than this, mm per point.
const LOOK_MM_PER_POINT: f64 = 0.1;

/// Work on toolpaths.
#[derive(Default)]
pub struct ToolpathWork {
    weave: Option<Job<Done>>,
    read_back: Option<Job<ReadBack>>,
    open: Option<Job<Opened>>,
    layer: Option<(usize, Job<Layer>)>,
    /// What is on the stage: the layer in sight and the one beneath.
    drawn: [Option<Arc<StrandMesh>>; 2],
}

/// How the stage shows what is followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FollowView {
    /// The part is cut open at this height, mm.
    pub cut_mm: f64,
    /// The last move of the layer that is shown.
    pub up_to: u32,
}

impl ToolpathWork {
    /// What a person waits for: title, stage, how far.
    pub(super) fn told(&self) -> Option<(String, String, f32)> {
        fn of<T: Send + 'static>(job: &Job<T>) -> (String, String, f32) {
            let (stage, fraction) = job.progress().seen();
            (job.title().to_owned(), stage, fraction)
        }
        let weave = self.weave.as_ref().map(of);
        weave
            .or_else(|| self.read_back.as_ref().map(of))
            .or_else(|| self.open.as_ref().map(of))
    }

    /// The progress of what a person waits for.
    pub(super) fn progress(&self) -> Option<&Progress> {
        let weave = self.weave.as_ref().map(Job::progress);
        weave
            .or_else(|| self.read_back.as_ref().map(Job::progress))
            .or_else(|| self.open.as_ref().map(Job::progress))
    }

    /// Whether anything is going on.
    pub(super) fn is_working(&self) -> bool {
        self.progress().is_some() || self.layer.is_some()
    }
}

impl Session {
    /// Takes a toolpath that was dropped or chosen: one that is woven to be checked and
    /// followed, any other to be woven into.
    pub fn take_toolpath(&mut self, file: &Path) {
        if self.doc.is_none() {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            self.notices.warning(format!(
                "{name} is a toolpath. Open its part or plan first, then drop it again."
            ));
            return;
        }
        self.drawer = Drawer::Weave;
        self.toolpath.trouble = None;
        if is_woven(file) {
            self.toolpath.draft.woven = file.display().to_string();
        } else {
            self.toolpath.draft.choose_sliced(file);
        }
    }

    /// Whether a file of the toolpath is being worked on that a person waits for.
    pub fn is_on_toolpath(&self) -> bool {
        self.work.toolpath.progress().is_some()
    }

    /// That work: its title, its stage, and how far it is.
    pub fn toolpath_work(&self) -> Option<(String, String, f32)> {
        self.work.toolpath.told()
    }

    /// Stops that work.
    pub fn cancel_toolpath_work(&mut self) {
        if let Some(progress) = self.work.toolpath.progress() {
            progress.cancel();
        }
    }

    fn part_as_it_stands(&self) -> Option<Part> {
        let doc = self.doc.as_ref()?;
        Some(Part {
            revision: doc.revision(),
            plan: doc.plan().clone(),
            surface: doc.surface.clone(),
            before: self.painted.clone(),
            model: self.model()?,
        })
    }

    /// Weaves the plan, as it stands, into the chosen toolpath.
    pub fn weave(&mut self) {
        let (Some(part), Some(doc)) = (self.part_as_it_stands(), &self.doc) else {
            return;
        };
        let draft = &self.toolpath.draft;
        let (Some(sliced), Some(file)) = (draft.sliced_file(), draft.woven_file()) else {
            return;
        };
        if self.is_on_toolpath() || !draft.can_weave() {
            return;
        }
        let order = weave::Order {
            part,
            plan_file: doc.origin.plan_file.clone(),
            saved: (!doc.is_unsaved()).then(|| doc.plan().clone()),
            reading: draft.reading(),
            sliced,
            file,
        };
        self.toolpath.done = None;
        self.toolpath.read_back = None;
        self.toolpath.looked_at = None;
        self.toolpath.trouble = None;
        let job = Job::start("Weaving", &self.waker, move |p| weave::run(order, p));
        self.work.toolpath.weave = Some(job);
    }

    /// Reads the woven file back.
    pub fn read_back(&mut self) {
        let Some(part) = self.part_as_it_stands() else {
            return;
        };
        let toolpath = &self.toolpath;
        let Some(file) = toolpath.draft.woven_file().filter(|f| f.is_file()) else {
            return;
        };
        if self.is_on_toolpath() {
            return;
        }
        let sliced = toolpath.draft.sliced_file();
        let order = read_back::Order {
            part,
            reading: toolpath.reading_of_woven(),
            sliced: sliced.filter(|f| f.is_file() && *f != file),
            file,
        };
        self.toolpath.read_back = None;
        self.toolpath.looked_at = None;
        self.toolpath.trouble = None;
        let job = Job::start("Checking the woven file", &self.waker, move |p| {
            read_back::run(order, p)
        });
        self.work.toolpath.read_back = Some(job);
    }

    /// Begins to follow the strands of the woven file, or leaves off.
    pub fn toggle_follow(&mut self) {
        if self.toolpath.follow.is_some() {
            self.stop_following();
        } else {
            self.follow();
        }
    }

    fn follow(&mut self) {
        let Some(part) = self.part_as_it_stands() else {
            return;
        };
        let file = self.toolpath.draft.woven_file().filter(|f| f.is_file());
        let Some(file) = file.filter(|_| !self.is_on_toolpath()) else {
            return;
        };
        let order = follow::Order {
            part,
            reading: self.toolpath.reading_of_woven(),
            file,
        };
        self.toolpath.trouble = None;
        let job = Job::start("Opening the woven file", &self.waker, move |p| {
            follow::open(order, p)
        });
        self.work.toolpath.open = Some(job);
    }

    /// Leaves off following.
    pub fn stop_following(&mut self) {
        let Some(follow) = self.toolpath.follow.take() else {
            return;
        };
        self.work.toolpath.layer = None;
        if let Some(pitch_deg) = follow.pitch_before_deg {
            self.view.camera.pitch_deg = pitch_deg;
        }
        self.show_strands();
    }

    /// Takes what work on toolpaths has finished.
    pub(super) fn take_toolpath_results(&mut self) {
        match poll(&mut self.work.toolpath.weave) {
            Some(Outcome::Done(done)) => self.take_woven(done),
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => self.notices.done("Weaving was stopped."),
            None => {}
        }
        match poll(&mut self.work.toolpath.read_back) {
            Some(Outcome::Done(found)) => self.toolpath.read_back = Some(found),
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) => self.notices.done("The check was stopped."),
            None => {}
        }
        match poll(&mut self.work.toolpath.open) {
            Some(Outcome::Done(opened)) => self.take_opened(opened),
            Some(Outcome::Failed(why)) => self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) | None => {}
        }
        self.take_layer();
    }

    fn take_woven(&mut self, done: Done) {
        self.notices.done(format!("Wrote {}", done.file.display()));
        let follows = self.toolpath.follow.as_ref();
        let again = follows.is_some_and(|f| f.file() == done.file);
        self.toolpath.done = Some(done);
        if again {
            self.stop_following();
            self.follow();
        }
    }

    fn take_opened(&mut self, opened: Opened) {
        let opened = Arc::new(opened);
        let layer = opened.layer_at(self.view.cursor_mm).unwrap_or_default();
        let mut follow = Follow::new(opened, layer);
        if self.view.camera.is_level() {
            follow.pitch_before_deg = Some(self.view.camera.pitch_deg);
            self.view.camera.pitch_deg = TILT_DEG;
        }
        self.toolpath.follow = Some(follow);
    }

    fn take_layer(&mut self) {
        let Some((_, job)) = &mut self.work.toolpath.layer else {
            return;
        };
        let Some(outcome) = job.poll() else {
            return;
        };
        self.work.toolpath.layer = None;
        let Some(follow) = &mut self.toolpath.follow else {
            return;
        };
        match outcome {
            Outcome::Done(layer) => follow.take(layer),
            Outcome::Failed(why) => {
                self.stop_following();
                self.notices.error(why);
            }
            Outcome::Cancelled => {}
        }
    }

    /// Keeps the layer in sight at the layer cursor, reads the layers near it, and sends what
    /// is to be drawn.
    pub(super) fn keep_following(&mut self) {
        if let Some(follow) = &mut self.toolpath.follow {
            let at = follow.opened.layer_at(self.view.cursor_mm);
            if let Some(layer) = at.filter(|layer| *layer != follow.layer) {
                follow.go_to(layer, Entering::Last);
            }
            let wanted = follow.wanted();
            // A far jump makes the layer that is being read one that nobody waits for.
            let reading = self.work.toolpath.layer.as_ref().map(|(which, _)| *which);
            let in_vain = reading.is_some_and(|which| which.abs_diff(follow.layer) > 1);
            if in_vain {
                self.work.toolpath.layer = None;
            }
            if let Some(which) = wanted.filter(|_| self.work.toolpath.layer.is_none()) {
                let opened = follow.opened.clone();
                let job = Job::start("Reading a layer", &self.waker, move |p| {
                    follow::layer(&opened, which, p)
                });
                self.work.toolpath.layer = Some((which, job));
            }
        }
        self.show_strands();
    }

    fn show_strands(&mut self) {
        let follow = self.toolpath.follow.as_ref();
        let mesh = |layer: Option<&Arc<Layer>>| layer.map(|l| l.mesh.clone());
        let now = mesh(follow.and_then(Follow::now));
        let beneath = mesh(follow.and_then(Follow::beneath));
        let same = |a: &Option<Arc<StrandMesh>>, b: &Option<Arc<StrandMesh>>| match (a, b) {
            (Some(a), Some(b)) => Arc::ptr_eq(a, b),
            (a, b) => a.is_none() && b.is_none(),
        };
        let [drawn_now, drawn_beneath] = &mut self.work.toolpath.drawn;
        if !same(drawn_now, &now) {
            drawn_now.clone_from(&now);
            self.strand_updates.push_back(StrandUpdate::Layer(now));
        }
        if !same(drawn_beneath, &beneath) {
            drawn_beneath.clone_from(&beneath);
            self.strand_updates
                .push_back(StrandUpdate::Beneath(beneath));
        }
    }

    /// How the stage shows the file that is followed, if one is.
    pub fn follow_view(&self) -> Option<FollowView> {
        let follow = self.toolpath.follow.as_ref()?;
        let shown = match follow.beneath() {
            Some(beneath) => beneath.index,
            None => follow.layer,
        };
        let (bottom_mm, _) = follow.opened.heights_mm(shown)?;
        Some(FollowView {
            cut_mm: bottom_mm,
            up_to: u32::try_from(follow.step).unwrap_or(u32::MAX),
        })
    }

    /// Height above which nothing of the part is shown, mm.
    pub fn cut_mm(&self) -> Option<f64> {
        let follow = self.follow_view().map(|f| f.cut_mm);
        follow.or(self.view.cut.then_some(self.view.cursor_mm))
    }

    /// Steps through the moves of the layer in sight, and on into its neighbours.
    pub fn step_moves(&mut self, moves: i32) {
        let Some(follow) = &mut self.toolpath.follow else {
            return;
        };
        let Stepped::To(layer, entering) = follow.step_by(moves) else {
            return;
        };
        let Some((bottom_mm, top_mm)) = follow.opened.heights_mm(layer) else {
            return;
        };
        let middle_mm = 0.5 * (bottom_mm + top_mm);
        // Where the cursor can't go, such as down into a raft, the moves end.
        let there = follow.opened.layer_at(middle_mm) == Some(layer);
        let extent = self.doc.as_ref().map(|d| d.extent_mm());
        let within = extent.is_some_and(|(low, high)| (low..=high).contains(&middle_mm));
        if there && within {
            follow.go_to(layer, entering);
            self.set_cursor_mm(middle_mm);
        }
    }

    /// Goes to the first or the last move of the layer in sight.
    pub fn enter_layer(&mut self, entering: Entering) {
        if let Some(follow) = &mut self.toolpath.follow {
            follow.go_to(follow.layer, entering);
        }
    }

    /// Goes to the move at a share of the layer's filament.
    pub fn go_to_share(&mut self, share: f64) {
        if let Some(follow) = &mut self.toolpath.follow {
            follow.go_to_share(share);
        }
    }

    /// What the plan asks for at the skin nearest to a strand, and how far the strand's colour
    /// is off, ΔE00; `None` within the part, where nothing is asked.
    pub fn planned_at(&self, piece: &Piece) -> Option<(Color32, f64)> {
        let follow = self.toolpath.follow.as_ref()?;
        let painted = follow.opened.painted();
        let (bottom_mm, top_mm) = follow.opened.heights_mm(follow.layer)?;
        let mut at = DVec3::from(piece.to_mm.map(f64::from));
        at.z -= 0.5 * (top_mm - bottom_mm);
        let near = painted
            .surface()
            .nearest_within(at, painted.plan().machine.nozzle_mm)?;
        let planned = painted.lab_at(near);
        let laid = Xyz::from_srgb(piece.colour?).to_lab();
        Some((
            colour32(Xyz::from_lab(planned).to_srgb()),
            ciede2000(planned, laid),
        ))
    }

    /// Puts the layer cursor at a bad place and looks at it.
    pub fn look_at_miss(&mut self, miss: &Miss) {
        self.set_cursor_mm(miss.point_mm.z);
        self.toolpath.looked_at = Some(miss.point_mm);
        let normal = self.normal_near(miss.point_mm);
        let camera = &mut self.view.camera;
        if let Some(n) = normal {
            if n.truncate().length() > 0.2 {
                camera.yaw_deg = n.x.atan2(-n.y).to_degrees();
            }
            if n.z.abs() > 0.5 {
                camera.pitch_deg = 60.0 * n.z.signum();
            }
        }
        camera.target_mm = miss.point_mm;
        camera.mm_per_point = camera.mm_per_point.min(LOOK_MM_PER_POINT);
    }

    fn normal_near(&self, point_mm: DVec3) -> Option<DVec3> {
        const NEAR_MM: f64 = 5.0;
        let surface = &self.doc.as_ref()?.surface;
        let near = surface.nearest_within(point_mm, NEAR_MM)?;
        Some(surface.normal(near.facet))
    }

    /// The next change of the strands, for the scene.
    pub fn next_strand_update(&mut self) -> Option<StrandUpdate> {
        self.strand_updates.pop_front()
    }

    /// The toolpath's file as a person knows it.
    pub fn toolpath_folder(&self) -> Option<PathBuf> {
        let draft = &self.toolpath.draft;
        let file = draft.sliced_file().or(draft.woven_file());
        let origin = self.doc.as_ref().map(|d| &d.origin);
        let plan = origin.and_then(|o| o.plan_file.clone().or(o.mesh_file.clone()));
        let folder = file.or(plan)?.parent()?.to_owned();
        folder.is_dir().then_some(folder)
    }
}
