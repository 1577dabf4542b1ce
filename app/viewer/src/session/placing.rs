//! Pictures and letters: put on the part, then moved, turned and sized there.

use std::path::PathBuf;
use std::sync::Arc;

use blend::{Fade, Shares, Spacing, Stop};
use emath::Pos2;
use geometry::imprint::{Covers, Laid, Letters, Picture};
use geometry::{DVec3, Field, Mask, SurfacePoint};
use glam::DVec2;
use plan::document::line_of;
use plan::{Edit, Paint, Region};

use super::Session;
use crate::jobs::picture_file::{self, PictureRead};
use crate::jobs::{Job, Outcome};
use crate::model::names::from_plan;
use crate::model::page::Page;
use crate::model::placing::{self, Frame, Hold};
use crate::model::tool::Tool;

/// A new picture is as wide as this share of the part as it is seen, and letters as tall.
const NEW_WIDTH: f64 = 0.3;
const NEW_HEIGHT: f64 = 0.08;

/// A picture reaches at most this far through the part where it lies: not out on the far side.
const DEEPEST: f64 = 0.45;

/// The least depth of a new picture, mm.
const LEAST_DEPTH_MM: f64 = 0.3;

/// The strokes of the font that comes with the program are thin: new letters get this much more
/// on each side, as a share of their height.
const NEW_BOLDER: f64 = 0.05;

/// Steps from the stage's middle in which skin is looked for, points.
const LOOK_ABOUT: f32 = 24.0;

/// How a picture may be laid otherwise.
#[derive(Clone, Copy)]
pub(super) enum Way {
    Straight,
    Round,
    OnSkin,
}

impl Session {
    /// Asks for a picture's file.
    pub(super) fn ask_picture(&mut self) {
        if let Some(path) = self.beside_part() {
            self.page = Some(Page::Picture { path });
        }
    }

    /// Reads a picture, which then lies where it was dropped on the part, or in the middle of the
    /// view.
    pub fn put_picture(&mut self, file: PathBuf, at: Option<Pos2>) {
        self.page = None;
        self.picture_at = at;
        let job = Job::start("Reading the picture", &self.waker, move |progress| {
            picture_file::run(&file, progress)
        });
        self.picture.start(job);
    }

    pub(super) fn take_picture(&mut self, outcome: Outcome<PictureRead>) {
        match outcome {
            Outcome::Done(read) => self.lay_picture(read),
            Outcome::Failed(why) => self.notices.error(why),
            Outcome::Cancelled => {}
        }
    }

    fn lay_picture(&mut self, read: PictureRead) {
        // Systems tell nobody where the pointer is while it carries a file: by now it may have
        // told where it was let go.
        let dropped = self.picture_at.take();
        let at = dropped.map(|at| self.view.hovered_at.unwrap_or(at));
        let Some((laid, across_mm)) = self.new_laid(at) else {
            return self.no_skin();
        };
        let Some(doc) = &self.doc else { return };
        let file = from_plan(&read.file, doc.origin.plan_file.as_deref());
        let stem = read.file.file_stem().unwrap_or_default();
        let name = stem.to_string_lossy().into_owned();
        let picture = Picture {
            file,
            sha256: Some(read.sha256),
            laid,
            width_mm: placing_mm(NEW_WIDTH * across_mm),
            turn_deg: 0.0,
            mirror: false,
            covers: Covers::Dark,
            threshold: 0.5,
            content: read.raster.into(),
        };
        self.add_imprint(&name, Mask::Picture(Box::new(picture)));
    }

    /// Puts a line of text in the middle of the view.
    pub(super) fn put_letters(&mut self) {
        let Some((laid, across_mm)) = self.new_laid(None) else {
            return self.no_skin();
        };
        let height_mm = placing_mm(NEW_HEIGHT * across_mm);
        let text = "Text".to_owned();
        let line = match line_of(&text, picture::own_font()) {
            Ok(line) => line,
            Err(why) => return self.notices.error(why.to_string()),
        };
        let letters = Letters {
            text,
            font: None,
            sha256: None,
            laid,
            height_mm,
            bolder_mm: placing_mm(NEW_BOLDER * height_mm),
            turn_deg: 0.0,
            mirror: false,
            content: Arc::new(line).into(),
        };
        self.add_imprint("Letters", Mask::Text(Box::new(letters)));
    }

    fn no_skin(&mut self) {
        self.notices
            .warning("There is no part in the middle of the view. Turn the part so that there is.");
    }

    fn add_imprint(&mut self, name: &str, mask: Mask) {
        let paint = Paint::Fixed(self.blend_for_new());
        let before = self.doc.as_ref().map(|d| d.revision());
        self.add_region(name, mask, paint);
        if self.doc.as_ref().map(|d| d.revision()) != before {
            self.tools.take(Tool::Place);
            self.show_drawer(crate::model::page::Drawer::Colour);
        }
    }

    /// How something new lies on the part at a place of the stage, and how far the part reaches
    /// across the view, mm.
    fn new_laid(&self, at: Option<Pos2>) -> Option<(Laid, f64)> {
        let hit = match at {
            Some(at) => self.pick(at),
            None => self.skin_at_middle(),
        }?;
        let doc = self.doc.as_ref()?;
        let along = placing::onto(self.outwards(hit)?);
        let size = doc.bounds_mm.1 - doc.bounds_mm.0;
        let axes = self.view.camera.axes();
        let across = |axis: DVec3| axis.abs().dot(size);
        let across_mm = across(axes.right).min(across(axes.up));
        let laid = Laid::Projected {
            at_mm: placing::rounded(hit.point_mm),
            along,
            depth_mm: self.depth_mm(hit.point_mm, along, across_mm),
        };
        Some((laid, across_mm))
    }

    /// The outward direction of the skin at a point.
    fn outwards(&self, hit: SurfacePoint) -> Option<DVec3> {
        Some(self.doc.as_ref()?.surface.normal(hit.facet))
    }

    /// How deep a picture may reach at a point, mm.
    fn depth_mm(&self, point_mm: DVec3, along: DVec3, across_mm: f64) -> f64 {
        let most_mm = 0.5 * NEW_WIDTH * across_mm;
        let Some(doc) = &self.doc else { return most_mm };
        // From a little within, so that it is the far side that is met.
        let from = point_mm + along * 1e-3 * across_mm;
        let far = doc.surface.first_hit(from, along);
        let through_mm = far.map_or(f64::INFINITY, |hit| hit.point_mm.distance(point_mm));
        let deep_mm = most_mm.min(DEEPEST * through_mm);
        placing_mm(deep_mm.max(LEAST_DEPTH_MM))
    }

    /// The skin in the middle of the view, or as near to it as there is any.
    fn skin_at_middle(&self) -> Option<SurfacePoint> {
        let stage = self.view.stage;
        let middle = stage.center();
        let rings = (stage.width().min(stage.height()) * 0.5 / LOOK_ABOUT) as usize;
        let around = (1..=rings).flat_map(|ring| {
            let spokes = 6 * ring;
            (0..spokes).map(move |spoke| {
                let angle = std::f32::consts::TAU * spoke as f32 / spokes as f32;
                middle + emath::Vec2::angled(angle) * (ring as f32 * LOOK_ABOUT)
            })
        });
        std::iter::once(middle)
            .chain(around)
            .find_map(|at| self.pick(at))
    }

    /// The frame of the selected region's picture or letters on the stage.
    pub fn frame_of_picture(&self) -> Option<Frame> {
        let region = self.chosen_region()?;
        let placed = placing::placed(&region.mask, &self.doc.as_ref()?.surface)?;
        Frame::of(&placed, &self.view.camera, self.view.stage)
    }

    /// Takes hold of the selected region's picture or letters; beside it, puts it there.
    pub(super) fn begin_placing(&mut self, at: Pos2) {
        let Some(region) = self.chosen_region() else {
            return;
        };
        if placing::laid(&region.mask).is_none() {
            return self.notices.warning(
                "The selected region is no picture and no letters. Select one, or put one on the \
                 part.",
            );
        }
        if region.locked {
            return self
                .notices
                .warning("This region is locked. Unlock it to move its picture.");
        }
        let mask = region.mask.clone();
        let Some(frame) = self.frame_of_picture() else {
            return;
        };
        let grip = frame.grip(at);
        // Beside it, the pointer takes it by its middle.
        let from = if grip.is_some() { at } else { frame.middle };
        self.tools.hold = Some(Hold {
            grip: grip.unwrap_or(placing::Grip::Whole),
            from,
            middle: frame.middle,
            mask,
        });
        self.go_on_placing(at, false);
    }

    /// Draws what is held to a place; with `steps`, turns go in steps of 15°.
    pub(super) fn go_on_placing(&mut self, to: Pos2, steps: bool) {
        let Some(hold) = self.tools.hold.as_ref().filter(|h| h.from != to) else {
            return;
        };
        let front = self.frame_of_picture().is_none_or(|f| f.front);
        let skin = |at| {
            let hit = self.pick(at)?;
            Some((hit.point_mm, self.outwards(hit)?))
        };
        if let Some(mask) = hold.at(to, (front, steps), skin) {
            self.set_imprint(mask);
        }
    }

    /// Lets go of what is held.
    pub(super) fn end_placing(&mut self) {
        if self.tools.hold.take().is_some() {
            self.end_edit();
        }
    }

    /// Lets go of what is held and puts it back where it was taken from; tells whether anything
    /// was held.
    pub(super) fn give_back_held(&mut self) -> bool {
        let Some(hold) = self.tools.hold.take() else {
            return false;
        };
        self.end_edit();
        let moved = self.chosen_region().is_some_and(|r| r.mask != hold.mask);
        if let Some(doc) = self.doc.as_mut().filter(|_| moved) {
            doc.undo();
        }
        true
    }

    /// Gives the selected region another picture mask, as a step of a drag or of typing: a fade
    /// along the picture's greys goes with it.
    pub(super) fn set_imprint(&mut self, mask: Mask) {
        let (Some(index), Some(region)) = (self.chosen.region, self.chosen_region()) else {
            return;
        };
        let set = Edit::SetMask {
            region: index,
            to: mask.clone(),
        };
        let mut edits = vec![set];
        if let Some(to) = placing::paint_with(region, &mask) {
            edits.push(Edit::SetPaint { region: index, to });
        }
        edits.extend(self.with_same_colours(region, &mask));
        self.edit_dragged(Edit::Together(edits), false);
    }

    /// Other regions of the same picture's colours go where one of them goes.
    fn with_same_colours(&self, region: &Region, mask: &Mask) -> Vec<Edit> {
        let (Mask::Picture(before), Mask::Picture(now)) = (&region.mask, mask) else {
            return Vec::new();
        };
        if now.covers != before.covers {
            return Vec::new();
        }
        let goes = |(region, other): (usize, Picture)| {
            let to = Picture {
                covers: other.covers,
                content: other.content,
                ..(**now).clone()
            };
            let to = Mask::Picture(Box::new(to));
            Edit::SetMask { region, to }
        };
        self.of_same_colours(before).into_iter().map(goes).collect()
    }

    /// Gives the selected region's letters another text.
    pub(super) fn set_letters(&mut self, text: String) {
        let Some(Mask::Text(letters)) = self.chosen_region().map(|r| &r.mask) else {
            return;
        };
        if letters.font.is_some() {
            return self.notices.warning(
                "These letters have a font file of their own: change their text in the plan's \
                 file.",
            );
        }
        let mut letters = letters.clone();
        match line_of(&text, picture::own_font()) {
            Ok(line) => letters.content = Arc::new(line).into(),
            Err(why) => return self.notices.error(format!("The font {why}")),
        }
        letters.text = text;
        self.set_imprint(Mask::Text(letters));
        self.end_edit();
    }

    /// Gives the selected region a fade along its picture's greys.
    pub(super) fn fade_along_greys(&mut self) {
        let Some((index, region)) = self.chosen.region.zip(self.chosen_region()) else {
            return;
        };
        let Mask::Picture(picture) = &region.mask else {
            return;
        };
        let mut whole = picture.clone();
        whole.covers = Covers::Frame;
        let Some(fade) = self.greys_fade() else {
            return;
        };
        let mask = Mask::Picture(whole.clone());
        let paint = Paint::Fade {
            along: Field::Picture(whole),
            fade,
        };
        self.edit(Edit::Together(vec![
            Edit::SetMask {
                region: index,
                to: mask,
            },
            Edit::SetPaint {
                region: index,
                to: paint,
            },
        ]));
    }

    /// A fade from the darkest spool, at black, to the lightest, at white.
    fn greys_fade(&self) -> Option<Fade> {
        let doc = self.doc.as_ref()?;
        let spools = &doc.plan().spools.list;
        let count = spools.len();
        let lightness = |c: &usize| spools.get(*c).map_or(0.0, |s| s.xyz().to_lab().l);
        let darkest = (0..count).min_by(|a, b| lightness(a).total_cmp(&lightness(b)))?;
        let lightest = (0..count).max_by(|a, b| lightness(a).total_cmp(&lightness(b)))?;
        let stop = |at_mm, spool| Shares::pure(spool, count).map(|shares| Stop { at_mm, shares });
        Some(Fade {
            stops: vec![stop(0.0, darkest)?, stop(100.0, lightest)?],
            spacing: Spacing::default(),
        })
    }

    /// Lays the selected region's picture otherwise: straight from where one looks, round the
    /// part's upright axis, or on the skin.
    pub(super) fn lay_otherwise(&mut self, way: Way) {
        let Some(region) = self.chosen_region() else {
            return;
        };
        let (Some(laid), Some(doc)) = (placing::laid(&region.mask), &self.doc) else {
            return;
        };
        let (at_mm, depth_mm) = (laid.at_mm(), laid.depth_mm());
        let how = match way {
            Way::Round => Laid::Wrapped {
                at_mm,
                through_mm: placing::rounded(doc.middle_mm().with_z(0.0)),
                axis: DVec3::Z,
                depth_mm,
            },
            Way::Straight => Laid::Projected {
                at_mm,
                along: placing::onto(-self.view.camera.axes().forward),
                depth_mm,
            },
            Way::OnSkin => {
                let near = doc.surface.nearest(at_mm);
                let outwards = doc.surface.normal(near.facet);
                let at_mm = placing::rounded(near.point_mm);
                placing::moved(laid_on_skin(laid, depth_mm), at_mm, outwards)
            }
        };
        self.set_imprint(placing::lying(region.mask.clone(), how));
        self.end_edit();
    }

    /// How wide the selected region's picture stands on the part, mm: for letters, their line.
    pub fn picture_size_mm(&self) -> Option<(f64, f64)> {
        let surface = &self.doc.as_ref()?.surface;
        let placed = placing::placed(&self.chosen_region()?.mask, surface)?;
        let raster = placed.raster();
        let size = DVec2::new(raster.width() as f64, raster.height() as f64) * placed.pixel_mm();
        Some((size.x, size.y))
    }
}

/// How something lies on the skin that is looked at as before, if it is looked at in one direction.
fn laid_on_skin(before: &Laid, depth_mm: f64) -> Laid {
    let along = match before {
        Laid::Projected { along, .. } => *along,
        // No direction, so that it is looked at straight.
        _ => DVec3::ZERO,
    };
    Laid::OnSkin {
        at_mm: before.at_mm(),
        along: Some(along),
        depth_mm,
    }
}

/// In tenths of a millimetre, and not nothing.
fn placing_mm(mm: f64) -> f64 {
    ((mm * 10.0).round() / 10.0).max(0.1)
}
