//! A toolpath read layer by layer: what is laid at one height, and all that is said besides.

use std::io::Read;

use toolpath::{Form, Line, Move, Replay, Settings, Step};

use super::declared::Declared;
use super::ways::{SAME_HEIGHT_MM, Ways};
use crate::WeaveError;
use crate::dialect::{Heard, Listener};

/// A move that lays plastic, and how.
#[derive(Clone, Debug)]
pub(super) struct Print {
    pub step: Move,
    pub line: u64,
    /// The settings in force.
    pub set: u64,
}

/// A line that neither moves nor sets what goes with plastic.
#[derive(Debug)]
pub(super) struct Other {
    pub line: u64,
    pub text: Vec<u8>,
    /// The dialect understands it, so it may be ours.
    pub ours: bool,
}

/// What is laid at one height, and the other lines up to the next.
#[derive(Debug, Default)]
pub(super) struct Layer {
    pub prints: Vec<Print>,
    pub others: Vec<Other>,
    pub top_mm: f64,
    /// How long it takes at the speeds asked for, from its first plastic to its last, minutes.
    pub time_min: f64,
    climbs: bool,
}

pub(super) struct Layers<'a, R> {
    pub replay: Replay<R>,
    listener: Option<&'a mut Listener>,
    settings: Vec<(Vec<u8>, Vec<u8>)>,
    /// What tells the settings in force from others.
    pub set: u64,
    next: Layer,
    ended: bool,
    /// How long it goes since the last plastic, minutes: time of the layer, if the next plastic is
    /// of it too.
    going_min: f64,
    pub ways: Ways,
    /// What the head declares: up to the first plastic.
    pub declared: Vec<Declared>,
    pub around_mm: f64,
    begun: bool,
}

impl<'a, R: Read> Layers<'a, R> {
    pub(super) fn new(file: R, settings: Settings, listener: Option<&'a mut Listener>) -> Self {
        Self {
            replay: Replay::new(file, settings),
            listener,
            settings: Vec::new(),
            set: 0,
            next: Layer::default(),
            ended: false,
            going_min: 0.0,
            ways: Ways::default(),
            declared: Vec::new(),
            around_mm: 0.0,
            begun: false,
        }
    }

    /// The next layer; `None` after the last.
    pub(super) fn layer(&mut self) -> Result<Option<Layer>, WeaveError> {
        if self.ended {
            return Ok(None);
        }
        let mut layer = std::mem::take(&mut self.next);
        while let Some(seen) = self.replay.advance()? {
            let line = seen.line.number();
            let heard = match &mut self.listener {
                Some(listener) => listener.hear(&seen.line),
                None => Heard::Nothing,
            };
            if !self.begun
                && seen.line.form() == Form::Quiet
                && let Some(comment) = seen.line.comment()
            {
                self.declared.extend(Declared::of(comment));
                self.around_mm = Declared::around_mm(comment).unwrap_or(self.around_mm);
            }
            match seen.step {
                Step::Move(step) if step.prints() => {
                    let print = Print {
                        step,
                        line,
                        set: self.set,
                    };
                    self.begun = true;
                    self.ways.arrive(&step, line);
                    let going_min = std::mem::take(&mut self.going_min);
                    if let Some(next) = layer.begins_another(&print) {
                        self.next = next;
                        return Ok(Some(layer));
                    }
                    layer.time_min += time_min(&step) + going_min;
                    layer.prints.push(print);
                }
                Step::Move(step) => {
                    self.going_min += time_min(&step);
                    self.ways.go(&step, seen.after, line);
                }
                Step::Retract => self.ways.hold(),
                Step::Unretract => self.ways.let_go(line),
                Step::Tool(_) | Step::Nothing => {
                    let text = bare(&seen.line);
                    match (setting(&seen.line), seen.line.form()) {
                        (Some(key), _) if heard == Heard::Nothing => {
                            self.set = put(&mut self.settings, key, text);
                        }
                        (None, Form::Quiet | Form::CommentRest) => {}
                        (None, _) if is_feed_or_count(&seen.line) => {}
                        _ => layer.others.push(Other {
                            line,
                            text,
                            ours: heard != Heard::Nothing,
                        }),
                    }
                }
            }
        }
        self.ended = true;
        Ok(Some(layer))
    }

    /// A move that climbs is a layer of its own. Where it was cut, its other pieces are taken in,
    /// each from where the one before ended, up to the end of the move.
    pub(super) fn take_pieces(&mut self, old: &Layer, new: &mut Layer) -> Result<(), WeaveError> {
        let Some(whole) = old.prints.first().filter(|_| old.climbs) else {
            return Ok(());
        };
        while let Some(last) = new.prints.last().filter(|_| new.climbs)
            && self.next.climbs
            && !near(last.step.to, whole.step.to)
            && let Some(next) = self.next.prints.first()
            && near(last.step.to, next.step.from)
            && let Some(more) = self.layer()?
        {
            new.prints.extend(more.prints);
            new.others.extend(more.others);
            new.time_min += more.time_min;
            new.top_mm = new.top_mm.max(more.top_mm);
        }
        Ok(())
    }
}

/// Whether two places are one, but for rounding.
fn near(a: [f64; 3], b: [f64; 3]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-5)
}

impl Layer {
    /// The layer that a move begins, if it is not of this one; else this one's height is known.
    fn begins_another(&mut self, print: &Print) -> Option<Self> {
        let step = &print.step;
        let climbs = (step.from[2] - step.to[2]).abs() > SAME_HEIGHT_MM;
        let top_mm = step.from[2].max(step.to[2]);
        let other = climbs || self.climbs || (top_mm - self.top_mm).abs() > SAME_HEIGHT_MM;
        if !self.prints.is_empty() && other {
            return Some(Self {
                prints: vec![print.clone()],
                time_min: time_min(step),
                top_mm,
                climbs,
                ..Self::default()
            });
        }
        self.top_mm = top_mm;
        self.climbs = climbs;
        None
    }
}

/// How long a move takes, minutes; before the first speed nobody knows.
fn time_min(step: &Move) -> f64 {
    let time_min = step.length_mm() / step.feed_mm_min;
    if time_min.is_finite() { time_min } else { 0.0 }
}

/// Puts a setting in force, and gives what tells all of them from others.
fn put(settings: &mut Vec<(Vec<u8>, Vec<u8>)>, key: Vec<u8>, text: Vec<u8>) -> u64 {
    match settings.iter_mut().find(|(known, _)| *known == key) {
        Some((_, old)) => *old = text,
        None => settings.push((key, text)),
    }
    settings.sort();
    // FNV-1a, enough to tell settings apart.
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for (key, text) in settings.iter() {
        for byte in key.iter().chain(b"=").chain(text).chain(b"\n") {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    hash
}

/// Settings of motion, advance and fans that go with the plastic (common practice, no source).
fn setting(line: &Line<'_>) -> Option<Vec<u8>> {
    let mut words = line.words().iter().filter(|w| w.letter != b'N');
    let first = words.next().filter(|w| w.letter == b'M')?;
    let code = first.value?;
    if line.form() != Form::Words || line.unread().is_some() {
        return None;
    }
    match code {
        106.0 | 107.0 => {
            let mut key = b"fan".to_vec();
            if let Some(number) = words.find(|w| w.letter == b'P') {
                key.extend_from_slice(line.number_text(number));
            }
            Some(key)
        }
        201.0 | 203.0 | 204.0 | 205.0 | 900.0 => {
            let mut key = code.to_string().into_bytes();
            key.extend(words.map(|w| w.letter));
            Some(key)
        }
        _ => None,
    }
}

/// A speed alone, or the count of filament.
fn is_feed_or_count(line: &Line<'_>) -> bool {
    let words = line.words();
    let code = |value: f64| {
        words
            .iter()
            .any(|w| w.letter == b'G' && w.value == Some(value))
    };
    let only = |letters: &[u8]| words.iter().all(|w| letters.contains(&w.letter));
    line.form() == Form::Words
        && line.unread().is_none()
        && (only(b"NF") || only(b"NGF") && (code(0.0) || code(1.0)) || only(b"NGE") && code(92.0))
}

/// A line without its number, its checksum, its comment and its end.
fn bare(line: &Line<'_>) -> Vec<u8> {
    let body = line.body();
    let from = line.line_number().map_or(0, |n| n.to as usize);
    let to = line.checksum().map_or(body.len(), |c| c.at as usize);
    let text = body.get(from..to).unwrap_or_default();
    let end = match line.form() {
        Form::Words => text.iter().position(|b| *b == b';').unwrap_or(text.len()),
        _ => text.len(),
    };
    text.get(..end).unwrap_or_default().trim_ascii().to_vec()
}
