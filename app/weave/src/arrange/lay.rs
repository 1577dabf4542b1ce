//! Writes sections in their new order, and the ways between.
//!
//! Lines that lay plastic leave byte for byte as they came, or as the pieces of a cut move.
//! What they need stands before them: the nozzle at their start, the settings, the speed and
//! the count of filament that they had in the file. Everything written is carried out on a
//! machine of our own, so that this is known and not hoped for.

use std::collections::VecDeque;
use std::io::{self, Write};
use std::rc::Rc;

use toolpath::{Cautions, Distance, Line, MachineState, Word, Writer};

use super::atoms::{Atom, Cut};
use super::habits::{Back, Habits};
use super::lines::{Held, Kind, Settled, setting};
use super::sections::Section;

/// Places nearer than this are one, mm.
const SAME_MM: f64 = 1e-6;

/// A section that begins so much lower than the nozzle is begins another copy, mm.
const COMES_DOWN_MM: f64 = 1e-3;

/// What is laid, one after another.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Item {
    /// An atom of the section.
    Atom(usize),
    /// Lines of the purge block, each a chain of points, mm, of a height.
    Purge {
        chains: Vec<Vec<[f64; 2]>>,
        height_mm: f64,
        feed_mm_min: f64,
    },
}

/// Why a section could not be written; always a fault of ours, found before it does harm.
#[derive(Debug, thiserror::Error)]
pub(super) enum LayError {
    #[error(transparent)]
    Output(#[from] io::Error),
    #[error("the nozzle would not be where line {0} of the toolpath begins")]
    Astray(u64),
}

pub(super) struct Lay<W: Write> {
    writer: Writer<W>,
    pub state: MachineState,
    set: Rc<Settled>,
    habits: Habits,
    line_mm: f64,
    area_mm2: f64,
    /// Something was laid in another order: line numbers are counted anew.
    moved: bool,
    words: Vec<Word>,
    /// Numbered lines written, for where a fault is told.
    lines: u64,
}

impl<W: Write> Lay<W> {
    pub(super) fn new(
        out: W,
        state: MachineState,
        habits: Habits,
        line_mm: f64,
        area_mm2: f64,
        end: &[u8],
    ) -> Self {
        let mut writer = Writer::new(out);
        writer.set_end(end);
        Self {
            writer,
            state,
            set: Rc::default(),
            habits,
            line_mm,
            area_mm2,
            moved: false,
            words: Vec::new(),
            lines: 0,
        }
    }

    pub(super) fn finish(self) -> io::Result<W> {
        self.writer.finish()
    }

    /// Writes a section as it is. The nozzle may come from elsewhere than in the file.
    pub(super) fn as_it_is(&mut self, section: &Section) -> Result<(), LayError> {
        let target = section.body.first().map(|held| held.before.place_mm());
        self.lead(section, target)?;
        if let Some(first) = section.body.first() {
            self.join(first)?;
        }
        section.body.iter().try_for_each(|held| self.pass(held))
    }

    /// Writes a section's items, which must hold every atom once.
    pub(super) fn in_order(
        &mut self,
        section: &Section,
        cut: &Cut,
        items: &[Item],
    ) -> Result<(), LayError> {
        self.moved = true;
        let first = items.iter().find_map(|item| match item {
            Item::Atom(index) => cut.atoms.get(*index),
            Item::Purge { .. } => None,
        });
        let begins = match items.first() {
            Some(Item::Purge { chains, .. }) => chains.first().and_then(|c| c.first()).map(|p| {
                let z = first.map_or(section.top_mm, |atom| atom.from_mm[2]);
                [p[0], p[1], z]
            }),
            _ => first.map(|atom| atom.from_mm),
        };
        self.lead(section, begins)?;
        let mut owned = vec![false; cut.body.len()];
        for part in cut.atoms.iter().flat_map(|atom| &atom.parts) {
            owned
                .get_mut(part.clone())
                .unwrap_or_default()
                .iter_mut()
                .for_each(|line| *line = true);
        }
        let mut rest = Between::new(cut, owned);
        for item in items {
            match item {
                Item::Atom(index) => {
                    if let Some(atom) = cut.atoms.get(*index) {
                        self.atom(atom, *index, &mut rest)?;
                    }
                }
                Item::Purge {
                    chains,
                    height_mm,
                    feed_mm_min,
                } => {
                    self.purge(chains, *height_mm, *feed_mm_min, section.top_mm)?;
                    rest.last = None;
                }
            }
        }
        rest.messages(cut.body.len())
            .into_iter()
            .try_for_each(|held| self.pass(&held))?;
        // As the file left it, but for the place.
        self.settle(&section.set)?;
        if let Some(after) = &section.after {
            self.feed_of(after)?;
            self.count_of(after)?;
        }
        Ok(())
    }

    fn atom(&mut self, atom: &Atom, index: usize, rest: &mut Between<'_>) -> Result<(), LayError> {
        let Some(start) = atom.parts.first().map(|p| p.start) else {
            return Ok(());
        };
        let followed = rest.followed(index, start);
        match followed {
            // The same way as in the file, line for line.
            Some(lines) => lines.into_iter().try_for_each(|held| self.pass(&held))?,
            None => {
                for held in rest.comments(start) {
                    self.pass(&held)?;
                }
            }
        }
        for part in &atom.parts {
            let lines = rest.cut.body.get(part.clone()).unwrap_or_default();
            if let Some(first) = lines.first() {
                self.join(first)?;
            }
            for held in lines {
                self.pass(held)?;
            }
        }
        rest.last = Some((index, atom.parts.last().map_or(0, |p| p.end)));
        Ok(())
    }

    /// Goes to where a line begins, with all as it was before that line in the file.
    fn join(&mut self, held: &Held) -> Result<(), LayError> {
        self.go_to(held.before.place_mm())?;
        self.settle(&held.set)?;
        self.feed_of(&held.before)?;
        self.count_of(&held.before)?;
        let (here, there) = (self.state.place_mm(), held.before.place_mm());
        let off = here
            .iter()
            .zip(&there)
            .any(|(a, b)| (a - b).abs() > SAME_MM);
        let units = self.state.units() != held.before.units()
            || self.state.distance() != held.before.distance()
            || self.state.e_distance() != held.before.e_distance();
        match off || units {
            true => Err(LayError::Astray(self.lines)),
            false => Ok(()),
        }
    }

    fn go_to(&mut self, to: [f64; 3]) -> Result<(), LayError> {
        let from = self.state.place_mm();
        let way = (from[0] - to[0]).hypot(from[1] - to[1]);
        if way < SAME_MM && (from[2] - to[2]).abs() < SAME_MM {
            return Ok(());
        }
        let held = way > self.habits.dry_mm;
        let count = match held {
            true => self.back()?,
            false => None,
        };
        let code = if self.habits.rapid { "G0" } else { "G1" };
        let feed = self.in_file(self.habits.travel_mm_min);
        let hop = held && self.habits.hop_mm > 0.0;
        let target = self.state.to_file(to);
        let high = self
            .state
            .to_file([to[0], to[1], from[2].max(to[2]) + self.habits.hop_mm]);
        if hop {
            self.say(&format!("{code} Z{} F{feed}", number(high[2])))?;
        }
        let z = match (from[2] - to[2]).abs() < SAME_MM || hop {
            true => String::new(),
            false => format!(" Z{}", number(target[2])),
        };
        self.say(&format!(
            "{code} X{} Y{}{z} F{feed}",
            number(target[0]),
            number(target[1])
        ))?;
        if hop {
            self.say(&format!("{code} Z{} F{feed}", number(target[2])))?;
        }
        if held {
            self.again(count)?;
        }
        Ok(())
    }

    /// Draws the strand back; gives the count of filament to go back to.
    fn back(&mut self) -> Result<Option<f64>, LayError> {
        match self.habits.back {
            Back::Not => Ok(None),
            Back::Firmware => {
                self.say("G10")?;
                Ok(None)
            }
            Back::Length {
                mm, back_mm_min, ..
            } => {
                let count = self.state.file_e();
                let units = self.in_file_units(mm);
                let e = match self.state.e_distance() {
                    Distance::Relative => -units,
                    Distance::Absolute => count - units,
                };
                let feed = self.in_file(back_mm_min);
                self.say(&format!("G1 E{} F{feed}", number(e)))?;
                Ok(Some(count))
            }
        }
    }

    fn again(&mut self, count: Option<f64>) -> Result<(), LayError> {
        match (self.habits.back, count) {
            (Back::Not, _) => Ok(()),
            (Back::Firmware, _) => self.say("G11"),
            (
                Back::Length {
                    mm, again_mm_min, ..
                },
                count,
            ) => {
                let e = match self.state.e_distance() {
                    Distance::Relative => self.in_file_units(mm),
                    Distance::Absolute => count.unwrap_or_else(|| self.state.file_e()),
                };
                let feed = self.in_file(again_mm_min);
                self.say(&format!("G1 E{} F{feed}", number(e)))
            }
        }
    }

    fn purge(
        &mut self,
        chains: &[Vec<[f64; 2]>],
        height_mm: f64,
        feed_mm_min: f64,
        top_mm: f64,
    ) -> Result<(), LayError> {
        let per_mm = self.line_mm * height_mm / self.area_mm2;
        for chain in chains {
            let Some((first, rest)) = chain.split_first() else {
                continue;
            };
            self.go_to([first[0], first[1], top_mm])?;
            let mut speed = format!(" F{}", self.in_file(feed_mm_min));
            for point in rest {
                let from = self.state.place_mm();
                let length = (from[0] - point[0]).hypot(from[1] - point[1]);
                let fed = self.in_file_units(length * per_mm);
                let e = match self.state.e_distance() {
                    Distance::Relative => fed,
                    Distance::Absolute => self.state.file_e() + fed,
                };
                let target = self.state.to_file([point[0], point[1], top_mm]);
                self.say(&format!(
                    "G1 X{} Y{} E{}{speed}",
                    number_of(target[0], 3),
                    number_of(target[1], 3),
                    number_of(e, 5)
                ))?;
                speed.clear();
            }
        }
        Ok(())
    }

    /// The lines before a section's plastic, leading to where it begins now.
    fn lead(&mut self, section: &Section, target: Option<[f64; 3]>) -> Result<(), LayError> {
        let own_start = section.body.first().map(|held| held.before.place_mm());
        let own_end = section.lead.first().map(|held| held.before.place_mm());
        let comes = own_end.is_none_or(|end| level(end, self.state.place_mm()) < SAME_MM);
        let goes = match (own_start, target) {
            (Some(own), Some(target)) => level(own, target) < SAME_MM,
            _ => true,
        };
        // Where copies follow each other the file's own way leads over what stands.
        let comes_down =
            own_start.is_some() && section.top_mm < self.state.place_mm()[2] - COMES_DOWN_MM;
        if comes && goes || comes_down {
            return section.lead.iter().try_for_each(|held| self.pass(held));
        }
        let last = section.lead.iter().rposition(is_travel);
        let target = target.or(own_start);
        let mut drawn = 0.0_f64;
        let mut by_firmware = false;
        for (index, held) in section.lead.iter().enumerate() {
            match &held.kind {
                Kind::Go(step) => {
                    drawn = (drawn - step.extruded_mm).max(0.0);
                    let moves = level(step.from, step.to) > 0.0;
                    match (moves, target) {
                        (true, Some(target)) if Some(index) == last => {
                            let held_back = drawn > 1e-3 || by_firmware;
                            self.redirected(held, target, held_back)?;
                        }
                        // Where no plastic follows, every way is gone as in the file.
                        (true, None) => self.redirected(held, step.to, true)?,
                        // A way round, or a wipe: of no use from elsewhere.
                        (true, Some(_)) => self.without_place(held)?,
                        (false, _) => self.pass(held)?,
                    }
                }
                Kind::Back => {
                    by_firmware = true;
                    self.pass(held)?;
                }
                Kind::Again => {
                    by_firmware = false;
                    self.pass(held)?;
                }
                _ => self.pass(held)?,
            }
        }
        Ok(())
    }

    /// A travel to another place; it draws back for itself where the file had no need to.
    fn redirected(&mut self, held: &Held, to: [f64; 3], held_back: bool) -> Result<(), LayError> {
        let way = level(self.state.place_mm(), to);
        let alone = !held_back && way > self.habits.dry_mm;
        let count = if alone { self.back()? } else { None };
        let to = self.state.to_file(to);
        let text = self.rewritten(held, Some([to[0], to[1]]));
        self.say(&text)?;
        if alone {
            self.again(count)?;
        }
        Ok(())
    }

    fn without_place(&mut self, held: &Held) -> Result<(), LayError> {
        let text = self.rewritten(held, None);
        match text.split_whitespace().nth(1) {
            Some(_) => self.say(&text),
            None => Ok(()),
        }
    }

    /// A line's words with another place in the plane, or none.
    fn rewritten(&mut self, held: &Held, place: Option<[f64; 2]>) -> String {
        let mut words = std::mem::take(&mut self.words);
        let line = Line::parse(held.bare(), &mut words);
        let mut text = String::new();
        for word in line.words() {
            let bytes = line.number_text(word);
            let value = String::from_utf8_lossy(bytes);
            match word.letter {
                b'G' if word.value.is_some_and(|v| v > 1.0) => text.push_str("G1"),
                b'X' | b'Y' | b'I' | b'J' | b'K' | b'R' => continue,
                letter => {
                    text.push(letter as char);
                    text.push_str(value.trim());
                }
            }
            if word.letter == b'G'
                && let Some([x, y]) = place
            {
                text.push_str(&format!(" X{} Y{}", number(x), number(y)));
            }
            text.push(' ');
        }
        self.words = words;
        text.trim_end().to_owned()
    }

    /// The settings that hold before a line.
    fn settle(&mut self, to: &Rc<Settled>) -> Result<(), LayError> {
        if Rc::ptr_eq(&self.set, to) || self.set == *to {
            return Ok(());
        }
        let missing: Vec<Vec<u8>> =
            to.0.iter()
                .filter(|(key, text)| self.set.get(key) != Some(text.as_slice()))
                .map(|(_, text)| text.clone())
                .collect();
        for text in missing {
            self.say(&String::from_utf8_lossy(&text))?;
        }
        self.set = Rc::clone(to);
        Ok(())
    }

    fn feed_of(&mut self, state: &MachineState) -> Result<(), LayError> {
        let feed = state.feed_mm_min();
        match (self.state.feed_mm_min() - feed).abs() > 1e-9 && feed > 0.0 {
            true => {
                let feed = number(feed / self.state.units().mm());
                self.say(&format!("G1 F{feed}"))
            }
            false => Ok(()),
        }
    }

    /// The count of filament that a line goes on from.
    fn count_of(&mut self, state: &MachineState) -> Result<(), LayError> {
        let counts = state.e_distance() == Distance::Absolute;
        match counts && (self.state.file_e() - state.file_e()).abs() > 1e-9 {
            true => self.say(&format!("G92 E{}", number_of(state.file_e(), 9))),
            false => Ok(()),
        }
    }

    fn in_file(&self, mm_min: f64) -> String {
        number_of(mm_min / self.state.units().mm(), 3)
    }

    fn in_file_units(&self, mm: f64) -> f64 {
        self.state.to_file_e(mm)
    }

    /// Writes a line of our own, and carries it out.
    fn say(&mut self, text: &str) -> Result<(), LayError> {
        self.lines += 1;
        let mut words = std::mem::take(&mut self.words);
        let line = Line::parse(text.as_bytes(), &mut words);
        self.state.apply(&line, &mut Cautions::new());
        self.words = words;
        Ok(self.writer.put(text.as_bytes())?)
    }

    /// Writes a line of the file, and carries it out.
    fn pass(&mut self, held: &Held) -> Result<(), LayError> {
        self.lines += 1;
        let mut words = std::mem::take(&mut self.words);
        {
            let line = Line::parse(&held.bytes, &mut words);
            self.state.apply(&line, &mut Cautions::new());
            if (held.kind == Kind::Setting || held.kind == Kind::Wall)
                && let Some(key) = setting(&line)
            {
                self.set = Rc::new(self.set.with(key, held.bare().to_vec()).0);
            }
            match self.moved && held.numbered {
                true => self.writer.put(held.bare())?,
                false => self.writer.pass(&line)?,
            }
        }
        self.words = words;
        Ok(())
    }
}

/// Lines between atoms: travels that may go, and the rest that must stay.
struct Between<'a> {
    cut: &'a Cut,
    /// Lines that belong to an atom.
    owned: Vec<bool>,
    written: Vec<bool>,
    /// Messages that were not written yet, in order.
    messages: VecDeque<usize>,
    /// The last atom, and one past its last line.
    last: Option<(usize, usize)>,
}

impl<'a> Between<'a> {
    fn new(cut: &'a Cut, owned: Vec<bool>) -> Self {
        let messages = cut
            .body
            .iter()
            .zip(&owned)
            .enumerate()
            .filter(|(_, (held, owned))| held.kind == Kind::Message && !**owned)
            .map(|(at, _)| at);
        Self {
            cut,
            messages: messages.collect(),
            written: vec![false; cut.body.len()],
            owned,
            last: None,
        }
    }

    /// The lines between the last atom and this one, if they follow each other as in the file.
    fn followed(&mut self, index: usize, start: usize) -> Option<Vec<Held>> {
        let (last, end) = self.last?;
        if last + 1 != index || end > start {
            return None;
        }
        if self.owned.get(end..start)?.iter().any(|owned| *owned) {
            return None;
        }
        let mut lines = self.messages(end);
        for at in end..start {
            lines.extend(self.take(at));
        }
        Some(lines)
    }

    /// Comments that stand right before an atom.
    fn comments(&mut self, start: usize) -> Vec<Held> {
        let owned = self.owned.get(..start).unwrap_or_default();
        let from = owned.iter().rposition(|o| *o).map_or(0, |at| at + 1);
        let quiet: Vec<usize> = (from..start)
            .filter(|at| {
                self.cut
                    .body
                    .get(*at)
                    .is_some_and(|h| h.kind == Kind::Quiet)
            })
            .collect();
        quiet.into_iter().filter_map(|at| self.take(at)).collect()
    }

    /// Messages before a line that were not written yet.
    fn messages(&mut self, before: usize) -> Vec<Held> {
        let mut due = Vec::new();
        while let Some(at) = self.messages.pop_front_if(|at| *at < before) {
            due.extend(self.take(at));
        }
        due
    }

    fn take(&mut self, at: usize) -> Option<Held> {
        let written = self.written.get_mut(at)?;
        match std::mem::replace(written, true) {
            true => None,
            false => self.cut.body.get(at).cloned(),
        }
    }
}

fn is_travel(held: &Held) -> bool {
    matches!(&held.kind, Kind::Go(step) if step.extruded_mm == 0.0 && level(step.from, step.to) > 0.0)
}

fn level(a: [f64; 3], b: [f64; 3]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// A number with as many decimals as it needs, at most 8.
fn number(value: f64) -> String {
    number_of(value, 8)
}

fn number_of(value: f64, decimals: usize) -> String {
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    match text.as_str() {
        "-0" => "0".to_owned(),
        _ => text,
    }
}
