//! The lines of a layer as words.

use std::fmt::Write as _;
use std::io::{self, Write};

use toolpath::{Distance, filament_area_mm2};

use super::fit::{self, Part};
use super::recipe::{Made, Recipe, Retraction, Slice, Stand, Strip};

/// Ways shorter than this are gone without drawing the strand back, mm.
const NEAR_MM: f64 = 2.0;

pub(super) struct Emitter<'a, W> {
    out: W,
    recipe: &'a Recipe,
    place: [f64; 2],
    /// Filament for a millimetre of line, mm.
    per_mm: f64,
    /// E count, in 1/100 000 mm, so that its text adds up.
    e: i64,
    number: u64,
    made: Made,
    text: String,
}

impl<'a, W: Write> Emitter<'a, W> {
    pub(super) fn new(out: W, recipe: &'a Recipe) -> Self {
        Self {
            out,
            recipe,
            place: [0.0; 2],
            per_mm: 0.0,
            e: 0,
            number: 0,
            made: Made::default(),
            text: String::new(),
        }
    }

    pub(super) fn begin(&mut self) -> io::Result<()> {
        for text in [
            "; A toolpath for tests and demos: no temperatures, no homing.",
            "; Not meant for a printer. Slice the part for yours instead.",
        ] {
            self.out.write_all(text.as_bytes())?;
            self.out.write_all(self.recipe.end.as_bytes())?;
        }
        self.say("G21")?;
        self.say("G90")?;
        self.say(match self.recipe.extruder {
            Distance::Absolute => "M82",
            Distance::Relative => "M83",
        })?;
        self.say("G92 E0")
    }

    pub(super) fn finish(mut self) -> io::Result<Made> {
        self.out.flush()?;
        Ok(self.made)
    }

    pub(super) fn layer(&mut self, slice: &Slice<'_>) -> io::Result<()> {
        // A line's cross-section is taken for a rectangle, so that lines side by side fill.
        self.per_mm = self.recipe.line_width_mm * slice.height_mm
            / filament_area_mm2(self.recipe.filament_diameter_mm);
        if self.recipe.extruder == Distance::Absolute {
            self.say("G92 E0")?;
            self.e = 0;
        }
        let z = slice.top_mm;
        let feed = self.recipe.travel_mm_min;
        self.say(&format!("G0 Z{z:.3} F{feed:.0}"))
    }

    pub(super) fn lines(&mut self, strips: &[Strip], stand: &Stand) -> io::Result<()> {
        let (sin, cos) = stand.turn_deg.to_radians().sin_cos();
        let [dx, dy] = stand.shift_mm;
        let put = |p: &[f64; 2]| {
            [
                round(p[0] * cos - p[1] * sin + dx),
                round(p[0] * sin + p[1] * cos + dy),
            ]
        };
        for strip in strips {
            let mut points: Vec<[f64; 2]> = strip.points.iter().map(put).collect();
            points.dedup();
            if strip.closed {
                self.begin_near(&mut points);
                points.extend(points.first().copied());
            }
            if let Some(first) = points.first().filter(|_| points.len() > 1) {
                self.travel(*first)?;
                for part in fit::parts(&points, self.recipe.arcs_within_mm) {
                    self.print(part)?;
                }
            }
        }
        Ok(())
    }

    /// Turns a closed strip so that it begins at the point nearest to the nozzle.
    fn begin_near(&self, points: &mut Vec<[f64; 2]>) {
        let far = |p: &[f64; 2]| (p[0] - self.place[0]).hypot(p[1] - self.place[1]);
        let nearest = points
            .iter()
            .enumerate()
            .min_by(|a, b| far(a.1).total_cmp(&far(b.1)));
        let at = nearest.map_or(0, |n| n.0);
        points.rotate_left(at);
        if points.len() > 1 && points.first() == points.last() {
            points.pop();
        }
    }

    fn travel(&mut self, to: [f64; 2]) -> io::Result<()> {
        let length = (to[0] - self.place[0]).hypot(to[1] - self.place[1]);
        if length == 0.0 {
            return Ok(());
        }
        let back = length > NEAR_MM && self.made.moves > 0;
        if back {
            self.hold(true)?;
        }
        let feed = self.recipe.travel_mm_min;
        self.say(&format!("G0 X{:.3} Y{:.3} F{feed:.0}", to[0], to[1]))?;
        self.place = to;
        if back {
            self.hold(false)?;
        }
        let feed = self.recipe.print_mm_min;
        self.say(&format!("G1 F{feed:.0}"))
    }

    /// Draws the strand back, or gives it again.
    fn hold(&mut self, back: bool) -> io::Result<()> {
        match self.recipe.retraction {
            Retraction::None => Ok(()),
            Retraction::Firmware => self.say(if back { "G10" } else { "G11" }),
            Retraction::Length(mm) => {
                let units = (mm * 1e5).round() as i64;
                let e = self.feed(if back { -units } else { units });
                self.say(&format!("G1 E{e} F1800"))
            }
        }
    }

    fn print(&mut self, part: Part) -> io::Result<()> {
        let from = self.place;
        let (to, length, centre) = match part {
            Part::Line(to) => (to, (to[0] - from[0]).hypot(to[1] - from[1]), None),
            Part::Arc {
                to,
                centre,
                clockwise,
            } => {
                let (u, v) = (
                    [from[0] - centre[0], from[1] - centre[1]],
                    [to[0] - centre[0], to[1] - centre[1]],
                );
                let turn = (v[1].atan2(v[0]) - u[1].atan2(u[0])).rem_euclid(std::f64::consts::TAU);
                let turn = if clockwise {
                    std::f64::consts::TAU - turn
                } else {
                    turn
                };
                (to, u[0].hypot(u[1]) * turn, Some((centre, clockwise)))
            }
        };
        let units = (length * self.per_mm * 1e5).round() as i64;
        self.made.moves += 1;
        self.made.filament_mm += units as f64 / 1e5;
        let e = self.feed(units);
        self.place = to;
        let text = match centre {
            None => format!("G1 X{:.3} Y{:.3} E{e}", to[0], to[1]),
            Some((centre, clockwise)) => format!(
                "G{} X{:.3} Y{:.3} I{:.4} J{:.4} E{e}",
                if clockwise { 2 } else { 3 },
                to[0],
                to[1],
                centre[0] - from[0],
                centre[1] - from[1]
            ),
        };
        self.say(&text)
    }

    /// Counts filament and gives the number for the E word.
    fn feed(&mut self, units: i64) -> String {
        self.e += units;
        let shown = match self.recipe.extruder {
            Distance::Absolute => self.e,
            Distance::Relative => units,
        };
        format!("{:.5}", shown as f64 / 1e5)
    }

    fn say(&mut self, words: &str) -> io::Result<()> {
        self.text.clear();
        if self.recipe.checked {
            self.number += 1;
            // Writing to a String can't fail.
            let _ = write!(self.text, "N{} {words}", self.number);
            let sum = self.text.bytes().fold(0, |sum, b| sum ^ b);
            let _ = write!(self.text, "*{sum}");
        } else {
            self.text.push_str(words);
        }
        self.text.push_str(self.recipe.end);
        self.out.write_all(self.text.as_bytes())
    }
}

/// To the micrometre, as the words give it.
fn round(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}
