//! One move cut into several that lay down the same plastic along the same way.
//!
//! The pieces end where the move ended, to the digit, and feed what it fed, to the digit: sums
//! are kept in decimal numbers, not in floating point. Cuts between them are rounded to a
//! micrometre's thousandth.

use crate::number::Decimal;
use crate::{Arc, Distance, Form, Line, MachineState, Move, Path, Units, Word};

/// Why a move was left whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WhyWhole {
    /// The line does something besides moving, which must not be done twice.
    #[error("the line does more than move")]
    MoreThanAMove,
    /// Not all of it can be read.
    #[error("the line can't be read in full")]
    Unread,
    /// Its arc can't be drawn.
    #[error("its arc can't be drawn")]
    BadArc,
    /// A number is too great or has too many decimals to be kept exactly.
    #[error("a number in it can't be kept exactly")]
    Digits,
}

/// The text of each piece, without checksum and end of line. Kept and filled again to spare
/// allocations.
#[derive(Clone, Debug, Default)]
pub struct Pieces {
    text: Vec<u8>,
    /// Where each piece's words end, and where the piece ends.
    ends: Vec<(usize, usize)>,
}

impl Pieces {
    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// One of them; nothing past the last.
    pub fn get(&self, index: usize) -> &[u8] {
        let to = self.ends.get(index).map_or(usize::MAX, |e| e.1);
        self.text.get(self.start(index)..to).unwrap_or_default()
    }

    /// One of them in two parts: up to its last word, and the comment after it.
    pub(crate) fn parts(&self, index: usize) -> (&[u8], &[u8]) {
        let words = self.ends.get(index).map_or(usize::MAX, |e| e.0);
        self.get(index)
            .split_at_checked(words.saturating_sub(self.start(index)))
            .unwrap_or_default()
    }

    /// Takes a line whole, as the only piece.
    pub fn whole(&mut self, line: &Line<'_>) {
        self.clear();
        let body = line.body();
        let end = line.checksum().map_or(body.len(), |c| c.at as usize);
        let words = line
            .words()
            .last()
            .map_or(0, |w| w.to.max(w.at + 1) as usize);
        self.text
            .extend_from_slice(body.get(..end).unwrap_or_default());
        self.finish(words.min(end));
    }

    fn start(&self, index: usize) -> usize {
        match index.checked_sub(1) {
            None => 0,
            Some(before) => self.ends.get(before).map_or(usize::MAX, |e| e.1),
        }
    }

    fn clear(&mut self) {
        self.text.clear();
        self.ends.clear();
    }

    /// Ends a piece whose words end at `words` of the text.
    fn finish(&mut self, words: usize) {
        self.ends.push((words, self.text.len()));
    }
}

const AXES: [u8; 3] = [b'X', b'Y', b'Z'];

/// Cuts a move at fractions of its way, which must rise within 0 to 1, the ends left out.
///
/// `line` is the move's line, `before` and `after` the machine on either side of it, as
/// [`crate::Replayed`] gives them. The first piece keeps the line's other words and comments;
/// the first piece keeps its line number too.
///
/// # Errors
/// [`WhyWhole`]; the pieces are then of no use.
///
/// ```
/// use toolpath::{Pieces, Replay, Settings, Step, split};
/// let mut replay = Replay::new(&b"M83\nG1 X10 E0.5 F900 ; wall\n"[..], Settings::default());
/// let mut pieces = Pieces::new();
/// while let Some(seen) = replay.advance()? {
///     if let Step::Move(step) = seen.step {
///         split(&seen.line, seen.before, seen.after, &step, &[0.25], &mut pieces)?;
///     }
/// }
/// assert_eq!(pieces.get(0), b"G1 X2.5 E0.125 F900 ; wall");
/// assert_eq!(pieces.get(1), b"G1 X10 E0.375");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn split(
    line: &Line<'_>,
    before: &MachineState,
    after: &MachineState,
    step: &Move,
    cuts: &[f64],
    pieces: &mut Pieces,
) -> Result<(), WhyWhole> {
    pieces.clear();
    if cuts.is_empty() {
        pieces.whole(line);
        return Ok(());
    }
    check(line, after, step)?;
    let plan = Plan::new(line, before, after, step)?;
    let mut start = plan.start;
    for (index, cut) in cuts.iter().map(Some).chain([None]).enumerate() {
        let end = match cut {
            Some(cut) => plan.stop_at(*cut)?,
            None => plan.end,
        };
        let piece = plan.piece(&start, &end, cut.is_none())?;
        let words = match index {
            0 => piece.write_first(line, &mut pieces.text),
            _ => piece.write_later(line, plan.code, &mut pieces.text),
        };
        pieces.finish(words);
        start = end;
    }
    Ok(())
}

/// Only lines that are one move and nothing else can be said twice.
fn check(line: &Line<'_>, after: &MachineState, step: &Move) -> Result<(), WhyWhole> {
    if line.unread().is_some() || line.form() != Form::Words {
        return Err(WhyWhole::Unread);
    }
    let turns = after.motion_turns();
    if turns && step.path == Path::Straight {
        return Err(WhyWhole::BadArc);
    }
    let mut seen = 0_u32;
    for word in line.words() {
        let value = word.value.ok_or(WhyWhole::Unread)?;
        match word.letter {
            // Motion, planes, units, distance mode, feed mode: the same if said once.
            b'G' if [0., 1., 2., 3., 17., 18., 19., 20., 21., 90., 91., 94.].contains(&value) => {}
            b'G' | b'M' | b'T' => return Err(WhyWhole::MoreThanAMove),
            b'P' if turns => return Err(WhyWhole::MoreThanAMove),
            letter => {
                let bit = 1 << (letter.wrapping_sub(b'A') & 31);
                if seen & bit != 0 {
                    return Err(WhyWhole::Unread);
                }
                seen |= bit;
            }
        }
    }
    Ok(())
}

/// Place and filament at one cut, counted from the origin or from the start of the move as the
/// file counts them.
#[derive(Clone, Copy, Debug)]
struct Stop {
    place: [Decimal; 3],
    e: Decimal,
}

/// All that the pieces of one move have in common.
struct Plan<'a> {
    step: &'a Move,
    after: &'a MachineState,
    /// Which axes each piece names.
    named: [bool; 3],
    e_named: bool,
    /// The line's own words for its end, where it has them.
    own: [Option<&'a [u8]>; 3],
    own_e: Option<&'a [u8]>,
    place_decimals: u32,
    e_decimals: u32,
    /// The move's start in the file's count.
    origin: [f64; 3],
    e_origin: f64,
    e_fed: f64,
    start: Stop,
    end: Stop,
    code: u8,
    /// The line gives its arc by radius.
    by_radius: bool,
}

impl<'a> Plan<'a> {
    fn new(
        line: &Line<'a>,
        before: &MachineState,
        after: &'a MachineState,
        step: &'a Move,
    ) -> Result<Self, WhyWhole> {
        let text = |letter: u8| {
            let word = line.words().iter().find(|w| w.letter == letter)?;
            Some(line.number_text(word))
        };
        let own = AXES.map(text);
        let own_e = text(b'E');
        let least = match after.units() {
            Units::Millimetres => 6,
            Units::Inches => 8,
        };
        let decimals = |text: Option<&[u8]>| match text.map(Decimal::from_text) {
            Some(None) => Err(WhyWhole::Digits),
            Some(Some(number)) => Ok(number.decimals().max(least)),
            None => Ok(least),
        };
        let place_decimals = own.iter().try_fold(least, |most, text| {
            Ok::<u32, WhyWhole>(most.max(decimals(*text)?))
        })?;
        let mut named = own.map(|text| text.is_some());
        let code = match step.path {
            Path::Straight if step.rapid => b'0',
            Path::Straight => b'1',
            Path::Arc(arc) => {
                let turning = arc.plane.restored([true, true, false]);
                for (named, turns) in named.iter_mut().zip(turning) {
                    *named |= turns;
                }
                if arc.sweep < 0.0 { b'2' } else { b'3' }
            }
        };
        let zero = Decimal::nearest(0.0, 0).ok_or(WhyWhole::Digits)?;
        let nothing = Stop {
            place: [zero; 3],
            e: zero,
        };
        let e_origin = before.e_in_units_of(after);
        let mut plan = Self {
            step,
            after,
            named,
            e_named: own_e.is_some(),
            own,
            own_e,
            place_decimals,
            e_decimals: decimals(own_e)?,
            origin: after.to_file(step.from),
            e_origin,
            e_fed: after.file_e() - e_origin,
            start: nothing,
            end: nothing,
            code,
            by_radius: text(b'R').is_some(),
        };
        plan.start = plan.stop_at(0.0)?;
        plan.end = plan.last()?;
        Ok(plan)
    }

    fn relative(&self) -> bool {
        self.after.distance() == Distance::Relative
    }

    /// Place and filament a fraction of the way along.
    fn stop_at(&self, t: f64) -> Result<Stop, WhyWhole> {
        let place = self.after.to_file(self.step.at(t));
        let base = if self.relative() {
            self.origin
        } else {
            [0.0; 3]
        };
        let e_base = match self.after.e_distance() {
            Distance::Relative => 0.0,
            Distance::Absolute => self.e_origin,
        };
        let decimal = |value, decimals| Decimal::nearest(value, decimals).ok_or(WhyWhole::Digits);
        Ok(Stop {
            place: [
                decimal(place[0] - base[0], self.place_decimals)?,
                decimal(place[1] - base[1], self.place_decimals)?,
                decimal(place[2] - base[2], self.place_decimals)?,
            ],
            e: decimal(e_base + self.e_fed * t, self.e_decimals)?,
        })
    }

    /// The end, from the line's own digits.
    fn last(&self) -> Result<Stop, WhyWhole> {
        let mut stop = self.stop_at(1.0)?;
        for (place, own) in stop.place.iter_mut().zip(self.own) {
            if let Some(text) = own {
                *place = Decimal::from_text(text).ok_or(WhyWhole::Digits)?;
            }
        }
        if let Some(text) = self.own_e {
            stop.e = Decimal::from_text(text).ok_or(WhyWhole::Digits)?;
        }
        Ok(stop)
    }

    /// The words of the piece between two stops.
    fn piece(&self, start: &Stop, end: &Stop, last: bool) -> Result<Piece<'a>, WhyWhole> {
        let mut piece = Piece::default();
        let words = self.named.into_iter().zip(self.own);
        let stops = start.place.into_iter().zip(end.place);
        for ((number, (named, own)), (start, end)) in piece.place.iter_mut().zip(words).zip(stops) {
            if !named {
                continue;
            }
            *number = Some(match (self.relative(), last, own) {
                (true, _, _) => Number::New(end.minus(start)),
                (false, true, Some(text)) => Number::Own(text),
                (false, _, _) => Number::New(end),
            });
        }
        if self.e_named {
            piece.e = Some(match (self.after.e_distance(), last, self.own_e) {
                (Distance::Relative, _, _) => Number::New(end.e.minus(start.e)),
                (Distance::Absolute, true, Some(text)) => Number::Own(text),
                (Distance::Absolute, _, _) => Number::New(end.e),
            });
        }
        if let Path::Arc(arc) = self.step.path {
            piece.centre = self.centre(&arc, start)?;
            piece.by_radius = self.by_radius;
        }
        Ok(piece)
    }

    /// The centre as seen from a piece's start, for each of I, J and K.
    fn centre(&self, arc: &Arc, start: &Stop) -> Result<[Option<Decimal>; 3], WhyWhole> {
        let plane = arc.plane;
        let [first, second] = arc.centre;
        let [_, _, across] = plane.ordered(self.step.from);
        let centre_mm = plane.restored([first, second, across]);
        let offset = |centre: f64, origin: f64, start: Decimal| {
            let from = match self.relative() {
                true => origin + start.value(),
                false => start.value(),
            };
            Decimal::nearest(centre - from, self.place_decimals).ok_or(WhyWhole::Digits)
        };
        let centre = plane.ordered(self.after.to_file(centre_mm));
        let origin = plane.ordered(self.origin);
        let start = plane.ordered(start.place);
        Ok(plane.restored([
            Some(offset(centre[0], origin[0], start[0])?),
            Some(offset(centre[1], origin[1], start[1])?),
            None,
        ]))
    }
}

#[derive(Clone, Copy, Debug)]
enum Number<'a> {
    Own(&'a [u8]),
    New(Decimal),
}

impl Number<'_> {
    fn write(&self, out: &mut Vec<u8>) {
        match self {
            Self::Own(text) => out.extend_from_slice(text),
            Self::New(decimal) => out.extend_from_slice(decimal.to_string().as_bytes()),
        }
    }
}

/// The numbers of one piece.
#[derive(Clone, Copy, Debug, Default)]
struct Piece<'a> {
    place: [Option<Number<'a>>; 3],
    e: Option<Number<'a>>,
    centre: [Option<Decimal>; 3],
    by_radius: bool,
}

impl<'a> Piece<'a> {
    fn number(&self, letter: u8) -> Option<Number<'a>> {
        match letter {
            b'X' => self.place[0],
            b'Y' => self.place[1],
            b'Z' => self.place[2],
            b'E' => self.e,
            _ => None,
        }
    }

    fn write_centre(&self, out: &mut Vec<u8>) {
        let mut gap = false;
        for (letter, offset) in [b'I', b'J', b'K'].into_iter().zip(self.centre) {
            if let Some(offset) = offset {
                if gap {
                    out.push(b' ');
                }
                gap = true;
                out.push(letter);
                Number::New(offset).write(out);
            }
        }
    }

    /// The line itself with its numbers changed, and what it lacks put behind its last word;
    /// gives where its words end.
    fn write_first(&self, line: &Line<'_>, out: &mut Vec<u8>) -> usize {
        let body = line.body();
        let end = line.checksum().map_or(body.len(), |c| c.at as usize);
        let copy = |out: &mut Vec<u8>, from: usize, to: usize| {
            out.extend_from_slice(body.get(from..to.min(end)).unwrap_or_default());
        };
        let mut done = 0;
        let mut lacking = *self;
        for word in line.words() {
            if let Some(number) = self.number(word.letter) {
                copy(out, done, word.from as usize);
                number.write(out);
                done = word.to as usize;
                lacking.drop(word.letter);
            } else if word.letter == b'R' && self.by_radius {
                copy(out, done, word.at as usize);
                self.write_centre(out);
                done = word.to as usize;
            }
        }
        let last = line.words().last().map_or(0, |w| w.to as usize);
        if done < last {
            copy(out, done, last);
            done = last;
        }
        lacking.write_places(out);
        let words = out.len();
        copy(out, done, end);
        words
    }

    fn drop(&mut self, letter: u8) {
        match letter {
            b'X' => self.place[0] = None,
            b'Y' => self.place[1] = None,
            b'Z' => self.place[2] = None,
            _ => self.e = None,
        }
    }

    fn write_places(&self, out: &mut Vec<u8>) {
        for (letter, number) in AXES.into_iter().zip(self.place) {
            if let Some(number) = number {
                out.extend_from_slice(&[b' ', letter]);
                number.write(out);
            }
        }
    }

    /// A line of its own, with the words that belong to each part of the move; gives where its
    /// words end.
    fn write_later(&self, line: &Line<'_>, code: u8, out: &mut Vec<u8>) -> usize {
        out.extend_from_slice(&[b'G', code]);
        self.write_places(out);
        if self.centre.iter().any(Option::is_some) {
            out.push(b' ');
            self.write_centre(out);
        }
        for word in line.words().iter().filter(|w| repeats(w)) {
            out.extend_from_slice(&[b' ', word.letter]);
            out.extend_from_slice(line.number_text(word));
        }
        if let Some(e) = self.e {
            out.extend_from_slice(b" E");
            e.write(out);
        }
        out.len()
    }
}

/// Whether a word says something of each part of a move: all but those that the pieces have of
/// their own and those that hold until changed.
fn repeats(word: &Word) -> bool {
    !b"NGMTXYZEIJKRF".contains(&word.letter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Replay, Settings, Step};

    fn cut(file: &str, cuts: &[f64]) -> Result<Vec<String>, WhyWhole> {
        let mut replay = Replay::new(file.as_bytes(), Settings::default());
        let mut pieces = Pieces::new();
        let mut last = Err(WhyWhole::MoreThanAMove);
        while let Some(seen) = replay.advance().expect("text") {
            if let Step::Move(step) = seen.step {
                last = split(
                    &seen.line,
                    seen.before,
                    seen.after,
                    &step,
                    cuts,
                    &mut pieces,
                );
            }
        }
        last?;
        Ok((0..pieces.len())
            .map(|i| String::from_utf8_lossy(pieces.get(i)).into_owned())
            .collect())
    }

    #[test]
    fn absolute_and_relative_counts() {
        let absolute = cut("G1 X1 E1\ng1 x 4.000 e1.6 (a) ; b", &[0.5]).expect("cut");
        assert_eq!(absolute, ["g1 x 2.5 e1.3 (a) ; b", "G1 X4.000 E1.6"]);
        let relative = cut("G91\nG1 X1 E1\nG1 X1 Y-1 E0.1", &[1.0 / 3.0]).expect("cut");
        assert_eq!(
            relative,
            [
                "G1 X0.333333 Y-0.333333 E0.033333",
                "G1 X0.666667 Y-0.666667 E0.066667"
            ]
        );
    }

    #[test]
    fn numbers_and_offsets_of_the_file() {
        let offset = cut("G92 X100 E7\nG1 X110 E8", &[0.5]).expect("cut");
        assert_eq!(offset, ["G1 X105 E7.5", "G1 X110 E8"]);
        let inches = cut("G20 G1 X1 E1", &[0.25]).expect("cut");
        assert_eq!(inches, ["G20 G1 X0.25 E0.25", "G1 X1 E1"]);
        let numbered = cut("N5 G1 X2 E1*11", &[0.5]).expect("cut");
        assert_eq!(numbered, ["N5 G1 X1 E0.5", "G1 X2 E1"]);
    }

    #[test]
    fn words_of_each_part_are_repeated_and_modes_are_not() {
        let pieces = cut("M83\nG1 F1200 X2 S0.7 E1", &[0.5]).expect("cut");
        assert_eq!(pieces, ["G1 F1200 X1 S0.7 E0.5", "G1 X2 S0.7 E0.5"]);
    }

    #[test]
    fn arcs_keep_their_centre() {
        let quarter = cut("G0 X10\nM83\nG3 X0 Y10 I-10 E2", &[0.5]).expect("cut");
        assert_eq!(
            quarter,
            [
                "G3 X7.071068 Y7.071068 I-10 E1",
                "G3 X0 Y10 I-7.071068 J-7.071068 E1"
            ]
        );
        let radius = cut("G0 X10\nM83\nG3 X0 Y10 R10 E2", &[0.5]).expect("cut");
        assert_eq!(radius[0], "G3 X7.071068 Y7.071068 I-10 J0 E1");
        let circle = cut("G0 X10\nM83\nG2 I-10 E2 ; round", &[0.5]).expect("cut");
        assert_eq!(
            circle,
            ["G2 I-10 E1 X-10 Y0 ; round", "G2 X10 Y0 I10 J0 E1"]
        );
    }

    #[test]
    fn lines_that_do_more_stay_whole() {
        for (file, why) in [
            ("G1 X1 E1 M106", WhyWhole::MoreThanAMove),
            ("G53 G1 X1 E1", WhyWhole::MoreThanAMove),
            ("G3 X1 I0.5 P2 E1", WhyWhole::MoreThanAMove),
            ("G1 X1 X2 E1", WhyWhole::Unread),
            ("G1 X1 E1 Y#3", WhyWhole::Unread),
            ("G3 X1 R0.1 E1", WhyWhole::BadArc),
            ("G1 X1.1234567890123 E1", WhyWhole::Digits),
        ] {
            assert_eq!(cut(file, &[0.5]), Err(why), "{file}");
        }
    }
}
