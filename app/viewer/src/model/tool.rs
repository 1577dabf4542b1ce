//! The tools: what the pointer does on the stage.

use geometry::DVec3;

use super::gesture::Gesture;
use super::measure::Measure;
use super::mirror::Mirror;
use super::outline::Drawing;
use super::placing::Hold;

/// A tool.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Tool {
    /// Turns the part and chooses regions.
    #[default]
    Turn,
    /// Paints.
    Brush,
    /// Takes paint off the chosen region.
    Erase,
    /// Paints straight from click to click.
    Straight,
    /// Fills what hangs together.
    Fill,
    /// Covers what lies in a box, as it is seen.
    Box,
    /// Covers what lies in a free outline, as it is seen.
    Lasso,
    /// Makes a band from two clicks.
    Band,
    /// Stores the blend of a place under a name.
    Pick,
    /// Measures between two clicks.
    Measure,
    /// Moves, turns and sizes a picture or letters.
    Place,
}

impl Tool {
    /// All tools, in the order they lie.
    pub const ALL: [Self; 11] = [
        Self::Turn,
        Self::Brush,
        Self::Erase,
        Self::Straight,
        Self::Fill,
        Self::Box,
        Self::Lasso,
        Self::Band,
        Self::Pick,
        Self::Measure,
        Self::Place,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Turn => "Turn",
            Self::Brush => "Brush",
            Self::Erase => "Erase",
            Self::Straight => "Straight",
            Self::Fill => "Fill",
            Self::Box => "Box",
            Self::Lasso => "Lasso",
            Self::Band => "Band",
            Self::Pick => "Pick a blend",
            Self::Measure => "Measure",
            Self::Place => "Place a picture",
        }
    }

    /// Whether it has a brush with a radius.
    pub fn has_radius(self) -> bool {
        matches!(self, Self::Brush | Self::Erase | Self::Straight)
    }

    /// Whether it puts colour on the part or takes it off.
    pub fn paints(self) -> bool {
        self.has_radius() || self == Self::Fill || self.outlines()
    }

    /// Whether it draws an outline over the part.
    pub fn outlines(self) -> bool {
        matches!(self, Self::Box | Self::Lasso)
    }

    /// What to do next with it, in a few words.
    pub fn advice(self, begun: bool) -> &'static str {
        match (self, begun) {
            (Self::Turn, _) => "Drag to turn, click to select a region",
            (Self::Brush, _) => "Drag to paint; turn with the right button",
            (Self::Erase, _) => "Drag to erase paint from the selected region",
            (Self::Straight, false) => "Click the start of the stroke",
            (Self::Straight, true) => "Click its end; Esc to cancel",
            (Self::Fill, _) => "Click a place to fill what hangs together there",
            (Self::Box, false) => "Drag a box over the part, or press Enter to begin it",
            (Self::Lasso, false) => "Draw round a part of the skin, or press Enter to begin",
            (Self::Box | Self::Lasso, true) => {
                "Release to take what is inside; arrow keys and Enter set corners; Esc to cancel"
            }
            (Self::Band, false) => "Click one edge of the band",
            (Self::Pick, _) => "Click a place on the part or the ribbon to store its blend",
            (Self::Measure, false) => "Click a point of the part to measure from",
            (Self::Measure, true) => "Click the other point; Esc to cancel",
            (Self::Place, _) => {
                "Drag the picture; drag a corner to size it, the knob to turn it (Shift: by 15°)"
            }
            (Self::Band, true) => "Click the other edge; Esc to cancel",
        }
    }
}

/// What ends a fill.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FillBy {
    /// Sharp creases.
    #[default]
    Creases,
    /// Skin that faces another way than where it began.
    Flatness,
    /// Another blend.
    Blend,
}

impl FillBy {
    /// All of them, in the order in which a key steps through them.
    pub const ALL: [Self; 3] = [Self::Creases, Self::Flatness, Self::Blend];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Creases => "Up to creases",
            Self::Flatness => "By flatness",
            Self::Blend => "By blend",
        }
    }

    /// What it fills.
    pub fn hint(self) -> &'static str {
        match self {
            Self::Creases => "Fill up to edges sharper than an angle between two facets.",
            Self::Flatness => "Fill skin that faces nearly the same way as the place you click.",
            Self::Blend => "Fill skin that has the same blend now as the place you click.",
        }
    }

    /// The next one.
    pub fn next(self) -> Self {
        match self {
            Self::Creases => Self::Flatness,
            Self::Flatness => Self::Blend,
            Self::Blend => Self::Creases,
        }
    }
}

/// The tool in use, how it is set, and what it has begun.
#[derive(Clone, Debug)]
pub struct Tools {
    /// The tool in use.
    pub tool: Tool,
    /// Radius of the brush, mm.
    pub brush_mm: f64,
    /// What ends a fill.
    pub fill_by: FillBy,
    /// Sharpest crease that a fill crosses, degrees.
    pub crease_deg: f64,
    /// How far a fill's skin may turn away from where it began, degrees.
    pub flat_deg: f64,
    /// Whether an outline goes through the part.
    pub through: bool,
    /// Whether an outline takes its area off the region.
    pub takes_off: bool,
    /// An outline that is being drawn.
    pub outline: Option<Drawing>,
    /// How far an area's edge is smoothed, mm.
    pub smooth_mm: f64,
    /// The mirror.
    pub mirror: Mirror,
    /// A stroke that is being drawn.
    pub gesture: Option<Gesture>,
    /// Where a straight stroke begins: position on the stage.
    pub straight_from: Option<DVec3>,
    /// The first edge of a band, mm.
    pub band_from_mm: Option<f64>,
    /// Where the last stroke ended, mm: with Shift, the next goes on from there.
    pub stroke_end_mm: Option<DVec3>,
    /// What is being measured.
    pub measure: Measure,
    /// A picture that is held.
    pub hold: Option<Hold>,
    /// The next stroke starts a region of its own.
    pub new_area: bool,
}

/// The radii that a brush can have, mm.
pub const BRUSH_RANGE_MM: (f64, f64) = (0.1, 100.0);

/// The creases that a fill can cross, degrees.
pub const CREASE_RANGE_DEG: (f64, f64) = (1.0, 180.0);

/// How far a fill's skin can turn away, degrees.
pub const FLAT_RANGE_DEG: (f64, f64) = (0.1, 180.0);

/// The lengths that an edge can be smoothed by, mm.
pub const SMOOTH_RANGE_MM: (f64, f64) = (0.2, 50.0);

impl Default for Tools {
    fn default() -> Self {
        Self {
            tool: Tool::Turn,
            brush_mm: 4.0,
            fill_by: FillBy::Creases,
            crease_deg: 30.0,
            flat_deg: 10.0,
            through: false,
            takes_off: false,
            outline: None,
            smooth_mm: 1.0,
            mirror: Mirror::Off,
            gesture: None,
            straight_from: None,
            band_from_mm: None,
            stroke_end_mm: None,
            measure: Measure::default(),
            hold: None,
            new_area: false,
        }
    }
}

impl Tools {
    /// Takes a tool and drops what was begun.
    pub fn take(&mut self, tool: Tool) {
        self.drop_begun();
        self.tool = tool;
    }

    /// Drops what was begun; tells whether there was anything.
    pub fn drop_begun(&mut self) -> bool {
        let begun = self.has_begun();
        self.gesture = None;
        self.straight_from = None;
        self.stroke_end_mm = None;
        self.measure = Measure::default();
        self.hold = None;
        self.outline = None;
        self.band_from_mm = None;
        begun
    }

    /// Whether something is half done.
    pub fn has_begun(&self) -> bool {
        let measures = self.measure.from_mm.is_some();
        self.gesture.is_some()
            || self.hold.is_some()
            || self.outline.is_some()
            || self.straight_from.is_some()
            || self.band_from_mm.is_some()
            || measures
    }

    /// Sets the brush within its range.
    pub fn set_brush_mm(&mut self, radius_mm: f64) {
        if radius_mm.is_finite() {
            self.brush_mm = radius_mm.clamp(BRUSH_RANGE_MM.0, BRUSH_RANGE_MM.1);
        }
    }

    /// Sets how far a fill's skin may turn away, within its range.
    pub fn set_flat_deg(&mut self, angle_deg: f64) {
        if angle_deg.is_finite() {
            self.flat_deg = angle_deg.clamp(FLAT_RANGE_DEG.0, FLAT_RANGE_DEG.1);
        }
    }

    /// Sets how far an area's edge is smoothed, within its range.
    pub fn set_smooth_mm(&mut self, length_mm: f64) {
        if length_mm.is_finite() {
            self.smooth_mm = length_mm.clamp(SMOOTH_RANGE_MM.0, SMOOTH_RANGE_MM.1);
        }
    }

    /// Sets the sharpest crease that a fill crosses, within its range.
    pub fn set_crease_deg(&mut self, angle_deg: f64) {
        if angle_deg.is_finite() {
            self.crease_deg = angle_deg.clamp(CREASE_RANGE_DEG.0, CREASE_RANGE_DEG.1);
        }
    }
}
