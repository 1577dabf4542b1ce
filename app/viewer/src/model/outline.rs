//! An outline on the stage while it is being drawn: a box, or a free line.

use emath::{Pos2, Rect, Vec2};
use geometry::mask::{CutOpen, MOST_CORNERS, Outline};
use geometry::{DVec2, DVec3, Plane};

use super::camera::{Camera, Lens};
use super::simpler::simplified;

/// The path of a free outline is noted in steps of at least this many points.
const STEP: f32 = 2.0;

/// Corners nearer to the line between their neighbours than this are dropped, points.
const SIMPLER: f64 = 0.4;

/// What is not this wide and high is no outline but a click, points.
const LEAST: f32 = 3.0;

/// Corners are written to this part of a millimetre.
const WRITTEN: f64 = 1e4;

/// An outline in the making. The view that it is drawn on is that of its beginning.
#[derive(Clone, Debug)]
pub struct Drawing {
    camera: Camera,
    stage: Rect,
    free: bool,
    by_keys: bool,
    /// The corners that are set: of a box the first one.
    set: Vec<Pos2>,
    at: Pos2,
}

impl Drawing {
    /// Begins at a position of the stage: a box from there, or a free line. By keys, corners are
    /// set one by one.
    pub fn new(camera: Camera, stage: Rect, free: bool, by_keys: bool, at: Pos2) -> Self {
        Self {
            camera,
            stage,
            free,
            by_keys,
            set: vec![at],
            at,
        }
    }

    /// Whether it is drawn by keys.
    pub fn is_by_keys(&self) -> bool {
        self.by_keys
    }

    /// Whether it is drawn on this view.
    pub fn is_on(&self, camera: &Camera, stage: Rect) -> bool {
        self.camera == *camera && self.stage == stage
    }

    /// Where the pointer is, or the cross that the keys move.
    pub fn at(&self) -> Pos2 {
        self.at
    }

    /// Goes on to a position; tells whether that changed anything.
    pub fn go_to(&mut self, at: Pos2) -> bool {
        let moved = at != self.at;
        self.at = at;
        let far = self.set.last().is_none_or(|last| last.distance(at) >= STEP);
        if self.free && far {
            self.set.push(at);
        }
        moved
    }

    /// Moves the cross by keys, within the stage.
    pub fn step(&mut self, by: Vec2) {
        self.at = self.stage.clamp(self.at + by);
    }

    /// Sets a corner at the cross; tells whether the outline is complete. A free one is when its
    /// last corner is set twice.
    pub fn set_corner(&mut self) -> bool {
        if !self.free || self.set.last() == Some(&self.at) {
            return true;
        }
        self.set.push(self.at);
        false
    }

    /// Its corners on the stage.
    pub fn corners(&self) -> Vec<Pos2> {
        match (self.free, self.set.first()) {
            (false, Some(&from)) => {
                let to = self.at;
                vec![from, Pos2::new(to.x, from.y), to, Pos2::new(from.x, to.y)]
            }
            _ => {
                let mut all = self.set.clone();
                if all.last() != Some(&self.at) {
                    all.push(self.at);
                }
                all
            }
        }
    }

    /// What it goes round; none while that is too small. `cut` is the plane that the part
    /// is cut open at.
    pub fn outline(&self, through: bool, cut: Option<Plane>) -> Option<Outline> {
        let corners = self.corners();
        let size = Rect::from_points(&corners).size();
        if size.x < LEAST || size.y < LEAST {
            return None;
        }
        let centre = self.stage.center();
        let flat: Vec<DVec3> = corners
            .iter()
            .map(|at| DVec3::new(f64::from(at.x - centre.x), f64::from(centre.y - at.y), 0.0))
            .collect();
        let scale = self.camera.mm_per_point;
        let corner = |at: DVec3| (at.truncate() * scale * WRITTEN).round() / WRITTEN;
        let mut corners_mm: Vec<DVec2> =
            simplified(&flat, SIMPLER).into_iter().map(corner).collect();
        corners_mm.truncate(MOST_CORNERS);
        let axes = self.camera.axes();
        let perspective = self.camera.lens == Lens::Perspective;
        let outline = Outline {
            corners_mm,
            at_mm: self.camera.target_mm,
            towards: axes.forward,
            up: axes.up,
            eye_mm: perspective.then(|| self.camera.eye_distance_mm(self.stage)),
            through,
            cut: cut.map(CutOpen::from),
        };
        outline.check().is_ok().then_some(outline)
    }
}
