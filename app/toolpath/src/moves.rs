//! Moves: a change of place, of filament, or of both.

use crate::{Arc, Plane};

/// The way from one place to the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Path {
    /// Straight.
    Straight,
    /// Along an arc or a helix.
    Arc(Arc),
}

/// One move, in millimetres of the machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// Where it starts.
    pub from: [f64; 3],
    /// Where it ends.
    pub to: [f64; 3],
    /// The way between.
    pub path: Path,
    /// Filament fed, mm of strand; negative for a retraction.
    pub extruded_mm: f64,
    /// The part of it that was never fed before, mm of strand: what a retraction drew back and
    /// the next feed gives again is left out, so this adds up to the plastic laid down.
    pub fresh_mm: f64,
    /// The speed asked for, mm/min; 0 until the file sets one.
    pub feed_mm_min: f64,
    /// Whether it is a G0.
    pub rapid: bool,
}

impl Move {
    /// Length of the way, mm.
    pub fn length_mm(&self) -> f64 {
        let way = by_axis(self.from, self.to, |from, to| to - from);
        match self.path {
            Path::Straight => way[0].hypot(way[1]).hypot(way[2]),
            Path::Arc(arc) => arc.length_mm(arc.plane.ordered(way)[2]),
        }
    }

    /// The place a fraction `t` of the way along, `t` in `0..=1`; the ends are exact.
    pub fn at(&self, t: f64) -> [f64; 3] {
        if t <= 0.0 {
            return self.from;
        }
        if t >= 1.0 {
            return self.to;
        }
        match self.path {
            Path::Straight => by_axis(self.from, self.to, |from, to| from + (to - from) * t),
            Path::Arc(arc) => arc.at(self.from, self.to, t),
        }
    }

    /// Whether the nozzle goes anywhere.
    #[inline]
    pub fn travels(&self) -> bool {
        self.from != self.to || matches!(self.path, Path::Arc(_))
    }

    /// Whether it lays plastic along a way (as against a travel, a retraction or a prime).
    #[inline]
    pub fn prints(&self) -> bool {
        self.extruded_mm > 0.0 && self.travels()
    }

    /// Whether it turns in the plane of the layers.
    pub fn is_level_arc(&self) -> bool {
        matches!(self.path, Path::Arc(arc) if arc.plane == Plane::Xy)
    }

    /// Fresh plastic, mm³, for a filament of a diameter in mm.
    pub fn volume_mm3(&self, filament_diameter_mm: f64) -> f64 {
        self.fresh_mm * filament_area_mm2(filament_diameter_mm)
    }
}

/// Two places taken together, axis by axis.
#[inline]
pub(crate) fn by_axis(
    [ax, ay, az]: [f64; 3],
    [bx, by, bz]: [f64; 3],
    with: impl Fn(f64, f64) -> f64,
) -> [f64; 3] {
    [with(ax, bx), with(ay, by), with(az, bz)]
}

/// Cross-section of a round filament, mm²: πd²/4.
pub fn filament_area_mm2(diameter_mm: f64) -> f64 {
    std::f64::consts::PI * diameter_mm * diameter_mm / 4.0
}
