//! What to lay down, and what was.

use toolpath::Distance;

/// One layer of the part.
#[derive(Clone, Copy, Debug)]
pub struct Slice<'a> {
    /// Height of its top above the bed, mm.
    pub top_mm: f64,
    /// Its thickness, mm.
    pub height_mm: f64,
    /// Closed contours, mm, the first point not repeated: even-odd, so a contour within
    /// another is a hole.
    pub contours: &'a [Vec<[f64; 2]>],
}

/// How the strand is held back on the way between two lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Retraction {
    /// Not at all.
    None,
    /// By an E move of so many millimetres.
    Length(f64),
    /// By G10 and G11.
    Firmware,
}

/// Where a copy of the part stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stand {
    /// Turn about the origin, degrees, counter-clockwise; before the shift.
    pub turn_deg: f64,
    /// Shift, mm.
    pub shift_mm: [f64; 2],
}

/// What to lay down.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Width of a line, mm.
    pub line_width_mm: f64,
    /// Walls, from the outside inwards.
    pub walls: usize,
    /// Solid layers at each bottom and top.
    pub solid_layers: usize,
    /// Distance between sparse lines, mm; none without.
    pub sparse_mm: Option<f64>,
    /// Filament diameter, mm.
    pub filament_diameter_mm: f64,
    /// How E counts.
    pub extruder: Distance,
    /// How the strand is held back.
    pub retraction: Retraction,
    /// Arcs in place of short straight moves that lie within so many mm of one.
    pub arcs_within_mm: Option<f64>,
    /// Speed of lines, mm/min.
    pub print_mm_min: f64,
    /// Speed between lines, mm/min.
    pub travel_mm_min: f64,
    /// Copies of the part.
    pub stands: Vec<Stand>,
    /// End of line.
    pub end: &'static str,
    /// Line numbers and checksums.
    pub checked: bool,
}

impl Default for Recipe {
    /// A 0.4 mm nozzle's usual numbers: common practice, no source.
    fn default() -> Self {
        Self {
            line_width_mm: 0.45,
            walls: 3,
            solid_layers: 4,
            sparse_mm: Some(3.0),
            filament_diameter_mm: 1.75,
            extruder: Distance::Relative,
            retraction: Retraction::Length(0.8),
            arcs_within_mm: None,
            print_mm_min: 2400.0,
            travel_mm_min: 9000.0,
            stands: vec![Stand::default()],
            end: "\n",
            checked: false,
        }
    }
}

/// What was laid down.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Made {
    /// Filament, mm.
    pub filament_mm: f64,
    /// Lines and arcs with plastic.
    pub moves: u64,
}

/// A line to print: open, or closed back to its start.
#[derive(Clone, Debug)]
pub(super) struct Strip {
    pub points: Vec<[f64; 2]>,
    pub closed: bool,
}
