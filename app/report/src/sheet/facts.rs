//! What a sheet says, as plain data.

use blend::Srgb;

/// Everything on the sheet but the pictures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// What the part is.
    pub title: String,
    /// File, size, layers.
    pub subtitle: String,
    /// What stands at the upper right: the kind of sheet, and what it belongs to.
    pub stamp: Vec<String>,
    /// Spools in the order of the components.
    pub spools: Vec<SpoolFact>,
    /// Regions from the base upwards.
    pub regions: Vec<RegionFact>,
    /// What happens by height.
    pub heights: Heights,
    /// Totals.
    pub totals: Vec<Fact>,
    /// What comes out, how far off it is, and what is flushed away.
    pub outcome: Vec<Fact>,
    /// What would cut the waste, and by how much.
    pub savings: Vec<Fact>,
    /// Where the numbers come from.
    pub provenance: Vec<Fact>,
    /// What to know of this very part before it is printed.
    pub warnings: Vec<String>,
    /// What to take care of with any part.
    pub cautions: Vec<String>,
}

/// A label and its value.
#[derive(Clone, Debug, PartialEq)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// The value with its unit.
    pub value: String,
}

impl Fact {
    /// Joins a label and a value.
    pub fn new(label: impl Into<String>, value: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            value: value.into(),
        }
    }
}

/// One spool.
#[derive(Clone, Debug, PartialEq)]
pub struct SpoolFact {
    /// The user's name.
    pub name: String,
    /// Its colour alone.
    pub colour: Srgb,
    /// Mass used.
    pub mass_g: f64,
    /// Filament used.
    pub length_m: f64,
    /// Share of all plastic, 0 to 1.
    pub share: f64,
}

/// One region.
#[derive(Clone, Debug, PartialEq)]
pub struct RegionFact {
    /// The user's name.
    pub name: String,
    /// Its shades from first stop to last; one for a fixed blend.
    pub shades: Vec<Srgb>,
    /// Its blend in words and numbers.
    pub blend: String,
    /// Share of the visible area, 0 to 1.
    pub area_share: f64,
    /// One standard error of the predicted colour, as ΔE00, where it is known.
    pub uncertainty: Option<f64>,
}

/// What happens by height.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heights {
    /// Layers from the bed upwards.
    pub slices: Vec<Slice>,
    /// Colours by height, each with as many entries as there are slices: what is asked for,
    /// and beside it what will come out, where that is known.
    pub columns: Vec<Column>,
    /// Heights worth naming, rising.
    pub marks: Vec<Mark>,
}

/// One layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slice {
    /// Its bottom.
    pub bottom_mm: f64,
    /// Its top.
    pub top_mm: f64,
    /// Its visible area.
    pub area_mm2: f64,
    /// How many blends it holds.
    pub blends: usize,
}

/// A colour and how much of a slice it takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourShare {
    /// The colour.
    pub colour: Srgb,
    /// Share of the slice's visible area, 0 to 1.
    pub share: f64,
}

/// One column of colours by height.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its heading.
    pub title: String,
    /// For each slice its shades, side by side.
    pub slices: Vec<Vec<ColourShare>>,
}

/// A height worth naming.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Where.
    pub height_mm: f64,
    /// What begins or ends there.
    pub text: String,
}
