//! What a line's words ask for, and the modes that act at once.

use super::words::{ARC_WORDS, Asked, Letters, MOVING, Motion};
use super::{Distance, ExtruderMode, MachineState, REACH_MM, Units};
use crate::{CautionKind, Cautions, Line, Plane, filament_area_mm2};

impl MachineState {
    /// Reads the words of a line; modes that act before motion are set at once, for their
    /// order among themselves is of no matter.
    pub(super) fn gather(
        &mut self,
        line: &Line<'_>,
        words: &mut Letters,
        cautions: &mut Cautions,
    ) -> Asked {
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
        } else if code == 221.0 {
            asked.m221 = true;
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

    /// M200: D sets the diameter, 0 ends it, and so does S0. Without either the machine takes a
    /// diameter of its own, which is not in the file.
    pub(super) fn set_volumetric(&mut self, words: &Letters, line: u64, cautions: &mut Cautions) {
        let diameter_mm = match (words.get(b'D'), words.get(b'S')) {
            (_, Some(0.0)) => None,
            (Some(diameter_mm), _) => Some(diameter_mm),
            (None, _) => return cautions.note(CautionKind::UnknownFlow, line),
        };
        let before = self.volumetric_mm2.unwrap_or(1.0);
        self.volumetric_mm2 = diameter_mm
            .filter(|d| *d > 0.0 && *d < 100.0)
            .map(filament_area_mm2);
        self.e *= self.volumetric_mm2.unwrap_or(1.0) / before;
    }

    /// M221: S is a percentage of what E says; without S it only asks.
    pub(super) fn set_flow(&mut self, words: &Letters, line: u64, cautions: &mut Cautions) {
        match words.get(b'S') {
            None => {}
            Some(percent) if (1.0..=1000.0).contains(&percent) => self.flow = percent / 100.0,
            Some(_) => cautions.note(CautionKind::UnknownFlow, line),
        }
    }

    /// G92.
    pub(super) fn set_place(&mut self, words: &Letters) {
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
    pub(super) fn clear_offsets(&mut self) {
        self.place = self.place_mm();
        self.offset = [0.0; 3];
    }

    /// G28: bare letters and letters with numbers alike choose axes.
    pub(super) fn home(&mut self, line: &Line<'_>) {
        let chosen = |letter| line.words().iter().any(|w| w.letter == letter);
        let all = !b"XYZ".iter().any(|letter| chosen(*letter));
        let axes = self.place.iter_mut().zip(&mut self.offset);
        for ((place, offset), letter) in axes.zip(*b"XYZ") {
            if all || chosen(letter) {
                (*place, *offset) = (0.0, 0.0);
            }
        }
    }
}
