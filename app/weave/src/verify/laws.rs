//! The rules for a toolpath whose runs changed places: is it still the same print?
//!
//! Both files are read layer by layer. Every move that laid plastic before must be laid again
//! in its layer, whole or in pieces that cover it once: the same way, filament, speed and
//! settings. Plastic that is new lies in the declared purge block. Ways are gone as the file
//! goes them: with the strand drawn back where they are long, and never beneath what is laid.
//! All other lines are there, in order.
//!
//! Nothing of the weaving is used here but the reader and the dialect.

use std::collections::HashMap;
use std::io::Read;

use geometry::Progress;
use toolpath::{Form, Line, Move, Path, Replay, Settings, Step};

use crate::WeaveError;
use crate::dialect::{Heard, Listener};

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Laws {
    /// Moves of the toolpath from before that lay plastic.
    pub moves: u64,
    /// Moves that are in pieces now.
    pub cut: u64,
    /// Filament that went into the purge block, mm.
    pub purged_mm: f64,
    /// The longest way between two places of plastic that is gone without drawing the strand
    /// back, mm: before, and now.
    pub dry_mm: [f64; 2],
    /// The first law that is broken.
    pub fault: Option<String>,
}

/// The purge block as the woven file's head declares it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Declared {
    /// Low corner, mm.
    pub low_mm: [f64; 2],
    /// High corner, mm.
    pub high_mm: [f64; 2],
    /// It ends at this height, mm.
    pub top_mm: f64,
}

impl Declared {
    /// Reads a comment's text; `None` if it is another.
    pub fn of(comment: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(comment).ok()?.trim();
        let rest = text.strip_prefix("Purge block: x ")?;
        let numbers: Vec<f64> = rest
            .split_whitespace()
            .filter_map(|word| word.parse().ok())
            .collect();
        match numbers.as_slice() {
            [x0, x1, y0, y1, top_mm] => Some(Self {
                low_mm: [*x0, *y0],
                high_mm: [*x1, *y1],
                top_mm: *top_mm,
            }),
            _ => None,
        }
    }

    fn holds(&self, place: [f64; 3]) -> bool {
        const HAIR_MM: f64 = 2e-3;
        let within = |axis: usize| {
            let of = |corner: [f64; 2]| corner.get(axis).copied().unwrap_or(f64::NAN);
            let at = place.get(axis).copied().unwrap_or(f64::NAN);
            at >= of(self.low_mm) - HAIR_MM && at <= of(self.high_mm) + HAIR_MM
        };
        within(0) && within(1) && place[2] <= self.top_mm + HAIR_MM
    }
}

/// Heights nearer than this are one layer's, mm.
const SAME_HEIGHT_MM: f64 = 1e-4;

/// A place may be off by rounding of the numbers' last decimals, mm; on an arc by that of its
/// centre.
const PLACE_MM: f64 = 3e-6;
const ARC_MM: f64 = 2e-3;

/// So may filament, mm.
const FILAMENT_MM: f64 = 4e-6;

/// Ways shorter than this are never drawn back for, mm.
const SHORT_MM: f64 = 0.5;

/// Starts are looked up in squares of this side, mm.
const SQUARE_MM: f64 = 1e-3;

/// A move that lays plastic, and how.
#[derive(Clone, Debug)]
struct Print {
    step: Move,
    line: u64,
    /// The settings in force.
    set: u64,
}

/// What is laid at one height, and the other lines up to the next.
#[derive(Debug, Default)]
struct Layer {
    prints: Vec<Print>,
    others: Vec<(u64, Vec<u8>)>,
    top_mm: f64,
    climbs: bool,
}

struct Layers<'a, R> {
    replay: Replay<R>,
    listener: Option<&'a mut Listener>,
    settings: Vec<(Vec<u8>, Vec<u8>)>,
    set: u64,
    next: Layer,
    ended: bool,
    /// Filament fed at one spot beyond what was drawn back, mm.
    primed_mm: f64,
    /// Since the last plastic: length gone with the strand out, lowest place, firmware's hold.
    dry_mm: f64,
    lowest_mm: f64,
    held: bool,
    /// It draws the strand back somewhere.
    draws: bool,
    last: Option<[f64; 3]>,
    longest_dry_mm: f64,
    longest_line: u64,
    dips: Option<u64>,
    declared: Option<Declared>,
}

impl<'a, R: Read> Layers<'a, R> {
    fn new(file: R, settings: Settings, listener: Option<&'a mut Listener>) -> Self {
        Self {
            replay: Replay::new(file, settings),
            listener,
            settings: Vec::new(),
            set: 0,
            next: Layer::default(),
            ended: false,
            primed_mm: 0.0,
            dry_mm: 0.0,
            lowest_mm: f64::INFINITY,
            held: false,
            draws: false,
            last: None,
            longest_dry_mm: 0.0,
            longest_line: 0,
            dips: None,
            declared: None,
        }
    }

    /// The next layer; `None` after the last.
    fn layer(&mut self) -> Result<Option<Layer>, WeaveError> {
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
            if self.declared.is_none()
                && seen.line.form() == Form::Quiet
                && let Some(comment) = seen.line.comment()
            {
                self.declared = Declared::of(comment);
            }
            match seen.step {
                Step::Move(step) if step.prints() => {
                    let climbs = (step.from[2] - step.to[2]).abs() > SAME_HEIGHT_MM;
                    let top_mm = step.from[2].max(step.to[2]);
                    let print = Print {
                        step,
                        line,
                        set: self.set,
                    };
                    arrive(
                        &step,
                        line,
                        (&mut self.dry_mm, &mut self.lowest_mm),
                        (&mut self.longest_dry_mm, &mut self.longest_line),
                        &mut self.dips,
                        self.last,
                    );
                    self.last = Some(step.to);
                    let other =
                        climbs || layer.climbs || (top_mm - layer.top_mm).abs() > SAME_HEIGHT_MM;
                    if !layer.prints.is_empty() && other {
                        self.next = Layer {
                            prints: vec![print],
                            others: Vec::new(),
                            top_mm,
                            climbs,
                        };
                        return Ok(Some(layer));
                    }
                    layer.top_mm = top_mm;
                    layer.climbs = climbs;
                    layer.prints.push(print);
                }
                Step::Move(step) => {
                    if step.fresh_mm > 0.0 {
                        self.primed_mm += step.fresh_mm;
                    }
                    self.draws |= step.extruded_mm < 0.0;
                    let out = seen.after.fed_mm() > seen.after.most_fed_mm() - 1e-4;
                    if out && !self.held && step.extruded_mm == 0.0 {
                        self.dry_mm += level(step.from, step.to);
                    }
                    self.lowest_mm = self.lowest_mm.min(step.from[2]).min(step.to[2]);
                }
                Step::Retract => {
                    self.held = true;
                    self.draws = true;
                }
                Step::Unretract => self.held = false,
                Step::Tool(_) | Step::Nothing => {
                    if heard != Heard::Nothing {
                        continue;
                    }
                    match (setting(&seen.line), seen.line.form()) {
                        (Some(key), _) => {
                            let text = bare(&seen.line);
                            self.set = put(&mut self.settings, key, text);
                        }
                        (None, Form::Quiet | Form::CommentRest) => {}
                        (None, _) if is_feed_or_count(&seen.line) => {}
                        (None, _) => layer.others.push((line, bare(&seen.line))),
                    }
                }
            }
        }
        self.ended = true;
        Ok(Some(layer))
    }
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

/// Ends a way at a move that lays plastic.
fn arrive(
    step: &Move,
    line: u64,
    (dry_mm, lowest_mm): (&mut f64, &mut f64),
    (longest_mm, longest_line): (&mut f64, &mut u64),
    dips: &mut Option<u64>,
    last: Option<[f64; 3]>,
) {
    if let Some(last) = last {
        // From layer to layer every file goes as it likes.
        let level = (last[2] - step.from[2]).abs() < SAME_HEIGHT_MM;
        if level && *dry_mm > *longest_mm {
            *longest_mm = *dry_mm;
            *longest_line = line;
        }
        if *lowest_mm < last[2].min(step.from[2]) - SAME_HEIGHT_MM {
            dips.get_or_insert(line);
        }
    }
    *dry_mm = 0.0;
    *lowest_mm = f64::INFINITY;
}

fn level(a: [f64; 3], b: [f64; 3]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
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

/// Holds two files against the laws; `after` may hold blend commands that `listener` hears.
///
/// # Errors
/// When one can't be read, or when cancelled.
pub fn check(
    before: impl Read,
    after: impl Read,
    settings: Settings,
    listener: Option<&mut Listener>,
    declared: Option<Declared>,
    size_bytes: u64,
    progress: &Progress,
) -> Result<Laws, WeaveError> {
    let mut was = Layers::new(before, settings, None);
    let mut now = Layers::new(after, settings, listener);
    now.declared = declared;
    let mut found = Laws::default();
    let mut block_ended = false;
    loop {
        progress.set(now.replay.offset() as f32 / size_bytes.max(1) as f32);
        progress.check()?;
        let (old, new) = match (was.layer()?, now.layer()?) {
            (None, None) => break,
            (Some(old), Some(new)) => (old, new),
            (Some(old), None) => {
                found.fault = Some(format!(
                    "the plastic at {:.3} mm is missing at the end of the file",
                    old.top_mm
                ));
                break;
            }
            (None, Some(new)) => {
                found.fault = Some(format!("a layer at {:.3} mm is new", new.top_mm));
                break;
            }
        };
        let fault = compare(&old, &new, now.declared, &mut found, &mut block_ended);
        if fault.is_some() {
            found.fault = fault;
            break;
        }
    }
    found.dry_mm = [was.longest_dry_mm, now.longest_dry_mm];
    if found.fault.is_none() {
        found.fault = ways(&was, &now);
    }
    Ok(found)
}

/// The laws of the ways between.
fn ways<A, B>(was: &Layers<'_, A>, now: &Layers<'_, B>) -> Option<String> {
    if let Some(line) = now.dips.filter(|_| was.dips.is_none()) {
        return Some(format!(
            "before line {line} the nozzle goes below printed plastic"
        ));
    }
    // A file that never draws back has no length from which on it does.
    if was.draws && now.longest_dry_mm > was.longest_dry_mm.max(SHORT_MM) + 0.01 {
        return Some(format!(
            "before line {} the nozzle travels {:.1} mm without retraction; the sliced file \
             travels at most {:.1} mm this way",
            now.longest_line, now.longest_dry_mm, was.longest_dry_mm
        ));
    }
    if (now.primed_mm - was.primed_mm).abs() > 1e-3 {
        return Some(format!(
            "{:+.4} mm of filament is fed at one spot",
            now.primed_mm - was.primed_mm
        ));
    }
    None
}

type Square = (i64, i64);

fn square(place: [f64; 3]) -> Square {
    let cell = |v: f64| (v / SQUARE_MM).round().clamp(-1e15, 1e15) as i64;
    (cell(place[0]), cell(place[1]))
}

/// The square of a place and those about it.
fn around(place: [f64; 3]) -> impl Iterator<Item = Square> {
    let (x, y) = square(place);
    (-1..=1).flat_map(move |dx| (-1..=1).map(move |dy| (x + dx, y + dy)))
}

/// A move from before, and how much of it was found.
struct Wanted<'a> {
    print: &'a Print,
    length_mm: f64,
    /// Part of its way that was laid again, and filament.
    laid: f64,
    fed_mm: f64,
    pieces: u64,
}

/// Places where pieces may begin: which move, and how far along it.
type Starts = HashMap<Square, Vec<(usize, f64)>>;

/// Compares one layer; gives the first law that is broken.
fn compare(
    old: &Layer,
    new: &Layer,
    declared: Option<Declared>,
    found: &mut Laws,
    block_ended: &mut bool,
) -> Option<String> {
    if !old.prints.is_empty() && (old.top_mm - new.top_mm).abs() > SAME_HEIGHT_MM {
        return Some(format!(
            "after the layers below, {:.3} mm is printed in place of {:.3} mm",
            new.top_mm, old.top_mm
        ));
    }
    let mut wanted: Vec<Wanted<'_>> = Vec::with_capacity(old.prints.len());
    let mut starts: Starts = HashMap::with_capacity(old.prints.len());
    for print in &old.prints {
        let key = square(print.step.from);
        starts.entry(key).or_default().push((wanted.len(), 0.0));
        wanted.push(Wanted {
            print,
            length_mm: print.step.length_mm(),
            laid: 0.0,
            fed_mm: 0.0,
            pieces: 0,
        });
    }
    found.moves += wanted.len() as u64;
    // A piece that begins where another one ends waits until that one is found.
    let mut waiting: Vec<&Print> = new.prints.iter().collect();
    loop {
        let count = waiting.len();
        waiting.retain(|piece| !take(piece, &mut wanted, &mut starts));
        if waiting.is_empty() || waiting.len() == count {
            break;
        }
    }
    let mut purged = false;
    for piece in waiting {
        let step = &piece.step;
        let inside = declared
            .is_some_and(|d| step.path == Path::Straight && d.holds(step.from) && d.holds(step.to));
        if !inside {
            return Some(format!(
                "line {} of the new file prints where the sliced file has no such plastic",
                piece.line
            ));
        }
        purged = true;
        found.purged_mm += step.extruded_mm;
    }
    if purged && *block_ended {
        return Some(format!(
            "the purge block continues at {:.3} mm above a layer without it",
            new.top_mm
        ));
    }
    *block_ended |= !purged && !old.prints.is_empty();
    for wanted in &wanted {
        found.cut += u64::from(wanted.pieces > 1);
        let fed_off_mm = (wanted.fed_mm - wanted.print.step.extruded_mm).abs();
        let rounding = FILAMENT_MM * wanted.pieces.max(1) as f64;
        if (wanted.laid - 1.0).abs() > 1e-3 / wanted.length_mm.max(1e-3) || fed_off_mm > rounding {
            return Some(format!(
                "the move of line {} of the sliced file is printed {:.3} times, with {:+.6} mm of \
                 filament",
                wanted.print.line,
                wanted.laid,
                wanted.fed_mm - wanted.print.step.extruded_mm
            ));
        }
    }
    others(old, new)
}

/// All other lines, in order.
fn others(old: &Layer, new: &Layer) -> Option<String> {
    for (index, (line, text)) in old.others.iter().enumerate() {
        match new.others.get(index) {
            Some((_, there)) if there == text => {}
            _ => {
                return Some(format!(
                    "line {line} of the sliced file ({}) is missing or elsewhere",
                    String::from_utf8_lossy(text.get(..40.min(text.len())).unwrap_or_default())
                ));
            }
        }
    }
    let more = new.others.get(old.others.len());
    more.map(|(line, _)| format!("line {line} of the new file is not from the sliced file"))
}

/// Looks for the move that a piece is of; whether it was found.
fn take(piece: &Print, wanted: &mut [Wanted<'_>], starts: &mut Starts) -> bool {
    let found = around(piece.step.from)
        .filter_map(|key| starts.get(&key))
        .flatten()
        .find_map(|(index, from)| {
            let whole = wanted.get(*index)?;
            Some((*index, *from, reaches(piece, whole, *from)?))
        });
    let Some((index, from, to)) = found else {
        return false;
    };
    if let Some(whole) = wanted.get_mut(index) {
        whole.laid += to - from;
        whole.fed_mm += piece.step.extruded_mm;
        whole.pieces += 1;
    }
    for key in around(piece.step.from) {
        if let Some(list) = starts.get_mut(&key) {
            list.retain(|start| *start != (index, from));
        }
    }
    if to < 1.0 {
        starts
            .entry(square(piece.step.to))
            .or_default()
            .push((index, to));
    }
    true
}

/// How far along a move a piece of it that begins at `from` reaches; `None` if it is no piece
/// of it.
fn reaches(piece: &Print, whole: &Wanted<'_>, from: f64) -> Option<f64> {
    let (part, of) = (&piece.step, &whole.print.step);
    let close_mm = match of.path {
        Path::Straight => PLACE_MM,
        Path::Arc(_) => ARC_MM,
    };
    let same = matches!(
        (part.path, of.path),
        (Path::Straight, Path::Straight) | (Path::Arc(_), Path::Arc(_))
    ) && part.rapid == of.rapid
        && (part.feed_mm_min - of.feed_mm_min).abs() < 1e-6
        && piece.set == whole.print.set;
    if !same || whole.length_mm <= 0.0 {
        return None;
    }
    let mut to = from + part.length_mm() / whole.length_mm;
    if distance(part.to, of.to) <= close_mm && to > 1.0 - 1e-2 {
        to = 1.0;
    }
    let middle = 0.5 * (from + to);
    let fed_mm = of.extruded_mm * (to - from);
    let fits = to <= 1.0
        && distance(part.from, of.at(from)) <= close_mm
        && distance(part.to, of.at(to)) <= close_mm
        && distance(part.at(0.5), of.at(middle)) <= close_mm
        && (part.extruded_mm - fed_mm).abs() <= FILAMENT_MM + 1e-6 * fed_mm.abs();
    fits.then_some(to)
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let [x, y, z] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    x.hypot(y).hypot(z)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEFORE: &str = "\
G21\nG90\nM83\nM106 S80\nG1 Z0.2 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nG1 X10 Y10 E0.5\n\
G1 E-1 F1800\nG0 X30 Y0 F9000\nG1 E1 F1800\nM106 S255\nG1 F1200\nG1 X40 Y0 E0.5\nM73 P50\n\
G1 Z0.4 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nM107\n";

    /// The second run first, and the first one cut.
    const AFTER: &str = "\
; Purge block: x 50.000 60.000 y 0.000 10.000 up to 0.400 mm\n\
G21\nG90\nM83\nM106 S80\nG1 Z0.2 F9000\nG1 X30 Y0\nM106 S255\nG1 F1200\nG1 X40 Y0 E0.5\n\
G1 E-1 F1800\nG0 X4 Y0 F9000\nG1 E1 F1800\nM106 S80\nG1 F1200\nG1 X10 Y0 E0.3\nG1 X10 Y10 E0.5\n\
G1 E-1 F1800\nG0 X50 Y5 F9000\nG1 E1 F1800\nG1 X60 Y5 E0.4 F1200\n\
G1 E-1 F1800\nG0 X0 Y0 F9000\nG1 E1 F1800\nG1 F1200\nG1 X4 Y0 E0.2\nM106 S255\nM73 P50\n\
G1 Z0.4 F9000\nG1 X0 Y0\nG1 F1200\nG1 X10 Y0 E0.5\nM107\n";

    fn fault(after: &str) -> Option<String> {
        let settings = Settings::default();
        let progress = Progress::new();
        let laws = check(
            BEFORE.as_bytes(),
            after.as_bytes(),
            settings,
            None,
            None,
            0,
            &progress,
        )
        .expect("text");
        laws.fault
    }

    #[test]
    fn runs_may_change_places_and_be_cut() {
        assert_eq!(fault(BEFORE), None);
        assert_eq!(fault(AFTER), None);
    }

    #[test]
    fn every_law_can_be_broken() {
        for (old, new, says) in [
            ("G1 X4 Y0 E0.2\n", "", "has no such plastic"),
            ("G1 X10 Y0 E0.3\n", "", "has no such plastic"),
            ("G1 X10 Y10 E0.5\n", "", "is printed 0.000 times"),
            (
                "G1 X10 Y0 E0.3\n",
                "G1 X10 Y0.1 E0.3\n",
                "has no such plastic",
            ),
            (
                "G1 X10 Y0 E0.3\n",
                "G1 X10 Y0 E0.31\n",
                "has no such plastic",
            ),
            (
                "G1 F1200\nG1 X40",
                "G1 F1500\nG1 X40",
                "has no such plastic",
            ),
            (
                "M106 S80\nG1 F1200\nG1 X10",
                "G1 F1200\nG1 X10",
                "has no such plastic",
            ),
            ("G1 X60 Y5 E0.4", "G1 X61 Y5 E0.4", "has no such plastic"),
            ("M73 P50\n", "", "M73 P50"),
            ("M73 P50\n", "M73 P50\nM104 S10\n", "not from the sliced"),
            ("G1 Z0.4 F9000\n", "G1 Z0.4 F9000\nG1 Z0.3\nG1 Z0.4\n", ""),
            (
                "G0 X4 Y0 F9000\n",
                "G0 X4 Y0 Z0.1 F9000\nG0 Z0.2\n",
                "below printed plastic",
            ),
            (
                "G1 E-1 F1800\nG0 X4 Y0 F9000\nG1 E1 F1800\n",
                "G0 X4 Y0 F9000\n",
                "without retraction",
            ),
            ("G1 X10 Y0 E0.5\nM107\n", "", "is missing"),
        ] {
            let broken = AFTER.replacen(old, new, 1);
            assert_ne!(broken, AFTER, "{old}");
            let told = fault(&broken).unwrap_or_default();
            match says {
                "" => assert_eq!(told, ""),
                _ => assert!(told.contains(says), "{old}: {told}"),
            }
        }
    }
}
