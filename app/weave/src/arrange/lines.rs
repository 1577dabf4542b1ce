//! Lines of a toolpath held for a while, with the machine as it was before each.

use std::rc::Rc;

use toolpath::{Cautions, Distance, Form, Line, MachineState, Move, Step, Word};

/// A line that is held.
#[derive(Clone, Debug)]
pub(super) struct Held {
    /// Its bytes, its end included.
    pub bytes: Vec<u8>,
    /// Its words and comment: no line number, no checksum, no end.
    pub bare: std::ops::Range<usize>,
    /// It has a line number.
    pub numbered: bool,
    /// The machine before it.
    pub before: MachineState,
    /// The settings in force before it.
    pub set: Rc<Settled>,
    pub kind: Kind,
}

/// What a line is to one who would move it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// Lays plastic on its way.
    Print(Move),
    /// Goes, draws back or feeds, and lays nothing on a way.
    Go(Move),
    /// The firmware draws back, or gives again.
    Back,
    Again,
    /// A speed alone.
    Feed,
    /// A setting that stays in force: it goes with the plastic.
    Setting,
    /// A message or a count: it stays in order, and nothing depends on it.
    Message,
    /// Blank, or a comment.
    Quiet,
    /// Nothing may be moved past it.
    Wall,
}

/// Settings in force: each with the line that made it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Settled(pub Vec<(Vec<u8>, Vec<u8>)>);

impl Settled {
    pub(super) fn get(&self, key: &[u8]) -> Option<&[u8]> {
        let found = self.0.iter().find(|(known, _)| known == key);
        found.map(|(_, text)| text.as_slice())
    }

    /// With one more line; whether its key was known.
    pub(super) fn with(&self, key: Vec<u8>, text: Vec<u8>) -> (Self, bool) {
        let mut next = self.clone();
        match next.0.iter_mut().find(|(known, _)| *known == key) {
            Some((_, old)) => {
                *old = text;
                (next, true)
            }
            None => {
                next.0.push((key, text));
                (next, false)
            }
        }
    }
}

impl Held {
    pub(super) fn bare(&self) -> &[u8] {
        self.bytes.get(self.bare.clone()).unwrap_or_default()
    }

    pub(super) fn print(&self) -> Option<&Move> {
        match &self.kind {
            Kind::Print(step) => Some(step),
            _ => None,
        }
    }

    /// Takes a line from its reader.
    pub(super) fn of(
        line: &Line<'_>,
        step: Step,
        before: &MachineState,
        after: &MachineState,
        set: &Rc<Settled>,
    ) -> Self {
        let body = line.body();
        let from = line.line_number().map_or(0, |n| n.to as usize);
        let to = line.checksum().map_or(body.len(), |c| c.at as usize);
        let skip = body.get(from..to).map_or(0, |rest| {
            rest.iter().take_while(|b| **b == b' ').count() * usize::from(from > 0)
        });
        Self {
            bytes: line.bytes().to_vec(),
            bare: from + skip..to.max(from + skip),
            numbered: line.line_number().is_some(),
            before: *before,
            set: Rc::clone(set),
            kind: kind(line, step, before, after),
        }
    }

    /// A line of our own making, carried out on a machine.
    pub(super) fn made(
        text: &[u8],
        end: &[u8],
        numbered: bool,
        before: MachineState,
        set: &Rc<Settled>,
    ) -> (Self, MachineState) {
        let mut bytes = text.to_vec();
        bytes.extend_from_slice(end);
        let mut after = before;
        let mut words: Vec<Word> = Vec::new();
        let (step, kind) = {
            let line = Line::parse(&bytes, &mut words);
            let step = after.apply(&line, &mut Cautions::new());
            (step, kind(&line, step, &before, &after))
        };
        let _ = step;
        let held = Self {
            bare: 0..text.len(),
            bytes,
            numbered,
            before,
            set: Rc::clone(set),
            kind,
        };
        (held, after)
    }
}

/// The key of a setting that stays in force until it is made anew: acceleration, jerk, the
/// extruder's advance, fans (common practice, no source). A fan's number is part of its key.
pub(super) fn setting(line: &Line<'_>) -> Option<Vec<u8>> {
    if line.form() != Form::Words || line.unread().is_some() {
        return None;
    }
    let mut words = line.words().iter().filter(|w| w.letter != b'N');
    let first = words.next()?;
    let code = first.value.filter(|_| first.letter == b'M')?;
    if ![106.0, 107.0, 201.0, 203.0, 204.0, 205.0, 900.0].contains(&code) {
        return None;
    }
    let fan = code == 106.0 || code == 107.0;
    let mut key = format!("M{}", if fan { 106.0 } else { code }).into_bytes();
    for word in words {
        match (fan, word.letter) {
            (_, b'G' | b'M' | b'T') => return None,
            (true, b'P') => key.extend_from_slice(line.number_text(word)),
            (true, _) => {}
            (false, letter) => key.push(letter),
        }
    }
    Some(key)
}

/// Messages, progress and waiting for nothing (common practice, no source).
fn is_message(line: &Line<'_>) -> bool {
    let mut words = line.words().iter().filter(|w| w.letter != b'N');
    let first = words.next();
    first.is_some_and(|w| {
        w.letter == b'M' && w.value.is_some_and(|v| [73.0, 117.0, 118.0].contains(&v))
    })
}

fn kind(line: &Line<'_>, step: Step, before: &MachineState, after: &MachineState) -> Kind {
    match step {
        Step::Move(step) => {
            // Modes left open by an earlier line can't be carried along.
            let words = line.words();
            let said = words.iter().any(|w| w.letter == b'G');
            let alone = words.iter().all(|w| match w.letter {
                b'G' => w.value.is_some_and(|v| [0.0, 1.0, 2.0, 3.0].contains(&v)),
                letter => b"NXYZEFIJKR".contains(&letter),
            });
            let absolute = before.distance() == Distance::Absolute;
            if !said || !alone || !absolute || line.unread().is_some() {
                return Kind::Wall;
            }
            match step.prints() {
                true => Kind::Print(step),
                // Plastic at one spot, beyond what was drawn back, belongs where it is.
                false if step.fresh_mm > 1e-4 => Kind::Wall,
                false => Kind::Go(step),
            }
        }
        Step::Retract => Kind::Back,
        Step::Unretract => Kind::Again,
        Step::Tool(_) => Kind::Wall,
        Step::Nothing => match line.form() {
            Form::Quiet => Kind::Quiet,
            Form::Words if is_feed(line) && line.unread().is_none() => Kind::Feed,
            Form::Words if is_zeroing(line, before, after) => Kind::Feed,
            Form::Words if setting(line).is_some() => Kind::Setting,
            Form::Words if is_message(line) => Kind::Message,
            _ => Kind::Wall,
        },
    }
}

/// `G1 F1800` and the like.
fn is_feed(line: &Line<'_>) -> bool {
    line.words().iter().all(|w| match w.letter {
        b'G' => w.value.is_some_and(|v| v == 0.0 || v == 1.0),
        letter => letter == b'F' || letter == b'N',
    })
}

/// `G92 E0`: the count of filament, which is set anew as needed.
fn is_zeroing(line: &Line<'_>, before: &MachineState, after: &MachineState) -> bool {
    line.words()
        .iter()
        .any(|w| w.letter == b'G' && w.value == Some(92.0))
        && line.words().iter().any(|w| w.letter == b'E')
        && before.place_mm() == after.place_mm()
        && before.file_place() == after.file_place()
        && line.unread().is_none()
        && line.words().iter().all(|w| b"NGE".contains(&w.letter))
}
