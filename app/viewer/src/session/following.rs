//! Following the strands of a woven file on the stage, layer by layer and move by move.

use std::sync::Arc;

use blend::{Srgb, Xyz, ciede2000};
use geometry::DVec3;
use weave::verify::Miss;
use weave::verify::deposition::Piece;

use super::Session;
use super::filled::poll;
use super::follow::{Follow, Stepped};
use crate::commands::Entering;
use crate::jobs::follow::{self, Layer};
use crate::jobs::{Job, Outcome};
use crate::model::strands::{StrandMesh, StrandUpdate};

/// A layer is hard to see from the side: a level view is tilted so far to follow it, degrees.
const TILT_DEG: f64 = 42.0;

/// A bad place is looked at no smaller than this, mm per point.
const LOOK_MM_PER_POINT: f64 = 0.1;

/// How the stage shows what is followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FollowView {
    /// The part is cut open at this height, mm.
    pub cut_mm: f64,
    /// The last move of the layer that is shown.
    pub up_to: u32,
}

impl Session {
    /// Begins to follow the strands of the woven file, or leaves off.
    pub fn toggle_follow(&mut self) {
        if self.toolpath.follow.is_some() {
            self.stop_following();
        } else {
            self.follow();
        }
    }

    pub(super) fn follow(&mut self) {
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
        self.toolpath.opening = Some(job);
    }

    /// Leaves off following.
    pub fn stop_following(&mut self) {
        let Some(follow) = self.toolpath.follow.take() else {
            return;
        };
        self.toolpath.layer = None;
        if let Some(pitch_deg) = follow.pitch_before_deg {
            self.view.camera.pitch_deg = pitch_deg;
        }
        self.show_strands();
    }

    pub(super) fn take_layer(&mut self) {
        let Some((_, job)) = &mut self.toolpath.layer else {
            return;
        };
        let Some(outcome) = job.poll() else {
            return;
        };
        self.toolpath.layer = None;
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
            let reading = self.toolpath.layer.as_ref().map(|(which, _)| *which);
            let in_vain = reading.is_some_and(|which| which.abs_diff(follow.layer) > 1);
            if in_vain {
                self.toolpath.layer = None;
            }
            if let Some(which) = wanted.filter(|_| self.toolpath.layer.is_none()) {
                let opened = follow.opened.clone();
                let job = Job::start("Reading a layer", &self.waker, move |p| {
                    follow::layer(&opened, which, p)
                });
                self.toolpath.layer = Some((which, job));
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
        let [drawn_now, drawn_beneath] = &mut self.toolpath.drawn;
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
    pub fn planned_at(&self, piece: &Piece) -> Option<(Srgb, f64)> {
        let follow = self.toolpath.follow.as_ref()?;
        let painted = follow.opened.painted();
        let (bottom_mm, top_mm) = follow.opened.heights_mm(follow.layer)?;
        let mut at = DVec3::from(piece.to_mm.map(f64::from));
        at.z -= 0.5 * (top_mm - bottom_mm);
        let near = painted
            .surface()
            .nearest_seen_within(at, painted.plan().machine.nozzle_mm)?;
        let planned = painted.lab_at(near);
        let laid = Xyz::from_srgb(piece.colour?).to_lab();
        Some((Xyz::from_lab(planned).to_srgb(), ciede2000(planned, laid)))
    }

    /// Puts the layer cursor at a bad place and looks at it.
    pub fn look_at_miss(&mut self, miss: &Miss) {
        self.set_cursor_mm(miss.point_mm.z);
        self.toolpath.looked_at = Some(miss.point_mm);
        let normal = self.normal_near(miss.point_mm);
        let camera = &mut self.view.camera;
        if let Some(normal) = normal {
            camera.face(normal);
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

    pub(super) fn take_opened(&mut self) {
        let opened = match poll(&mut self.toolpath.opening) {
            Some(Outcome::Done(opened)) => Arc::new(opened),
            Some(Outcome::Failed(why)) => return self.toolpath.trouble = Some(why),
            Some(Outcome::Cancelled) | None => return,
        };
        let layer = opened.layer_at(self.view.cursor_mm).unwrap_or_default();
        let mut follow = Follow::new(opened, layer);
        if self.view.camera.is_level() {
            follow.pitch_before_deg = Some(self.view.camera.pitch_deg);
            self.view.camera.pitch_deg = TILT_DEG;
        }
        self.toolpath.follow = Some(follow);
    }
}
