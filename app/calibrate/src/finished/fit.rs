//! A part's pose from its outline.
//!
//! The outline for a pose is drawn from the mesh; edges of the photograph are looked for across
//! it; and the pose is moved until they agree, by least squares with weights that pass over what
//! belongs to something else (C. Harris, C. Stennett, "RAPID – a video rate object tracker",
//! BMVC 1990; J. Tukey's biweight; both from memory). It begins at the places of the whole
//! picture where a rough outline meets the most edges.

use geometry::{Cancelled, DVec3, Progress};
use nalgebra::{Matrix4, Vector4};
use photograph::Photo;
use photograph::homography::Point;
use photograph::view::View;

use super::edges::{EdgeMap, crossing, strongest};
use super::outline::{OutlinePoint, Shape};
use super::posed::{Pose, Posed, Rested};

/// Where the part may stand, mm on the card's field: on the card or beside it.
const ACROSS_MM: (f64, f64) = (-160.0, 340.0);
const DOWN_MM: (f64, f64) = (-220.0, 400.0);
/// How far apart the places are that an outline is drawn for, and those that it is moved to, mm.
const CELL_MM: f64 = 40.0;
const STEP_MM: f64 = 4.0;
/// Turns that are begun from.
const TURNS: usize = 24;
/// How many starts are followed.
const STARTS: usize = 14;
/// How well the card's scale is known beforehand: cards are printed a little small or large.
const SCALE_SPREAD: f64 = 0.02;
const SCALES: (f64, f64) = (0.93, 1.08);
/// Places of an outline that are looked at.
const PLACES: usize = 400;
/// An edge so near is the outline's, px.
const NEAR_PX: f64 = 2.0;
/// So far an edge is looked for, first and later, mm on the part.
const REACHES_MM: [f64; 8] = [6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.2];

/// An outline that is met along less than this may be another one's: it is looked for about its place
/// once more, by edges that are near. By the study in docs/photographs.md, where parts in their place
/// have 82 % and more.
const CLEARLY_MET: f64 = 0.85;
/// How far about it, in how many steps to each side, mm.
const AROUND_MM: f64 = 8.0;
const AROUND_STEPS: i32 = 2;

/// Masks that differ in less of their area than this are those of a round part.
const ROUND: f64 = 0.05;
/// Another turn is as good if it meets no less of the outline than this, and is off by no more.
const ALIKE_MET: f64 = 0.04;
const ALIKE_OFF: f64 = 1.2;
const ALIKE_PX: f64 = 0.05;
/// Turns nearer than this are one, rad.
const ONE_TURN: f64 = 0.06;

/// How far two turns are apart, rad.
pub fn apart(one: f64, other: f64) -> f64 {
    let turned = (one - other).rem_euclid(std::f64::consts::TAU);
    turned.min(std::f64::consts::TAU - turned)
}

/// Poses about one, with the card at its size.
fn around(pose: Pose) -> impl Iterator<Item = Pose> {
    let steps = move || -AROUND_STEPS..=AROUND_STEPS;
    let off = |step: i32| AROUND_MM * f64::from(step) / f64::from(AROUND_STEPS);
    steps().flat_map(move |down| {
        steps().map(move |across| Pose {
            x_mm: pose.x_mm + off(across),
            y_mm: pose.y_mm + off(down),
            scale: 1.0,
            ..pose
        })
    })
}

/// A pose and how well it fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The pose.
    pub pose: Pose,
    /// How far the edges that are the outline's are off it, RMS, px.
    pub off_px: f64,
    /// The share of the outline where an edge is that near.
    pub met: f64,
    /// How wide those edges are, the middle one, px.
    pub width_px: f64,
}

impl Fitted {
    /// What is best: as much of the outline as can be, as near as can be.
    pub fn worth(&self) -> f64 {
        self.met - 0.1 * self.off_px
    }

    /// Whether it fits about as well as the best does.
    pub fn is_as_good(&self, best: &Self) -> bool {
        self.met > best.met - ALIKE_MET && self.off_px < ALIKE_OFF * best.off_px + ALIKE_PX
    }
}

/// What poses are looked for with.
pub struct Search<'a> {
    /// The picture.
    pub photo: &'a Photo,
    /// The camera.
    pub view: &'a View,
    /// How the part rests.
    pub rested: &'a Rested,
    /// Its shape.
    pub shape: &'a Shape,
    /// The same, rough.
    pub rough: &'a Shape,
    /// The turn, rad, where it is known.
    pub turn: Option<f64>,
}

impl Search<'_> {
    pub(super) fn posed(&self, pose: Pose) -> Posed<'_> {
        Posed {
            view: self.view,
            rested: self.rested,
            pose,
        }
    }

    /// The best pose; none where nothing fits at all.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn best(&self, progress: &Progress) -> Result<Option<Fitted>, Cancelled> {
        let map = EdgeMap::of(self.photo);
        let starts = self.starts(&map, progress)?;
        let mut found: Vec<Fitted> = Vec::new();
        for start in &starts {
            progress.check()?;
            found.extend(self.followed(*start, &REACHES_MM));
        }
        found.sort_by(|a, b| b.worth().total_cmp(&a.worth()));
        let Some(first) = found.first().copied() else {
            return Ok(None);
        };
        // Once more from the best few, and from turns between those that were begun from.
        let mut again: Vec<Pose> = found.iter().take(3).map(|fit| fit.pose).collect();
        if self.turn.is_none() {
            again.extend([-10.0, -5.0, 5.0, 10.0].map(|by: f64| Pose {
                turn: first.pose.turn + by.to_radians(),
                ..first.pose
            }));
        }
        let best = self.best_of(again, progress)?;
        match best {
            // A strong edge within the part, such as that of a dark colour, may have drawn the outline
            // off its own.
            Some(best) if best.met < CLEARLY_MET => {
                let near = starts.into_iter().chain(around(best.pose));
                let other = self.best_of(near, progress)?;
                Ok(other
                    .filter(|other| other.worth() > best.worth())
                    .or(Some(best)))
            }
            other => Ok(other),
        }
    }

    /// The best of some poses that are nearly right.
    fn best_of(
        &self,
        poses: impl IntoIterator<Item = Pose>,
        progress: &Progress,
    ) -> Result<Option<Fitted>, Cancelled> {
        let mut best: Option<Fitted> = None;
        for pose in poses {
            progress.check()?;
            let found = self.followed(pose, REACHES_MM.get(5..).unwrap_or_default());
            let found = found.filter(|found| best.is_none_or(|best| found.worth() >= best.worth()));
            best = found.or(best);
        }
        Ok(best)
    }

    /// Other turns in which the outline is as good as that of a pose.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn other_turns(
        &self,
        best: &Fitted,
        progress: &Progress,
    ) -> Result<Vec<Fitted>, Cancelled> {
        let mut found: Vec<Fitted> = vec![*best];
        for i in 1..TURNS {
            progress.check()?;
            let turned = Pose {
                turn: best.pose.turn + std::f64::consts::TAU * i as f64 / TURNS as f64,
                ..best.pose
            };
            let near = REACHES_MM.get(4..).unwrap_or_default();
            let Some(other) = self.followed(turned, near) else {
                continue;
            };
            let as_good = other.is_as_good(best);
            let is_new = |known: &Fitted| apart(known.pose.turn, other.pose.turn) > ONE_TURN;
            if as_good && found.iter().all(is_new) {
                found.push(other);
            }
        }
        Ok(found.into_iter().skip(1).collect())
    }

    /// Whether the outline hardly changes as the part is turned by one of [`TURNS`].
    fn is_round(&self) -> bool {
        let at = |turn: f64| {
            let pose = Pose {
                x_mm: 90.0,
                y_mm: 20.0,
                turn,
                scale: 1.0,
            };
            self.rough.mask(&self.posed(pose), 2.0)
        };
        let Some(first) = at(0.0) else {
            return false;
        };
        let others = [0.26, 0.53, 0.8, 1.57];
        others.iter().all(|turn| {
            let other = at(*turn);
            other.is_some_and(|other| first.unlike(&other) < ROUND)
        })
    }

    /// Where rough outlines meet the most edges, the best first.
    fn starts(&self, map: &EdgeMap, progress: &Progress) -> Result<Vec<Pose>, Cancelled> {
        let mut found: Vec<(f64, Pose)> = Vec::new();
        let count = |(from, to): (f64, f64)| ((to - from) / CELL_MM).ceil() as usize;
        let (columns, rows) = (count(ACROSS_MM), count(DOWN_MM));
        let turns = self.turns();
        for row in 0..rows {
            progress.check()?;
            for column in 0..columns {
                let x_mm = ACROSS_MM.0 + CELL_MM * (column as f64 + 0.5);
                let y_mm = DOWN_MM.0 + CELL_MM * (row as f64 + 0.5);
                // Its foot's middle is in the picture, or most of the part is not.
                let foot = self.view.project([x_mm, y_mm, 0.0]);
                if foot.and_then(|at| self.photo.pixel_at(at)).is_none() {
                    continue;
                }
                for turn in &turns {
                    let pose = Pose {
                        x_mm,
                        y_mm,
                        turn: *turn,
                        scale: 1.0,
                    };
                    found.extend(self.best_near(map, pose));
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut starts: Vec<Pose> = Vec::new();
        for (_, pose) in found {
            let is_new = |other: &Pose| {
                f64::hypot(pose.x_mm - other.x_mm, pose.y_mm - other.y_mm) > 9.0
                    || apart(pose.turn, other.turn) > 0.4
            };
            if starts.iter().all(is_new) {
                starts.push(pose);
            }
            if starts.len() >= STARTS {
                break;
            }
        }
        Ok(starts)
    }

    fn turns(&self) -> Vec<f64> {
        match self.turn {
            Some(turn) => vec![turn],
            None if self.is_round() => vec![0.0],
            None => (0..TURNS)
                .map(|i| std::f64::consts::TAU * i as f64 / TURNS as f64)
                .collect(),
        }
    }

    /// The best place about a pose: its outline is drawn once and moved about.
    fn best_near(&self, map: &EdgeMap, pose: Pose) -> Option<(f64, Pose)> {
        let posed = self.posed(pose);
        let mask = self.rough.mask(&posed, map.factor)?;
        let border: Vec<(Point, Point)> = mask
            .border(120)
            .into_iter()
            .map(|((x, y), out)| ((x / map.factor, y / map.factor), out))
            .collect();
        let foot = |pose: Pose| {
            let (x, y) = self.view.project([pose.x_mm, pose.y_mm, 0.0])?;
            Some((x / map.factor, y / map.factor))
        };
        let (from, px_per_mm) = (foot(pose)?, posed.px_per_mm());
        let steps = (CELL_MM / STEP_MM / 2.0) as i64;
        let mut best: Option<(f64, Pose)> = None;
        for down in -steps..=steps {
            for across in -steps..=steps {
                let moved = Pose {
                    x_mm: pose.x_mm + STEP_MM * across as f64,
                    y_mm: pose.y_mm + STEP_MM * down as f64,
                    ..pose
                };
                let to = foot(moved)?;
                let larger = self.posed(moved).px_per_mm() / px_per_mm;
                let mut sum = 0.0;
                let mut inside = 0;
                for ((x, y), out) in &border {
                    let at = (to.0 + larger * (x - from.0), to.1 + larger * (y - from.1));
                    if let Some(edge) = map.edge(at, *out) {
                        sum += edge;
                        inside += 1;
                    }
                }
                // A part that is cut by the frame may be found, so that it can be told.
                let worth = sum / border.len().max(1) as f64;
                let most_of_it = 2 * inside > border.len();
                if most_of_it && best.is_none_or(|(most, _)| worth > most) {
                    best = Some((worth, moved));
                }
            }
        }
        best
    }

    /// A pose moved until its outline meets the edges near it.
    pub fn followed(&self, start: Pose, reaches_mm: &[f64]) -> Option<Fitted> {
        let mut pose = start;
        for reach_mm in reaches_mm {
            let reach_px = (reach_mm * self.posed(pose).px_per_mm()).max(3.0);
            let outline = self.shape.outline(&self.posed(pose), PLACES)?;
            let seen = |place: &OutlinePoint| {
                let off = strongest(self.photo, place.at, place.out, reach_px)?;
                Some((*place, off))
            };
            let seen: Vec<_> = outline.iter().filter_map(seen).collect();
            pose = self.moved(pose, &seen, 0.6 * reach_px)?;
        }
        for _ in 0..5 {
            let seen = self.crossings(pose)?;
            let seen: Vec<_> = seen
                .into_iter()
                .filter_map(|(p, c)| Some((p, c?.0)))
                .collect();
            pose = self.moved(pose, &seen, 1.5)?;
        }
        self.judged(pose)
    }

    /// How well a pose fits as it is.
    pub fn judged(&self, pose: Pose) -> Option<Fitted> {
        let seen = self.crossings(pose)?;
        let near: Vec<(f64, f64)> = seen.iter().filter_map(|(_, seen)| *seen).collect();
        let near: Vec<_> = near
            .into_iter()
            .filter(|(off, _)| off.abs() < NEAR_PX)
            .collect();
        let squares: f64 = near.iter().map(|(off, _)| off * off).sum();
        let mut widths: Vec<f64> = near.iter().map(|(_, width)| *width).collect();
        widths.sort_by(f64::total_cmp);
        Some(Fitted {
            pose,
            off_px: (squares / near.len().max(1) as f64).sqrt(),
            met: near.len() as f64 / seen.len().max(1) as f64,
            width_px: widths.get(widths.len() / 2).copied().unwrap_or(0.0),
        })
    }

    /// The outline of a pose, and how far off and how wide the edge is at each of its places.
    #[allow(clippy::type_complexity, reason = "a place and what is there")]
    pub(super) fn crossings(&self, pose: Pose) -> Option<Vec<(OutlinePoint, Option<(f64, f64)>)>> {
        let outline = self.shape.outline(&self.posed(pose), PLACES)?;
        let seen = outline.into_iter().map(|place| {
            let found = crossing(self.photo, place.at, place.out);
            (place, found.map(|found| (found.off_px, found.width_px)))
        });
        Some(seen.collect())
    }

    /// A pose that is nearer to edges so far off; what is further off than a bound counts little.
    fn moved(&self, pose: Pose, seen: &[(OutlinePoint, f64)], bound_px: f64) -> Option<Pose> {
        // In mm at the part's side, and px.
        let radius = self.rested.radius_mm.max(self.rested.height_mm / 2.0);
        let changed = |pose: Pose, way: usize, by_mm: f64| {
            let mut to = pose;
            match way {
                0 => to.x_mm += by_mm,
                1 => to.y_mm += by_mm,
                2 => to.turn += by_mm / radius,
                _ => to.scale += by_mm / radius,
            }
            to
        };
        let mut sides = Matrix4::zeros();
        let mut known = Vector4::zeros();
        for (place, off) in seen {
            let far = (off / (2.0 * bound_px)).abs();
            let weight = if far < 1.0 {
                (1.0 - far * far).powi(2)
            } else {
                0.0
            };
            let across = |pose: Pose, part_mm: DVec3| {
                let (x, y) = self.posed(pose).project(part_mm)?;
                Some(x * place.out.0 + y * place.out.1)
            };
            let mut row = [0.0; 4];
            for (way, slope) in row.iter_mut().enumerate() {
                let there = across(changed(pose, way, 0.05), place.part_mm)?;
                let here = across(changed(pose, way, -0.05), place.part_mm)?;
                *slope = (there - here) / 0.1;
            }
            let row = Vector4::from(row);
            sides += weight * row * row.transpose();
            known += weight * off * row;
        }
        // What is known of the scale beforehand weighs like an edge seen within 1 px.
        let px = self.posed(pose).px_per_mm();
        let spread_mm = SCALE_SPREAD * radius;
        sides += Matrix4::identity() * (1e-3 * px * px);
        let weight = 1.0 / (spread_mm * spread_mm);
        if let (Some(side), Some(value)) = (sides.get_mut((3, 3)), known.get_mut(3)) {
            *side += weight;
            *value += weight * (1.0 - pose.scale) * radius;
        }
        let step = sides.cholesky()?.solve(&known);
        let mut to = pose;
        let most = 15.0;
        for (way, by) in step.iter().enumerate() {
            to = changed(to, way, by.clamp(-most, most));
        }
        to.scale = to.scale.clamp(SCALES.0, SCALES.1);
        (to.x_mm.is_finite() && to.y_mm.is_finite() && to.turn.is_finite()).then_some(to)
    }
}
