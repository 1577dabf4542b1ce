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
//! - M200 with D makes E a volume;
//! - M221 with S feeds so many percent of what E says, in every move.

mod gather;
mod travel;
mod words;

use crate::moves::by_axis;
use crate::plain::{self, Numbers, Plain};
use crate::{CautionKind, Cautions, Form, Line, Move, Path, Plane};
use words::{ARC_WORDS, Letters, MOVING, Motion};

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
    /// What is fed, by what E says: M221.
    flow: f64,
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
            flow: 1.0,
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

    /// Filament, mm, as the number that an E word of the file gives it.
    pub fn to_file_e(&self, filament_mm: f64) -> f64 {
        match self.volumetric_mm2 {
            Some(area_mm2) => filament_mm * area_mm2 / self.flow,
            None => filament_mm / self.units.mm() / self.flow,
        }
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
            self.set_volumetric(&words, line.number(), cautions);
        }
        if asked.m221 {
            self.set_flow(&words, line.number(), cautions);
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
}
