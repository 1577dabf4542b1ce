//! A person's frame round the test print on the photograph card: the demonstration's photograph,
//! and the same with something changed in it.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::path::Path;

use blend::{Lab, ciede2000};
use calibrate::on_card::{Look, Refusal, Sample, Task, look};
use calibrate::{Options, TestPart, read_spools};
use geometry::Progress;
use photograph::Photo;
use photograph::card;
use photograph::laid::Frame;
use photograph::light::Reference;
use photograph::overlay::drawn;
use photograph::scene::Marked;
use photograph::view::View;
use render::Image;

/// The demonstration's photograph as codes that can be changed, and where its camera stood.
struct Shot {
    width: usize,
    height: usize,
    rgba: Vec<u8>,
    view: View,
    bar: TestPart,
}

fn shipped(file: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo-models/calibration")
        .join(file)
}

impl Shot {
    fn new() -> Self {
        let photo = Photo::read(&std::fs::read(shipped("photograph.jpg")).unwrap()).unwrap();
        let (width, height, rgba) = drawn(&photo, &[]);
        assert_eq!((width, height), (photo.width(), photo.height()));
        let spools = read_spools(&shipped("spools.ron")).unwrap().list;
        let options = Options::for_spools(spools.len());
        let machine = plan::Machine::default();
        let bars = TestPart::all(&spools, &machine, &options, |_, _| "bar.stl".into()).unwrap();
        Self {
            width,
            height,
            rgba,
            view: Marked::find(&photo).unwrap().view,
            bar: bars.into_iter().next().unwrap(),
        }
    }

    fn photo(&self) -> Photo {
        let (width, height) = (self.width as u32, self.height as u32);
        let image = Image::from_rgba(width, height, self.rgba.clone()).unwrap();
        let mut file = Vec::new();
        image.write_png(&mut file).unwrap();
        Photo::read(&file).unwrap()
    }

    fn look(&self, frame: Option<Frame>) -> Look {
        let references = [(0, 0.9), (1, 0.18), (2, 0.04)]
            .map(|(place, reflectance)| Reference { place, reflectance });
        let sample = Sample::of(&self.bar.plan, &self.bar.mesh).unwrap();
        let photo = self.photo();
        let task = Task {
            photo: &photo,
            references: &references,
            sample: &sample,
            mesh: &self.bar.mesh,
            frame,
        };
        look(&task, &Progress::new()).unwrap()
    }

    fn code(&self, x: usize, y: usize) -> [u8; 4] {
        let first = 4 * (y * self.width + x);
        self.rgba[first..first + 4].try_into().unwrap()
    }

    /// Changes pixels by the place of the card that lies there, where there is no print.
    fn paint(&mut self, colour: impl Fn(&Self, f64, f64) -> Option<[u8; 4]>) {
        let mut changed = self.rgba.clone();
        for (i, pixel) in changed.chunks_mut(4).enumerate() {
            let at = ((i % self.width) as f64 + 0.5, (i / self.width) as f64 + 0.5);
            let place = self.view.at_height(at, 0.0).unwrap();
            if let Some(code) = colour(self, place.0, place.1) {
                pixel.copy_from_slice(&code);
            }
        }
        self.rgba = changed;
    }

    /// What the empty lane looks like at a place: as at its edge.
    fn empty(&self, x: f64, y: f64) -> [u8; 4] {
        let x = if card::lane_is_inked(x, y) {
            70.0
        } else {
            116.0
        };
        let (column, row) = self.view.project([x, y, 0.0]).unwrap();
        self.code(column as usize, row as usize)
    }
}

fn colours(look: &Look) -> Vec<Lab> {
    let reading = look.reading.as_ref().unwrap();
    reading.colours.iter().map(|(_, lab)| *lab).collect()
}

fn furthest(a: &[Lab], b: &[Lab]) -> f64 {
    assert_eq!(a.len(), b.len());
    let pairs = a.iter().zip(b);
    pairs.map(|(a, b)| ciede2000(*a, *b)).fold(0.0, f64::max)
}

fn refusal(look: &Look) -> &str {
    match &look.reading {
        Err(Refusal::Place(why)) => why,
        other => panic!("{other:?}"),
    }
}

fn moved(frame: &Frame, by: (f64, f64)) -> Frame {
    Frame(frame.0.map(|(x, y)| (x + by.0, y + by.1)))
}

#[test]
fn a_frame_about_the_print_reads_what_is_read_without_one() {
    let shot = Shot::new();
    let alone = shot.look(None);
    let truth = colours(&alone);
    let px = shot.view.px_per_mm((90.0, 125.0)).unwrap();
    // As a hand may set corners: up to 2 mm off, each its own way.
    for (i, off) in [[1.0, -1.5, 2.0, -1.0], [-2.0, 1.0, -1.0, 1.5]]
        .iter()
        .enumerate()
    {
        let mut frame = alone.frame;
        for (corner, by) in frame.0.iter_mut().zip(off) {
            corner.0 += by * px;
            corner.1 -= by * px * 0.7;
        }
        let framed = shot.look(Some(frame));
        let off = furthest(&colours(&framed), &truth);
        assert!(off < 0.3, "{i}: {off}");
        for (a, b) in framed.frame.0.iter().zip(alone.frame.0) {
            assert!((a.0 - b.0).hypot(a.1 - b.1) < 0.6 * px, "{i}: {a:?} {b:?}");
        }
        assert_eq!(
            framed.reading.unwrap().warnings,
            alone.reading.as_ref().unwrap().warnings
        );
    }
}

#[test]
fn a_frame_that_the_picture_does_not_bear_out_is_refused() {
    let shot = Shot::new();
    let right = shot.look(None).frame;
    let px = shot.view.px_per_mm((90.0, 125.0)).unwrap();
    for by in [(12.0, 0.0), (-9.0, 0.0), (0.0, -11.0), (0.0, 11.0)] {
        let look = shot.look(Some(moved(&right, (by.0 * px, by.1 * px))));
        refusal(&look);
        // What the person said stays.
        assert_eq!(look.frame, moved(&right, (by.0 * px, by.1 * px)));
        assert!(look.lines.len() >= 8, "the marks are drawn all the same");
    }
    let [a, b, c, d] = right.0;
    let turned = shot.look(Some(Frame([c, d, a, b])));
    assert!(
        refusal(&turned).contains("foot is seen"),
        "{}",
        refusal(&turned)
    );
    let mirrored = shot.look(Some(Frame([b, a, d, c])));
    assert!(
        refusal(&mirrored).contains("in this order"),
        "{}",
        refusal(&mirrored)
    );
    let half = |p: (f64, f64), q: (f64, f64)| ((p.0 + q.0) / 2.0, (p.1 + q.1) / 2.0);
    let short = shot.look(Some(Frame([half(a, d), half(b, c), c, d])));
    assert!(refusal(&short).contains("mm long"), "{}", refusal(&short));
    let outside = shot.look(Some(Frame([a, b, c, (-40.0, d.1)])));
    assert!(
        refusal(&outside).contains("corner 4"),
        "{}",
        refusal(&outside)
    );
    let beside = shot.look(Some(moved(&right, (40.0 * px, 0.0))));
    assert!(
        refusal(&beside).contains("outside of the lane"),
        "{}",
        refusal(&beside)
    );
    // On the empty paper of a card without a print, too.
    let mut empty = shot;
    empty.paint(|shot, x, y| {
        let lane = (61.0..119.0).contains(&x) && (9.0..248.0).contains(&y);
        lane.then(|| shot.empty(x, y))
    });
    refusal(&empty.look(None));
    refusal(&empty.look(Some(right)));
}

/// Something else lies at the lane's upper end: by itself that is refused.
#[test]
fn with_a_frame_other_things_may_lie_on_the_lane() {
    let mut shot = Shot::new();
    let alone = shot.look(None);
    let length = alone.frame.0;
    let top = shot.view.at_height(length[0], 0.0).unwrap().1;
    assert!(top > 45.0, "no room above the bar: {top}");
    shot.paint(|_, x, y| {
        let there = (69.0..111.0).contains(&x) && (10.0..top - 16.0).contains(&y);
        there.then_some([170, 40, 60, 255])
    });
    let refused = shot.look(None);
    assert!(
        refusal(&refused).contains("something else"),
        "{}",
        refusal(&refused)
    );
    let framed = shot.look(Some(alone.frame));
    let off = furthest(&colours(&framed), &colours(&alone));
    assert!(off < 0.3, "{off}");
}

/// The foot's sides are hidden, so both ends look alike.
#[test]
fn with_a_frame_the_foot_need_not_be_seen() {
    let mut shot = Shot::new();
    let alone = shot.look(None);
    let [.., right, left] = alone
        .frame
        .0
        .map(|at| shot.view.at_height(at, 14.0).unwrap());
    shot.paint(|shot, x, y| {
        let beside = (60.5..left.0 + 0.2).contains(&x) || (right.0 - 0.2..119.5).contains(&x);
        let hidden = beside && y > left.1 - 16.0 && y < 248.0;
        hidden.then(|| shot.empty(x, y))
    });
    let refused = shot.look(None);
    assert!(
        refusal(&refused).contains("foot can't be told"),
        "{}",
        refusal(&refused)
    );
    let framed = shot.look(Some(alone.frame));
    let off = furthest(&colours(&framed), &colours(&alone));
    assert!(off < 0.5, "{off}");
    let warnings = framed.reading.unwrap().warnings;
    assert!(
        warnings.iter().any(|w| w.contains("taken from the frame")),
        "{warnings:?}"
    );
}

#[test]
fn a_picture_without_a_card_has_a_frame_to_begin_with() {
    let mut shot = Shot::new();
    shot.rgba.fill(200);
    // One pixel of a colour: a picture without any is refused for that.
    shot.rgba[0] = 201;
    let look = shot.look(None);
    assert!(matches!(look.reading, Err(Refusal::Card(_))));
    assert_eq!(look.frame.within(shot.width, shot.height), Ok(()));
    assert!(look.lines.is_empty());
}
