//! Whether one layer is laid as before: every move once, whole or in pieces.

use std::collections::HashMap;

use toolpath::{Move, Path};

use super::declared::Declared;
use super::found::Laws;
use super::layers::{Layer, Other, Print};
use super::pillar::Pillars;
use super::ways::SAME_HEIGHT_MM;

/// A place may be off by rounding of a cut's last decimal, mm, and a piece that is cut again by as
/// much once more; on an arc by that of its centre.
const PLACE_MM: f64 = 2e-6;
const ARC_MM: f64 = 2e-3;

/// So may filament, mm.
const FILAMENT_MM: f64 = 1e-6;

/// Starts are looked up in squares of this side, mm.
const SQUARE_MM: f64 = 1e-3;

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
pub(super) fn compare(
    old: &Layer,
    new: &Layer,
    declared: &[Declared],
    found: &mut Laws,
    pillars: &mut Pillars,
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
    let mut added: Vec<(usize, &Print)> = Vec::with_capacity(waiting.len());
    for piece in waiting {
        let step = &piece.step;
        let within = |d: &Declared| d.holds(step.from) && d.holds(step.to);
        let block = declared.iter().position(within);
        let Some(block) = block.filter(|_| step.path == Path::Straight) else {
            return Some(format!(
                "line {} of the new file prints where the sliced file has no such plastic",
                piece.line
            ));
        };
        found.purged_mm += step.extruded_mm;
        added.push((block, piece));
    }
    if let Some(fault) = pillars.grow(&added, !old.prints.is_empty(), new.top_mm) {
        return Some(fault);
    }
    for wanted in &wanted {
        found.cut += u64::from(wanted.pieces > 1);
        let fed_off_mm = (wanted.fed_mm - wanted.print.step.extruded_mm).abs();
        // A cut's pieces add up to the digit.
        let rounding = FILAMENT_MM + 1e-9 * wanted.print.step.extruded_mm.abs();
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

/// All other lines, in order; what the dialect understands may be new.
fn others(old: &Layer, new: &Layer) -> Option<String> {
    let mut there = new.others.iter().peekable();
    for Other { line, text, .. } in &old.others {
        while there.next_if(|o| o.ours && o.text != *text).is_some() {}
        if there.next_if(|o| o.text == *text).is_none() {
            return Some(format!(
                "line {line} of the sliced file ({}) is missing or elsewhere",
                String::from_utf8_lossy(text.get(..40.min(text.len())).unwrap_or_default())
            ));
        }
    }
    let more = there.find(|other| !other.ours)?;
    let line = more.line;
    Some(format!(
        "line {line} of the new file is not from the sliced file"
    ))
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
    let mut to = match of.path {
        Path::Straight => along(of, part.to),
        Path::Arc(_) => from + part.length_mm() / whole.length_mm,
    };
    if distance(part.to, of.to) <= close_mm && to > 1.0 - 1e-2 {
        to = 1.0;
    }
    let middle = 0.5 * (from + to);
    let fed_mm = of.extruded_mm * (to - from);
    // Where much is fed on a short way, the rounding of a cut's place is plastic too.
    let flow = of.extruded_mm.abs() / whole.length_mm;
    let fed_off_mm = 2.0 * (FILAMENT_MM + flow * PLACE_MM);
    let fits = to > from
        && to <= 1.0
        && distance(part.from, of.at(from)) <= close_mm
        && distance(part.to, of.at(to)) <= close_mm
        && distance(part.at(0.5), of.at(middle)) <= close_mm
        && (part.extruded_mm - fed_mm).abs() <= fed_off_mm;
    fits.then_some(to)
}

/// How far along a straight move a place is: the nearest place of it.
fn along(of: &Move, place: [f64; 3]) -> f64 {
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let from = |to: [f64; 3]| [to[0] - of.from[0], to[1] - of.from[1], to[2] - of.from[2]];
    let way = from(of.to);
    dot(from(place), way) / dot(way, way)
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let [x, y, z] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    x.hypot(y).hypot(z)
}
