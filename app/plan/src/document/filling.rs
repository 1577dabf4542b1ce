//! How the part is printed inside, as far as the plan has to guess it.

use geometry::layers::Shell;
use serde::{Deserialize, Serialize};

/// The most walls and solid layers that are taken for meant and not for a slip of the pen.
const MOST: usize = 1000;
/// Line widths taken for meant, mm.
const LINE_MM: std::ops::RangeInclusive<f64> = 0.05..=5.0;

/// Settings of the program that slices, as far as they decide how much plastic is laid. They
/// count until there is a toolpath, whose own plastic is then taken. All may be left out.
///
/// The defaults are those of a 0.4 mm nozzle: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Filling {
    /// Walls beside each other. Default 3.
    pub walls: usize,
    /// Width of a line, mm. Default 0.45.
    pub line_width_mm: f64,
    /// Solid layers at each bottom. Default 4.
    pub bottom_layers: usize,
    /// Solid layers at each top. Default 4.
    pub top_layers: usize,
    /// Share of the inside that is filled, 0 to 1: 1 for a solid part. Default 0.15.
    pub infill: f64,
}

impl Default for Filling {
    fn default() -> Self {
        Self {
            walls: 3,
            line_width_mm: 0.45,
            bottom_layers: 4,
            top_layers: 4,
            infill: 0.15,
        }
    }
}

impl Filling {
    /// A part without a hollow: all of its volume is laid.
    pub const SOLID: Self = Self {
        walls: 3,
        line_width_mm: 0.45,
        bottom_layers: 4,
        top_layers: 4,
        infill: 1.0,
    };

    /// What of the part is solid.
    pub fn shell(&self) -> Shell {
        Shell {
            walls_mm: self.walls as f64 * self.line_width_mm,
            bottom_layers: self.bottom_layers,
            top_layers: self.top_layers,
        }
    }

    /// The settings as a person says them.
    pub fn words(&self) -> String {
        if self.infill >= 1.0 {
            return "printed solid".to_owned();
        }
        let walls = match self.walls {
            1 => "1 wall".to_owned(),
            walls => format!("{walls} walls"),
        };
        format!(
            "{walls} of {} mm, {} solid layers below and {} above, {} % infill",
            self.line_width_mm,
            self.bottom_layers,
            self.top_layers,
            (self.infill * 1000.0).round() / 10.0,
        )
    }

    /// What is wrong with it: the field, and what to do.
    pub(super) fn problem(&self) -> Option<(&'static str, String)> {
        let counts = [
            ("walls", self.walls),
            ("bottom_layers", self.bottom_layers),
            ("top_layers", self.top_layers),
        ];
        if let Some((field, count)) = counts.into_iter().find(|(_, count)| *count > MOST) {
            return Some((field, format!("there are {count}; the most is {MOST}")));
        }
        if !LINE_MM.contains(&self.line_width_mm) {
            let what = format!(
                "a line {} mm wide; it must be from {} to {} mm",
                self.line_width_mm,
                LINE_MM.start(),
                LINE_MM.end()
            );
            return Some(("line_width_mm", what));
        }
        (!(0.0..=1.0).contains(&self.infill)).then(|| {
            let what = format!(
                "an infill of {}; it must be from 0 to 1, 0.15 for 15 %",
                self.infill
            );
            ("infill", what)
        })
    }
}
