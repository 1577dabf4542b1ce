//! Where a photograph shows what: the cards of known reflectance, and the steps.

use plan::ron_text::{self, Document, Path, Problem, TextError};
use serde::{Deserialize, Serialize};

/// A patch file: where to look in one photograph. All places and sizes are fractions of the
/// photograph's width and height, from its upper left corner.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Patches {
    /// Version of this format.
    pub version: u32,
    /// The table of the test print, empty or not, relative to the patch file: it says which
    /// blend each step has.
    pub table: String,
    /// Grey or white cards in the photograph; one at least.
    pub cards: Vec<Card>,
    /// Rows of steps.
    pub rows: Vec<StepRow>,
}

/// A neutral card of known reflectance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Card {
    /// Its reflectance factor, as its maker states it: 0.18 for a grey card, about 0.9 for a
    /// white one.
    pub reflectance: f64,
    /// Its middle.
    pub centre: (f64, f64),
    /// Width and height of the patch that is read.
    pub size: (f64, f64),
}

/// Steps in a straight row, evenly spaced.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepRow {
    /// The step's number at the row's one end.
    pub first_step: usize,
    /// The step's number at the other end.
    pub last_step: usize,
    /// The middle of the first step.
    pub first_centre: (f64, f64),
    /// The middle of the last one.
    pub last_centre: (f64, f64),
    /// Width and height of the patch that is read of each.
    pub size: (f64, f64),
}

/// A rectangle in fractions of a photograph.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Area {
    /// Left edge, right edge.
    pub x: (f64, f64),
    /// Upper edge, lower edge.
    pub y: (f64, f64),
}

impl Area {
    fn about((x, y): (f64, f64), (width, height): (f64, f64)) -> Self {
        Self {
            x: (x - width / 2.0, x + width / 2.0),
            y: (y - height / 2.0, y + height / 2.0),
        }
    }

    fn is_inside(&self) -> bool {
        let good = |(from, to): (f64, f64)| from >= -1e-9 && to <= 1.0 + 1e-9 && from < to;
        good(self.x) && good(self.y)
    }
}

impl Card {
    /// Where it is read.
    pub fn area(&self) -> Area {
        Area::about(self.centre, self.size)
    }
}

impl StepRow {
    /// Each step's number and where it is read.
    pub fn steps(&self) -> Vec<(usize, Area)> {
        let apart = self.first_step.abs_diff(self.last_step);
        let at = |i: usize| {
            let t = if apart == 0 {
                0.0
            } else {
                i as f64 / apart as f64
            };
            let between = |from: f64, to: f64| from + (to - from) * t;
            let centre = (
                between(self.first_centre.0, self.last_centre.0),
                between(self.first_centre.1, self.last_centre.1),
            );
            Area::about(centre, self.size)
        };
        let number = |i: usize| match self.first_step <= self.last_step {
            true => self.first_step + i,
            false => self.first_step - i,
        };
        (0..=apart).map(|i| (number(i), at(i))).collect()
    }
}

impl Patches {
    /// Reads a patch file.
    ///
    /// # Errors
    /// [`TextError`] with line, column and what to do.
    pub fn from_ron(text: &str) -> Result<Self, TextError> {
        ron_text::read(text)
    }

    /// Writes a patch file.
    ///
    /// # Errors
    /// None for a sound one.
    pub fn to_ron(&self) -> Result<String, ron::Error> {
        ron_text::write(self)
    }
}

/// More steps than any test print has.
const MOST_STEPS: usize = 1000;

impl Document for Patches {
    const KIND: &'static str = "patch file";
    const VERSION: u32 = 1;

    fn version(&self) -> u32 {
        self.version
    }

    fn problems(&self) -> Vec<Problem> {
        let mut found = Vec::new();
        let outside = "this patch lies partly outside the photograph; centre and size are \
             fractions of its width and height, from 0 to 1";
        let cards = Path::field("cards");
        if self.cards.is_empty() {
            let what = "there is no card of known reflectance, so the light is unknown; lay a grey \
                 or white card beside the print";
            found.push(Problem::new(cards.clone(), what));
        }
        for (i, card) in self.cards.iter().enumerate() {
            if !(0.02..=1.0).contains(&card.reflectance) {
                let what = format!(
                    "a reflectance of {}; it must be from 0.02 to 1, such as 0.18 for a grey card",
                    card.reflectance
                );
                found.push(Problem::new(cards.at(i).then("reflectance"), what));
            }
            if !card.area().is_inside() {
                found.push(Problem::new(cards.at(i), outside));
            }
        }
        let rows = Path::field("rows");
        if self.rows.len() > MOST_STEPS {
            let what = format!(
                "there are more than {MOST_STEPS} rows, more than any test print \
                                has"
            );
            found.push(Problem::new(rows, what));
            return found;
        }
        for (i, row) in self.rows.iter().enumerate() {
            let numbers = [row.first_step, row.last_step];
            if numbers.iter().any(|n| !(1..=MOST_STEPS).contains(n)) {
                let what = format!("steps are numbered from 1 to {MOST_STEPS}");
                found.push(Problem::new(rows.at(i), what));
            } else if !row.steps().iter().all(|(_, area)| area.is_inside()) {
                found.push(Problem::new(rows.at(i), outside));
            }
        }
        found
    }

    fn comments() -> ron::ser::path_meta::Field {
        let mut top = ron::ser::path_meta::Field::empty();
        top.build_fields(|fields| {
            for (name, comment) in [
                ("table", "The table that says which blend each step has."),
                (
                    "cards",
                    "Cards of known reflectance, as their makers state it. Places and sizes are \
                     fractions of the\n\
                     photograph's width and height, from its upper left corner. Change them to \
                     match yours.",
                ),
                (
                    "rows",
                    "Rows of steps: the middles of the first and the last step, and the size of \
                     each reading.\n\
                     Stay clear of edges, notches and glare; keep to the upper half of each step.",
                ),
            ] {
                fields.field(name).with_doc(comment);
            }
        });
        top
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_run_either_way() {
        let row = StepRow {
            first_step: 3,
            last_step: 1,
            first_centre: (0.2, 0.5),
            last_centre: (0.6, 0.5),
            size: (0.1, 0.1),
        };
        let steps = row.steps();
        assert_eq!(steps.iter().map(|s| s.0).collect::<Vec<_>>(), [3, 2, 1]);
        assert!((steps[1].1.x.0 - 0.35).abs() < 1e-12);
    }

    #[test]
    fn faults_have_a_place() {
        let text = "(version: 1, table: \"t.csv\",\n cards: [(reflectance: 1.8, centre: (0.1, 0.1), size: (0.1, 0.1))],\n rows: [(first_step: 1, last_step: 2, first_centre: (0.1, 0.1),\n last_centre: (1.0, 0.1), size: (0.1, 0.1))])";
        let error = Patches::from_ron(text).unwrap_err().to_string();
        assert!(error.contains("line 2") && error.contains("1.8"), "{error}");
        assert!(error.contains("outside the photograph"), "{error}");
    }

    #[test]
    fn a_thousand_rows_and_no_more() {
        let text = |rows: usize| {
            let row = "(first_step: 1, last_step: 2, first_centre: (0.1, 0.1), \
                       last_centre: (0.2, 0.1), size: (0.1, 0.1)),\n";
            format!(
                "(version: 1, table: \"t.csv\", cards: [(reflectance: 0.18, \
                 centre: (0.1, 0.1), size: (0.1, 0.1))], rows: [\n{}])",
                row.repeat(rows)
            )
        };
        assert_eq!(Patches::from_ron(&text(1000)).unwrap().rows.len(), 1000);
        let error = Patches::from_ron(&text(1001)).unwrap_err().to_string();
        assert!(error.contains("more than 1000 rows"), "{error}");
    }
}
