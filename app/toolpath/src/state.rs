//! The machine's modes and place, as the lines change them.
//!
//! Words act in the order of NIST 3.8 (order of execution), whatever their order in the line:
//! plane, units, distance mode, homing or offsets, then motion. Modes stay until changed
//! (NIST 3.4, modal groups). What filament printers add is common practice without a source:
//! - an M or T word takes the line's other letters for itself, unless the line has a motion word;
//! - G10 and G11 retract and feed back, unless an L word makes G10 the setting of coordinates
//!   (NIST 3.5.5);
//! - G28 takes its axis letters as a choice of axes to home, and homing ends at 0;
//! - G92 without letters sets every axis to 0, and with E the count of filament;
//! - M82 and M83 make E absolute or relative; under G91, E is relative too;
//! - M200 with D makes E a volume.

use crate::arc::{BadArc, Given};
use crate::moves::by_axis;
use crate::plain::{self, Numbers, Plain};
use crate::{Arc, CautionKind, Cautions, Form, Line, Move, Path, Plane, filament_area_mm2};

/// Length units: G20, G21.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Units {
    /// G20.
    Inches,
    /// G21; printers start so (common practice, no source).
    #[default]
    Millimetres,
}

impl Units {
    /// Millimetres in one unit.
    #[inline]
    pub fn mm(self) -> f64 {
        match self {
            Self::Inches => 25.4,
            Self::Millimetres => 1.0,
        }
    }
}

/// How numbers count: from the origin or from where the machine is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Distance {
    /// G90, M82.
    #[default]
    Absolute,
    /// G91, M83.
    Relative,
}

/// What G90 and G91 do to E. Machines differ; files that repeat M82 or M83 after G90 mean the
/// same to all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ExtruderMode {
    /// M82 and M83 alone set it, and under G91 it is relative.
    #[default]
    Own,
    /// G90 and G91 set it as M82 and M83 do; the last word counts.
    FollowsDistance,
}

/// How to read what files leave open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Settings {
    /// What G90 and G91 do to E.
    pub extruder_mode: ExtruderMode,
}

/// What a line did.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// Nothing to place or filament.
    Nothing,
    /// A move.
    Move(Move),
    /// G10: the machine draws the strand back by its own amount.
    Retract,
    /// G11: it gives it back.
    Unretract,
    /// T: another tool, or the same one again.
    Tool(u32),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Motion {
    Rapid,
    Straight,
    Clockwise,
    CounterClockwise,
}

/// The machine: modes, place and filament.
#[derive(Clone, Copy, Debug)]
pub struct MachineState {
    settings: Settings,
    units: Units,
    distance: Distance,
    extruder: Distance,
    plane: Plane,
    motion: Option<Motion>,
    /// Place in the file's coordinates, mm.
    place: [f64; 3],
    /// Machine's coordinates less the file's, mm: what G92 sets.
    offset: [f64; 3],
    /// The E count of the file, in mm, or mm³ under M200.
    e: f64,
    /// Filament fed in all, mm, and the most that this ever was.
    fed_mm: f64,
    most_fed_mm: f64,
    /// Cross-section of the strand while E is a volume, mm².
    volumetric_mm2: Option<f64>,
    feed_mm_min: f64,
    tool: u32,
    /// G90 came after M83, and E was not settled since.
    unclear: bool,
}

/// Places and ways beyond this are no machine's, mm.
const REACH_MM: f64 = 10_000.0;

/// Radii of one arc may differ so much before it is worth a word, mm. (NIST 3.5.3 allows
/// 0.002 mm; files with three decimals make more.)
const UNEVEN_MM: f64 = 0.05;

/// The words of one line by letter.
struct Letters {
    value: [f64; 26],
    given: u32,
    repeated: bool,
}

impl Letters {
    #[inline]
    fn bit(letter: u8) -> u32 {
        1 << (letter.wrapping_sub(b'A') & 31)
    }

    #[inline]
    fn has(&self, letter: u8) -> bool {
        self.given & Self::bit(letter) != 0
    }

    #[inline]
    fn any(&self, letters: u32) -> bool {
        self.given & letters != 0
    }

    #[inline]
    fn get(&self, letter: u8) -> Option<f64> {
        let index = usize::from(letter.wrapping_sub(b'A'));
        self.has(letter)
            .then(|| self.value.get(index).copied())
            .flatten()
    }

    #[inline]
    fn take(&mut self, letter: u8, value: f64) {
        let bit = Self::bit(letter);
        if self.given & bit != 0 {
            self.repeated = true;
        } else if let Some(slot) = self.value.get_mut(usize::from(letter.wrapping_sub(b'A'))) {
            *slot = value;
            self.given |= bit;
        }
    }
}

impl Letters {
    /// Those that tell a straight move.
    fn numbers(&self) -> Numbers {
        let mut numbers = Numbers::default();
        for (place, letter) in [b'X', b'Y', b'Z', b'E', b'F'].into_iter().enumerate() {
            if let Some(value) = self.get(letter) {
                numbers.take(place, value);
            }
        }
        numbers
    }
}

/// From where to where a move goes, mm, and the filament fed on the way.
#[derive(Clone, Copy)]
struct Way {
    from: [f64; 3],
    to: [f64; 3],
    fed_mm: f64,
}

const fn letters(mut of: &[u8]) -> u32 {
    let mut bits = 0;
    while let [letter, rest @ ..] = of {
        bits |= 1 << (*letter - b'A');
        of = rest;
    }
    bits
}

const MOVING: u32 = letters(b"XYZE");
const ARC_WORDS: u32 = letters(b"IJKR");

/// What a line's G, M and T words ask for, gathered before any of it acts.
#[derive(Default)]
struct Asked {
    motion: Option<Motion>,
    /// A G, M or T word that takes the axis letters for itself.
    taken: bool,
    home: bool,
    set_place: bool,
    clear_offsets: bool,
    machine_place: bool,
    g10: bool,
    g11: bool,
    tool: Option<u32>,
    m200: bool,
    /// A letter of place or filament has no number that can be read.
    bare: bool,
}

impl MachineState {
    /// A machine that was just switched on: at 0, millimetres, absolute.
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            units: Units::default(),
            distance: Distance::default(),
            extruder: Distance::default(),
            plane: Plane::default(),
            motion: None,
            place: [0.0; 3],
            offset: [0.0; 3],
            e: 0.0,
            fed_mm: 0.0,
            most_fed_mm: 0.0,
            volumetric_mm2: None,
            feed_mm_min: 0.0,
            tool: 0,
            unclear: false,
        }
    }

    /// Place in the machine's coordinates, mm.
    #[inline]
    pub fn place_mm(&self) -> [f64; 3] {
        by_axis(self.place, self.offset, |place, offset| place + offset)
    }

    /// Place in the file's own coordinates and units.
    pub fn file_place(&self) -> [f64; 3] {
        self.place.map(|p| p / self.units.mm())
    }

    /// A machine place in the file's own coordinates and units.
    pub fn to_file(&self, place_mm: [f64; 3]) -> [f64; 3] {
        by_axis(place_mm, self.offset, |place, offset| {
            (place - offset) / self.units.mm()
        })
    }

    /// The E count in the file's own units.
    pub fn file_e(&self) -> f64 {
        self.e / self.e_unit()
    }

    /// Filament fed in all, less what was drawn back, mm.
    pub fn fed_mm(&self) -> f64 {
        self.fed_mm
    }

    /// Filament that was ever fed, mm: what a retraction draws back and gives again counts once.
    pub fn most_fed_mm(&self) -> f64 {
        self.most_fed_mm
    }

    /// Length units.
    pub fn units(&self) -> Units {
        self.units
    }

    /// How X, Y and Z count.
    pub fn distance(&self) -> Distance {
        self.distance
    }

    /// How E counts, G91 taken into account.
    #[inline]
    pub fn e_distance(&self) -> Distance {
        let also =
            self.settings.extruder_mode == ExtruderMode::Own && self.distance == Distance::Relative;
        if also {
            Distance::Relative
        } else {
            self.extruder
        }
    }

    /// Speed asked for, mm/min.
    pub fn feed_mm_min(&self) -> f64 {
        self.feed_mm_min
    }

    /// The tool in use.
    pub fn tool(&self) -> u32 {
        self.tool
    }

    /// Whether the motion in force is an arc's.
    pub(crate) fn motion_turns(&self) -> bool {
        matches!(
            self.motion,
            Some(Motion::Clockwise | Motion::CounterClockwise)
        )
    }

    /// E before a line, in the units that hold after it.
    pub(crate) fn e_in_units_of(&self, after: &Self) -> f64 {
        self.e / after.e_unit()
    }

    /// mm (or mm³) in one unit of E.
    #[inline]
    fn e_unit(&self) -> f64 {
        match self.volumetric_mm2 {
            Some(_) => 1.0,
            None => self.units.mm(),
        }
    }

    /// Carries out a plain move, to the same effect as its line. What it does is left in `step`,
    /// piece by piece, which is quicker than handing it on whole.
    #[inline]
    pub(crate) fn apply_plain(
        &mut self,
        line: Plain,
        numbers: &Numbers,
        number: u64,
        cautions: &mut Cautions,
        step: &mut Step,
    ) {
        let motion = match line.rapid {
            true => Motion::Rapid,
            false => Motion::Straight,
        };
        self.motion = Some(motion);
        if let Some(feed) = numbers.get(plain::F) {
            self.feed_mm_min = feed * self.units.mm();
        }
        if !numbers.moves() {
            *step = Step::Nothing;
            return;
        }
        let Some(way) = self.travel(numbers, false, number, cautions) else {
            *step = Step::Nothing;
            return;
        };
        if let Step::Move(made) = step {
            made.from = way.from;
            made.to = way.to;
            made.path = Path::Straight;
            made.extruded_mm = way.fed_mm;
            made.fresh_mm = self.feed(way.fed_mm);
            made.feed_mm_min = self.feed_mm_min;
            made.rapid = line.rapid;
        } else {
            *step = self.moved(motion, way, Path::Straight);
        }
    }

    /// Carries out one line.
    pub fn apply(&mut self, line: &Line<'_>, cautions: &mut Cautions) -> Step {
        if line.checksum().is_some_and(|c| !c.right) {
            cautions.note(CautionKind::WrongChecksum, line.number());
        }
        if line.form() != Form::Words {
            return Step::Nothing;
        }
        let mut words = Letters {
            value: [0.0; 26],
            given: 0,
            repeated: false,
        };
        let asked = self.gather(line, &mut words, cautions);
        if asked.m200 {
            self.set_volumetric(words.get(b'D'));
        }
        if asked.clear_offsets {
            self.clear_offsets();
        }
        if asked.set_place {
            self.set_place(&words);
            return Step::Nothing;
        }
        if asked.home {
            self.home(line);
            return Step::Nothing;
        }
        if asked.g10 && words.has(b'L') {
            cautions.note(CautionKind::OtherCoordinates, line.number());
            return Step::Nothing;
        }
        if asked.g10 {
            return Step::Retract;
        }
        if asked.g11 {
            return Step::Unretract;
        }
        if let Some(tool) = asked.tool {
            if tool != self.tool {
                cautions.note(CautionKind::OtherTool, line.number());
            }
            self.tool = tool;
        }
        if let Some(motion) = asked.motion {
            self.motion = Some(motion);
        }
        if let Some(feed) = words.get(b'F').filter(|_| !asked.taken) {
            self.feed_mm_min = feed * self.units.mm();
        }
        let moves = words.any(MOVING) || asked.motion.is_some() && words.any(ARC_WORDS);
        let implied = asked.motion.is_none();
        if moves && !asked.taken {
            // Letters alone, and then something that is no word: not a line to move by.
            let stray = implied && line.unread().is_some();
            if let Some(motion) = self.motion.filter(|_| !stray) {
                return self.go(motion, &words, asked.machine_place, line.number(), cautions);
            }
        }
        asked.tool.map_or(Step::Nothing, Step::Tool)
    }

    /// Reads the words of a line; modes that act before motion are set at once, for their
    /// order among themselves is of no matter.
    fn gather(&mut self, line: &Line<'_>, words: &mut Letters, cautions: &mut Cautions) -> Asked {
        let mut asked = Asked::default();
        for word in line.words() {
            let Some(value) = word.value else {
                asked.bare |= Letters::bit(word.letter) & (MOVING | ARC_WORDS) != 0;
                continue;
            };
            match word.letter {
                b'G' => self.gather_g(value, &mut asked, line.number(), cautions),
                b'M' => self.gather_m(value, &mut asked),
                b'T' => {
                    asked.tool = Some(value.clamp(0.0, f64::from(u32::MAX)) as u32);
                    asked.taken |= asked.motion.is_none();
                }
                letter => words.take(letter, value),
            }
        }
        if asked.motion.is_some() {
            asked.taken = false;
            if asked.bare || line.unread().is_some() {
                cautions.note(CautionKind::UnreadMove, line.number());
            }
            if words.repeated {
                cautions.note(CautionKind::RepeatedWord, line.number());
            }
        }
        asked
    }

    fn gather_g(&mut self, code: f64, asked: &mut Asked, line: u64, cautions: &mut Cautions) {
        if code == 1.0 {
            asked.motion = Some(Motion::Straight);
            return;
        }
        // Tenths, as in G92.1.
        let tenths = (code * 10.0).round();
        if !(0.0..=10_000.0).contains(&tenths) {
            return;
        }
        match tenths as u32 {
            0 => asked.motion = Some(Motion::Rapid),
            20 => asked.motion = Some(Motion::Clockwise),
            30 => asked.motion = Some(Motion::CounterClockwise),
            100 => asked.g10 = true,
            110 => asked.g11 = true,
            170 => self.plane = Plane::Xy,
            180 => self.plane = Plane::Zx,
            190 => self.plane = Plane::Yz,
            200 => self.units = Units::Inches,
            210 => self.units = Units::Millimetres,
            280 => asked.home = true,
            530 => asked.machine_place = true,
            550..=593 => cautions.note(CautionKind::OtherCoordinates, line),
            800 => self.motion = None,
            900 => self.set_distance(Distance::Absolute),
            910 => self.set_distance(Distance::Relative),
            920 => asked.set_place = true,
            921 | 922 => asked.clear_offsets = true,
            923 => cautions.note(CautionKind::OtherCoordinates, line),
            930 => cautions.note(CautionKind::InverseTime, line),
            // Dwell, compensation and lengths of cutters, first coordinate system, path
            // control, feed per minute (NIST table 5); bed probing and nozzle wiping.
            40 | 120 | 260 | 290 | 320 | 400 | 430 | 490 | 540 | 610 | 611 | 640 | 911 | 940
            | 980 | 990 => asked.taken = true,
            _ => {
                asked.taken = true;
                cautions.note(CautionKind::UnknownMotion, line);
            }
        }
    }

    fn gather_m(&mut self, code: f64, asked: &mut Asked) {
        asked.taken |= asked.motion.is_none();
        if code == 82.0 {
            self.extruder = Distance::Absolute;
            self.unclear = false;
        } else if code == 83.0 {
            self.extruder = Distance::Relative;
            self.unclear = false;
        } else if code == 200.0 {
            asked.m200 = true;
        }
    }

    fn set_distance(&mut self, distance: Distance) {
        self.distance = distance;
        match self.settings.extruder_mode {
            ExtruderMode::FollowsDistance => self.extruder = distance,
            ExtruderMode::Own => {
                self.unclear =
                    distance == Distance::Absolute && self.extruder == Distance::Relative;
            }
        }
    }

    fn set_volumetric(&mut self, diameter_mm: Option<f64>) {
        let before = self.volumetric_mm2.unwrap_or(1.0);
        self.volumetric_mm2 = diameter_mm
            .filter(|d| *d > 0.0 && *d < 100.0)
            .map(filament_area_mm2);
        self.e *= self.volumetric_mm2.unwrap_or(1.0) / before;
    }

    /// G92.
    fn set_place(&mut self, words: &Letters) {
        let all = !words.any(MOVING);
        let axes = self.place.iter_mut().zip(&mut self.offset);
        for ((place, offset), letter) in axes.zip(*b"XYZ") {
            if let Some(value) = words.get(letter).or(all.then_some(0.0)) {
                let value = value * self.units.mm();
                if value.abs() <= REACH_MM {
                    *offset += *place - value;
                    *place = value;
                }
            }
        }
        if let Some(value) = words.get(b'E').or(all.then_some(0.0)) {
            self.e = value * self.e_unit();
        }
    }

    /// G92.1 and G92.2.
    fn clear_offsets(&mut self) {
        self.place = self.place_mm();
        self.offset = [0.0; 3];
    }

    /// G28: bare letters and letters with numbers alike choose axes.
    fn home(&mut self, line: &Line<'_>) {
        let chosen = |letter| line.words().iter().any(|w| w.letter == letter);
        let all = !b"XYZ".iter().any(|letter| chosen(*letter));
        let axes = self.place.iter_mut().zip(&mut self.offset);
        for ((place, offset), letter) in axes.zip(*b"XYZ") {
            if all || chosen(letter) {
                (*place, *offset) = (0.0, 0.0);
            }
        }
    }

    /// G0 to G3.
    fn go(
        &mut self,
        motion: Motion,
        words: &Letters,
        machine_place: bool,
        line: u64,
        cautions: &mut Cautions,
    ) -> Step {
        let Some(way) = self.travel(&words.numbers(), machine_place, line, cautions) else {
            return Step::Nothing;
        };
        let path = match motion {
            Motion::Rapid | Motion::Straight => Path::Straight,
            Motion::Clockwise => self.arc(true, words, &way, line, cautions),
            Motion::CounterClockwise => self.arc(false, words, &way, line, cautions),
        };
        self.moved(motion, way, path)
    }

    /// Takes place and filament to where a move ends; `None` if that is out of reach.
    #[inline]
    fn travel(
        &mut self,
        numbers: &Numbers,
        machine_place: bool,
        line: u64,
        cautions: &mut Cautions,
    ) -> Option<Way> {
        let scale = self.units.mm();
        let mut target = self.place;
        for (i, (place, offset)) in target.iter_mut().zip(self.offset).enumerate() {
            if let Some(value) = numbers.get(i) {
                *place = match self.distance {
                    _ if machine_place => value * scale - offset,
                    Distance::Absolute => value * scale,
                    Distance::Relative => *place + value * scale,
                };
            }
        }
        let given_e = numbers.get(plain::E);
        let e = self.e_after(given_e);
        let fed_mm = match self.volumetric_mm2 {
            Some(area_mm2) => (e - self.e) / area_mm2,
            None => e - self.e,
        };
        // Written so that what is no number is out of reach too.
        let reached = target
            .iter()
            .zip(self.offset)
            .all(|(t, o)| (t + o).abs() <= REACH_MM)
            && fed_mm.abs() <= REACH_MM;
        if !reached {
            cautions.note(CautionKind::OutOfReach, line);
            return None;
        }
        if given_e.is_some() && self.unclear {
            cautions.note(CautionKind::ExtruderModeUnclear, line);
        }
        let from = self.place_mm();
        self.place = target;
        self.e = e;
        Some(Way {
            from,
            to: self.place_mm(),
            fed_mm,
        })
    }

    /// The move along a way that was just taken.
    #[inline]
    fn moved(&mut self, motion: Motion, way: Way, path: Path) -> Step {
        Step::Move(Move {
            from: way.from,
            to: way.to,
            path,
            extruded_mm: way.fed_mm,
            fresh_mm: self.feed(way.fed_mm),
            feed_mm_min: self.feed_mm_min,
            rapid: motion == Motion::Rapid,
        })
    }

    #[inline]
    fn e_after(&self, given: Option<f64>) -> f64 {
        match (given, self.e_distance()) {
            (None, _) => self.e,
            (Some(value), Distance::Absolute) => value * self.e_unit(),
            (Some(value), Distance::Relative) => self.e + value * self.e_unit(),
        }
    }

    /// Counts filament and gives the part of it that is fresh.
    #[inline]
    fn feed(&mut self, fed_mm: f64) -> f64 {
        self.fed_mm += fed_mm;
        let fresh = (self.fed_mm - self.most_fed_mm).max(0.0);
        self.most_fed_mm += fresh;
        fresh
    }

    fn arc(
        &self,
        clockwise: bool,
        words: &Letters,
        way: &Way,
        line: u64,
        cautions: &mut Cautions,
    ) -> Path {
        let (from, to) = (way.from, way.to);
        let [first, second, _] = self.plane.ordered(*b"IJK");
        let scale = self.units.mm();
        let given = match (words.get(b'R'), words.get(first), words.get(second)) {
            (Some(radius), _, _) => Ok(Given::Radius(radius * scale)),
            (None, None, None) => Err(BadArc::NoCentre),
            (None, i, j) => Ok(Given::Centre([
                i.unwrap_or(0.0) * scale,
                j.unwrap_or(0.0) * scale,
            ])),
        };
        match given.and_then(|given| Arc::new(self.plane, clockwise, from, to, given)) {
            // What lies beyond reach between its ends could not be read back in pieces.
            Ok(arc) if arc.leads_beyond(REACH_MM) => {
                cautions.note(CautionKind::BadArc, line);
                Path::Straight
            }
            Ok(arc) => {
                if (arc.radius_mm - arc.end_radius_mm).abs() > UNEVEN_MM {
                    cautions.note(CautionKind::UnevenArc, line);
                }
                Path::Arc(arc)
            }
            Err(_) => {
                cautions.note(CautionKind::BadArc, line);
                Path::Straight
            }
        }
    }
}
