//! The section plane: where the part is cut open, what is met there, and the face that shows.

use emath::Pos2;
use geometry::plane::Met;
use geometry::{DVec3, Plane, Progress, SurfacePoint};

use super::Session;
use crate::commands::Cutting;
use crate::jobs::section::{self, Cut, Order};
use crate::jobs::{Job, Outcome};
use crate::model::section::Across;
use crate::model::skin::{FREE, SkinMesh, SkinUpdate};

impl Session {
    /// The plane that the stage is cut at, if it is.
    pub fn section_plane(&self) -> Option<Plane> {
        if let Some(follow) = self.follow_view() {
            return Plane::new(DVec3::Z, follow.cut_mm);
        }
        let section = &self.view.section;
        let open = self.view.cut && self.doc.is_some();
        open.then(|| section.plane(self.view.cursor_mm)).flatten()
    }

    /// The height above which all is cut away, mm; none where the section plane is not level, or
    /// cuts away what is below.
    pub fn cut_height_mm(&self) -> Option<f64> {
        let plane = self
            .section_plane()
            .filter(|plane| plane.normal().z > 0.0)?;
        plane.height_mm()
    }

    /// The place of the section plane and how far it can be moved, mm along its direction.
    pub fn section_place_mm(&self) -> (f64, (f64, f64)) {
        let section = &self.view.section;
        match (section.across, &self.doc) {
            (Across::Height, Some(doc)) => (self.view.cursor_mm, doc.extent_mm()),
            _ => (section.at_mm, section.range_mm),
        }
    }

    /// The outlines where the part is cut open, and the face; the last ones until those are
    /// worked out.
    pub fn section(&self) -> Option<&Cut> {
        self.section.as_ref().filter(|_| self.is_cut_open())
    }

    /// What the pointer meets at a position on the stage: of what is cut away nothing.
    pub fn meets(&self, at: Pos2) -> Option<Met> {
        let doc = self.doc.as_ref()?;
        let ray = self.view.camera.ray(self.view.stage, at, self.reach_mm());
        match self.section_plane() {
            Some(plane) => plane.meets(&doc.surface, ray),
            None => doc
                .surface
                .first_hit(ray.from_mm, ray.direction)
                .map(Met::Skin),
        }
    }

    /// The skin whose blend is seen at a position on the stage: on the face of the cut, the
    /// nearest, as deep as colour reaches.
    pub(super) fn coloured_from(&self, at: Pos2) -> Option<SurfacePoint> {
        match self.meets(at)? {
            Met::Skin(hit) => Some(hit),
            Met::Face(point_mm) => {
                let painted = self.painted.as_ref()?;
                let depth_mm = painted.plan().skin_mm;
                painted.surface().nearest_seen_within(point_mm, depth_mm)
            }
        }
    }

    /// The region that is seen at a position on the stage, on the skin or on the face of the cut.
    pub(super) fn region_under(&self, at: Pos2) -> Option<usize> {
        let from = self.coloured_from(at)?;
        Some(self.painted.as_ref()?.region_at(from))
    }

    fn is_cut_open(&self) -> bool {
        self.view.cut && self.toolpath.follow.is_none() && self.doc.is_some()
    }

    /// Whether a command for the section plane makes sense while a part is open.
    pub(super) fn can_cut(&self, cutting: &Cutting) -> bool {
        match cutting {
            Cutting::Flip | Cutting::To(_) | Cutting::Step(_) => self.is_cut_open(),
            _ => self.toolpath.follow.is_none(),
        }
    }

    /// Turns, moves or flips the section plane.
    pub(super) fn apply_to_section(&mut self, cutting: Cutting) {
        match cutting {
            Cutting::Across(across) => self.section_across(across),
            Cutting::Next if self.view.cut => self.section_across(self.view.section.across.next()),
            Cutting::Next => self.view.cut = true,
            Cutting::Flip => self.view.section.flipped = !self.view.section.flipped,
            Cutting::To(at_mm) => self.section_to(at_mm),
            Cutting::Step(hundredths) => {
                let (at_mm, (low, high)) = self.section_place_mm();
                self.section_to(at_mm + 0.01 * f64::from(hundredths) * (high - low));
            }
            Cutting::Direction(direction) => {
                self.turn_section(Across::Typed, direction);
            }
            Cutting::AlongFacet(at) => self.section_along_facet(at),
        }
    }

    fn section_across(&mut self, across: Across) {
        match across {
            Across::Height => {
                self.view.section.across = Across::Height;
                self.view.section.asks_facet = false;
            }
            Across::X => self.turn_section(across, DVec3::X),
            Across::Y => self.turn_section(across, DVec3::Y),
            // What is between the eye and the plane is cut away.
            Across::View => self.turn_section(across, -self.view.camera.axes().forward),
            // It stays where it is until a facet is clicked.
            Across::Facet => self.view.section.asks_facet = true,
            Across::Typed => {
                let now = self.section_direction();
                self.turn_section(across, now);
            }
        }
        self.view.cut = true;
    }

    /// What the section plane lies across.
    pub fn section_direction(&self) -> DVec3 {
        match self.view.section.across {
            Across::Height => DVec3::Z,
            _ => self.view.section.direction,
        }
    }

    fn turn_section(&mut self, across: Across, direction: DVec3) {
        if !direction.is_finite() {
            return;
        }
        let range_mm = self.reach_along_mm(direction);
        let forward = self.view.camera.axes().forward;
        let section = &mut self.view.section;
        section.turn(across, direction, range_mm);
        if across != Across::Typed {
            // What is nearer to the eye is cut away, so that the face is seen.
            section.flipped = direction.dot(forward) > 1e-9;
        }
        self.view.cut = true;
    }

    /// How far the part reaches along a direction, mm from the origin.
    fn reach_along_mm(&self, direction: DVec3) -> (f64, f64) {
        let normal = direction.normalize_or_zero();
        let Some(doc) = &self.doc else {
            return (0.0, 0.0);
        };
        let along = doc.mesh().vertices().iter().map(|v| v.dot(normal));
        along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
            (low.min(at), high.max(at))
        })
    }

    fn section_to(&mut self, at_mm: f64) {
        match self.view.section.across {
            Across::Height => self.set_cursor_mm(at_mm),
            _ => self.view.section.move_to(at_mm),
        }
    }

    /// Lays the section plane along the facet that is met at a position on the stage.
    pub(super) fn section_along_facet(&mut self, at: Pos2) {
        let normal = match (self.meets(at), &self.doc) {
            (Some(Met::Skin(hit)), Some(doc)) => doc.surface.normal(hit.facet),
            _ => DVec3::ZERO,
        };
        if normal == DVec3::ZERO {
            self.notices
                .warning("There is no facet there. Click the skin of the part.");
            return;
        }
        self.turn_section(Across::Facet, normal);
    }

    /// The part is on another mesh: the plane stays within it.
    pub(super) fn section_fits_part(&mut self) {
        if self.view.section.across != Across::Height {
            let at_mm = self.view.section.at_mm;
            self.view.section.range_mm = self.reach_along_mm(self.view.section.direction);
            self.view.section.move_to(at_mm);
        }
    }

    pub(super) fn take_section(&mut self) {
        let cut = match self.section.poll() {
            Some(Outcome::Done(cut)) => cut,
            Some(Outcome::Failed(why)) => {
                // Not tried again until it is asked for.
                self.view.cut = false;
                return self.notices.error(why);
            }
            Some(Outcome::Cancelled) | None => return,
        };
        let mut face = cut.face.clone();
        *self.section = Some(cut);
        let first = self.colouring.first_row as u32;
        let placed = face.region.iter_mut().filter(|region| **region != FREE);
        placed.for_each(|region| *region += first);
        self.show_face(face);
    }

    fn show_face(&mut self, face: SkinMesh) {
        if face.is_empty() && !self.face_is_drawn {
            return;
        }
        self.face_is_drawn = !face.is_empty();
        self.skin_updates
            .retain(|update| !matches!(update, SkinUpdate::Face(_)));
        self.skin_updates.push_back(SkinUpdate::Face(face));
    }

    /// The face is worked out again, and is not shown until then.
    pub(super) fn drop_face(&mut self) {
        self.section.leave();
        *self.section = None;
        self.show_face(SkinMesh::default());
    }

    pub(super) fn start_section(&mut self) {
        let plane = self.section_plane().filter(|_| self.is_cut_open());
        let Some(plane) = plane else {
            if self.section.is_some() || self.section.is_working() {
                self.drop_face();
            }
            return;
        };
        let shown = self.section.as_ref().map(|cut| cut.plane.normal());
        if shown.is_some_and(|normal| normal != plane.normal()) {
            self.drop_face();
        }
        let painted = self.painted.clone().zip(self.colouring.drawn);
        let revision = painted.as_ref().map(|(_, revision)| *revision);
        let known = self
            .section
            .as_ref()
            .is_some_and(|cut| cut.plane == plane && cut.revision == revision);
        if known || self.section.is_working() {
            return;
        }
        let Some(doc) = &self.doc else { return };
        let order = Order {
            plane,
            mesh: doc.mesh().clone(),
            painted,
        };
        let cut = move |progress: &Progress| section::run(order, progress);
        let job = Job::start("Cutting the part", &self.waker, cut);
        self.section.start(job);
    }
}
