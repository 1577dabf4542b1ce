//! What lies over the part while someone paints: what a tool would do at the pointer, and what
//! the brush has done since it was pressed. It is worked out on a thread of its own, so that no
//! frame waits for it, however fine the mesh and however wide the brush.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};

use geometry::mask::Stroke;
use geometry::{Mask, Progress, Surface};

use super::skin::Skin;
use super::{Waker, panic_text, patch};
use crate::model::skin::SkinMesh;

/// What is to be sketched.
#[derive(Clone, Debug)]
pub enum Order {
    /// What a tool would do; of several that wait, only the last one counts.
    Hover(Shape),
    /// A stroke begins: it may cover again what the last one did.
    Begin,
    /// The stroke goes on.
    Dabs(Vec<Stroke>),
}

/// What a tool would do.
#[derive(Clone, Debug)]
pub enum Shape {
    /// Paint these.
    Strokes(Vec<Stroke>),
    /// Fill this.
    Mask(Mask),
}

/// What is to be shown.
#[derive(Debug)]
pub enum Sketch {
    /// Instead of the last one: what a tool would do.
    Hover(SkinMesh),
    /// In addition: what the brush did.
    Drawn(SkinMesh),
}

/// Orders are numbered, so that what nobody wants any more can be told from the rest.
type Number = u64;

/// What came of some orders.
#[derive(Default)]
struct Answer {
    /// The last of the orders.
    last: Number,
    sketches: Vec<(Number, Sketch)>,
    /// Why there is less than was asked for.
    fault: Option<String>,
}

/// Takes orders and gives sketches, in the same order. Dropping it ends its thread.
pub struct Sketcher {
    orders: Sender<(Number, Order)>,
    answers: Receiver<Answer>,
    progress: Progress,
    asked: Number,
    answered: Number,
    hover_from: Number,
    drawn_from: Number,
}

impl Sketcher {
    /// One for a part.
    pub fn new(surface: &Surface, skin: &Arc<Skin>, waker: &Waker) -> Self {
        let (orders, take) = channel();
        let (give, answers) = channel();
        let progress = Progress::new();
        let worker = Worker {
            covered: Vec::new(),
            surface: surface.clone(),
            skin: skin.clone(),
            progress: progress.clone(),
        };
        let waker = waker.clone();
        std::thread::spawn(move || worker.work(&take, &give, &waker));
        Self {
            orders,
            answers,
            progress,
            asked: 0,
            answered: 0,
            hover_from: 0,
            drawn_from: 0,
        }
    }

    /// Asks for a sketch.
    pub fn ask(&mut self, order: Order) {
        self.asked += 1;
        // A thread that has ended shows when its answers are taken.
        let _ = self.orders.send((self.asked, order));
    }

    /// No longer wants what tools would have done.
    pub fn forget_hover(&mut self) {
        self.hover_from = self.asked + 1;
    }

    /// No longer wants what was painted.
    pub fn forget_drawn(&mut self) {
        self.drawn_from = self.asked + 1;
    }

    /// How many orders have no answer yet.
    pub fn behind(&self) -> usize {
        (self.asked - self.answered) as usize
    }

    /// The sketches that are done and still wanted.
    ///
    /// # Errors
    /// Why there are fewer than were asked for.
    pub fn take(&mut self) -> Result<Vec<Sketch>, String> {
        let mut wanted = Vec::new();
        loop {
            let answer = match self.answers.try_recv() {
                Ok(answer) => answer,
                Err(TryRecvError::Empty) => return Ok(wanted),
                Err(TryRecvError::Disconnected) => {
                    self.answered = self.asked;
                    return Ok(wanted);
                }
            };
            self.answered = answer.last;
            let fresh = answer.sketches.into_iter().filter(|(number, sketch)| {
                let from = match sketch {
                    Sketch::Hover(_) => self.hover_from,
                    Sketch::Drawn(_) => self.drawn_from,
                };
                *number >= from
            });
            wanted.extend(fresh.map(|(_, sketch)| sketch));
            if let Some(why) = answer.fault {
                return Err(why);
            }
        }
    }
}

impl Drop for Sketcher {
    fn drop(&mut self) {
        self.progress.cancel();
    }
}

/// Draws the sketches.
struct Worker {
    surface: Surface,
    skin: Arc<Skin>,
    progress: Progress,
    /// The facets that the stroke has covered whole, once it has begun.
    covered: Vec<bool>,
}

impl Worker {
    fn work(mut self, orders: &Receiver<(Number, Order)>, give: &Sender<Answer>, waker: &Waker) {
        while let Ok(first) = orders.recv() {
            let mut waiting = vec![first];
            waiting.extend(orders.try_iter());
            let last = waiting.last().map_or(0, |(number, _)| *number);
            // A defect here must not take the window, and unsaved work, with it.
            let done = catch_unwind(AssertUnwindSafe(|| self.answer(waiting)));
            let answer = match done {
                Ok(sketches) => Answer {
                    last,
                    sketches,
                    fault: None,
                },
                Err(panic) => Answer {
                    last,
                    fault: Some(panic_text(panic.as_ref())),
                    ..Answer::default()
                },
            };
            if self.progress.check().is_err() || give.send(answer).is_err() {
                return;
            }
            waker.wake();
        }
    }

    fn answer(&mut self, orders: Vec<(Number, Order)>) -> Vec<(Number, Sketch)> {
        let (mut hover, mut drawn): (Option<(Number, Shape)>, _) = (None, None);
        for (number, order) in orders {
            match order {
                Order::Hover(shape) => hover = Some((number, shape)),
                Order::Begin => {
                    drawn = None;
                    self.covered.clear();
                }
                Order::Dabs(more) => {
                    let (at, strokes) = drawn.get_or_insert((number, Vec::new()));
                    *at = number;
                    more.into_iter().for_each(|stroke| join(strokes, stroke));
                }
            }
        }
        let mut sketches = Vec::new();
        if let Some((number, strokes)) = drawn {
            sketches.push((number, Sketch::Drawn(self.drawn(&strokes))));
        }
        if let Some((number, shape)) = hover {
            sketches.push((number, Sketch::Hover(self.hover(&shape))));
        }
        sketches
    }

    fn drawn(&mut self, strokes: &[Stroke]) -> SkinMesh {
        let facets = self.surface.mesh().triangles().len();
        self.covered.resize(facets, false);
        let mut mesh = SkinMesh::default();
        for stroke in strokes {
            mesh.append(patch::of_more(
                &self.surface,
                &self.skin,
                stroke,
                &mut self.covered,
                &self.progress,
            ));
        }
        mesh
    }

    fn hover(&self, shape: &Shape) -> SkinMesh {
        let (surface, skin, progress) = (&self.surface, &self.skin, &self.progress);
        match shape {
            Shape::Mask(mask) => patch::of_mask(surface, skin, mask, progress),
            Shape::Strokes(strokes) => {
                let mut mesh = SkinMesh::default();
                for stroke in strokes {
                    mesh.append(patch::of_stroke(surface, skin, stroke, progress));
                }
                mesh
            }
        }
    }
}

/// Adds a stroke to others; one that goes on where another ends lengthens that.
fn join(strokes: &mut Vec<Stroke>, stroke: Stroke) {
    let goes_on = |s: &&mut Stroke| {
        s.dabs_mm.last() == stroke.dabs_mm.first() && s.radius_mm == stroke.radius_mm
    };
    match strokes.iter_mut().find(goes_on) {
        Some(before) => before.dabs_mm.extend(stroke.dabs_mm.iter().skip(1)),
        None => strokes.push(stroke),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geometry::DVec3;
    use std::time::Duration;

    fn ball() -> (Surface, Arc<Skin>) {
        let mesh = Arc::new(geometry::solids::icosphere(10.0, 5).expect("a ball"));
        let skin = Skin::of(&mesh, &Progress::new()).expect("not cancelled");
        (Surface::new(mesh), Arc::new(skin))
    }

    fn stroke(dabs_mm: Vec<DVec3>) -> Stroke {
        Stroke {
            dabs_mm,
            radius_mm: 2.0,
            reach_mm: None,
        }
    }

    /// Points along a meridian of the ball.
    fn dabs(from: usize, to: usize) -> Vec<DVec3> {
        let at = |i: usize| DVec3::new((i as f64 * 0.1).sin(), 0.0, (i as f64 * 0.1).cos()) * 10.0;
        (from..=to).map(at).collect()
    }

    fn all(sketcher: &mut Sketcher) -> Vec<Sketch> {
        let mut found = Vec::new();
        loop {
            found.extend(sketcher.take().expect("no fault"));
            if sketcher.behind() == 0 {
                return found;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn area(mesh: &SkinMesh) -> f64 {
        let corner = |i: u32| DVec3::from_array(mesh.positions[i as usize].map(f64::from));
        let triangles = mesh.indices.chunks_exact(3);
        triangles
            .map(|t| {
                let (a, b, c) = (corner(t[0]), corner(t[1]), corner(t[2]));
                0.5 * (b - a).cross(c - a).length()
            })
            .sum()
    }

    #[test]
    fn a_stroke_in_parts_covers_what_the_whole_one_does_without_doing_it_twice() {
        let (surface, skin) = ball();
        let progress = Progress::new();
        let whole = patch::of_stroke(&surface, &skin, &stroke(dabs(0, 12)), &progress);
        let mut covered = vec![false; surface.mesh().triangles().len()];
        let mut parts = SkinMesh::default();
        let mut once = 0.0;
        for i in 0..12 {
            let part = stroke(dabs(i, i + 1));
            once += area(&patch::of_stroke(&surface, &skin, &part, &progress));
            parts.append(patch::of_more(
                &surface,
                &skin,
                &part,
                &mut covered,
                &progress,
            ));
        }
        let (whole, parts) = (area(&whole), area(&parts));
        assert!(parts > 0.99 * whole, "{parts} {whole}");
        assert!(parts < 0.6 * once, "{parts} {once}");
    }

    #[test]
    fn sketches_come_in_order_and_forgotten_ones_do_not_come() {
        let (surface, skin) = ball();
        let mut sketcher = Sketcher::new(&surface, &skin, &Waker::default());
        sketcher.ask(Order::Begin);
        sketcher.ask(Order::Dabs(vec![stroke(dabs(0, 3))]));
        sketcher.ask(Order::Hover(Shape::Strokes(vec![stroke(dabs(5, 5))])));
        let found = all(&mut sketcher);
        assert!(
            found
                .iter()
                .any(|s| matches!(s, Sketch::Drawn(m) if !m.is_empty()))
        );
        assert!(
            found
                .iter()
                .any(|s| matches!(s, Sketch::Hover(m) if !m.is_empty()))
        );

        sketcher.ask(Order::Dabs(vec![stroke(dabs(3, 9))]));
        sketcher.ask(Order::Hover(Shape::Mask(Mask::Whole)));
        sketcher.forget_drawn();
        sketcher.forget_hover();
        assert!(all(&mut sketcher).is_empty());
    }

    #[test]
    fn a_stroke_that_goes_on_is_one_stroke() {
        let mut strokes = Vec::new();
        join(&mut strokes, stroke(dabs(0, 2)));
        join(&mut strokes, stroke(dabs(2, 4)));
        join(&mut strokes, stroke(dabs(7, 9)));
        assert_eq!(strokes, [stroke(dabs(0, 4)), stroke(dabs(7, 9))]);
    }
}
